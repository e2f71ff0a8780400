"""Write a coloured sculpt as a binary PLY file."""

from __future__ import annotations

import os

import numpy as np

from loopwright.types import Sculpt
from loopwright.write_file import write_file


def write_sculpt_ply(path: str | os.PathLike[str], sculpt: Sculpt) -> None:
    """Write ``sculpt`` to ``path`` as binary little-endian PLY, whole or not at all.

    Parameters
    ----------
    path : file to write; an older one of that name is replaced at the very end.
    sculpt : positions are rounded to 32-bit floats; without colours a mid grey is written.

    Raises
    ------
    InputError
        where the file cannot be written.

    Notes
    -----
    Vertex: float x, y, z, uchar red, green, blue. Face: list uchar int vertex_indices.
    """
    with write_file(path) as file:
        file.writelines((_header(sculpt), _vertices(sculpt), _faces(sculpt)))


def _header(sculpt: Sculpt) -> bytes:
    lines = ["ply", "format binary_little_endian 1.0", f"element vertex {len(sculpt.positions)}"]
    lines += [f"property float {axis}" for axis in "xyz"]
    lines += [f"property uchar {channel}" for channel in ("red", "green", "blue")]
    lines += [f"element face {len(sculpt.triangles)}", "property list uchar int vertex_indices", "end_header"]
    return ("\n".join(lines) + "\n").encode("ascii")


def _vertices(sculpt: Sculpt) -> bytes:
    rows = np.zeros(len(sculpt.positions), [("place", "<f4", 3), ("color", "u1", 3)])
    rows["place"] = sculpt.positions
    rows["color"] = 128 if sculpt.colors is None else sculpt.colors
    return rows.tobytes()


def _faces(sculpt: Sculpt) -> bytes:
    rows = np.zeros(len(sculpt.triangles), [("size", "u1"), ("corners", "<i4", 3)])
    rows["size"] = 3
    rows["corners"] = sculpt.triangles
    return rows.tobytes()
