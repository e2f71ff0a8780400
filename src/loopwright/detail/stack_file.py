"""Write a stack of levels to one file, and read it back."""

from __future__ import annotations

import io
import json
import os
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.detail.types import Creases, Levels
from loopwright.errors import InputError
from loopwright.types import MirrorPlane, QuadMesh, Region

FORMAT = "loopwright-levels-1"
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)  # the format's first date: the same stack gives the same bytes


def stack_bytes(levels: Levels) -> bytes:
    """Return a stack as an .npz archive; ``docs/levels.md`` lists its arrays."""
    cage = levels.cage
    header = {
        "format": FORMAT,
        "levels": levels.count,
        "regions": [{"name": region.name, "color": list(region.color)} for region in cage.regions],
        "mirror": None if cage.mirror is None else [*map(float, cage.mirror.normal), float(cage.mirror.offset)],
    }
    arrays: dict[str, NDArray[Any]] = {
        "header": np.frombuffer(json.dumps(header, sort_keys=True, allow_nan=False).encode("utf-8"), np.uint8),
        "positions": cage.positions.astype("<f8"),
        "quads": cage.quads.astype("<i4"),
        "quad_region": cage.quad_region.astype("<i4"),
        "on_mirror": cage.on_mirror.astype(np.uint8),
        "crease_edges": levels.creases.edges.astype("<i4"),
        "crease_sharpness": levels.creases.sharpness.astype("<f8"),
        "offsets": levels.offsets.astype("<f8"),
    }
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, values in arrays.items():
            entry = io.BytesIO()
            np.lib.format.write_array(entry, np.ascontiguousarray(values), version=(1, 0), allow_pickle=False)
            info = zipfile.ZipInfo(f"{name}.npy", _ZIP_TIME)
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, entry.getvalue())
    return stream.getvalue()


def read_stack(path: str | os.PathLike[str]) -> Levels:
    """Read a stack; its reports are not kept in the file.

    Raises
    ------
    InputError
        If the file cannot be read, is no stack, or its arrays do not fit together.
    """
    file = Path(path)
    try:
        with np.load(io.BytesIO(file.read_bytes()), allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in archive.files}
        header = json.loads(arrays["header"].tobytes().decode("utf-8"))
        if header["format"] != FORMAT:
            raise ValueError(f"its format is {header['format']!r}")
        return _levels(arrays, header)
    except FileNotFoundError as error:
        raise InputError(f"{file}: there is no such file; check the path.", places=(str(file),)) from error
    except OSError as error:
        raise InputError(f"{file}: {error.strerror or 'it cannot be read'}.", places=(str(file),)) from error
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, zipfile.BadZipFile, EOFError) as error:
        text = f"{file}: this is no stack of levels ({error}); write it again with `loopwright levels`."
        raise InputError(text, places=(str(file),)) from error


def _levels(arrays: dict[str, NDArray[Any]], header: dict[str, Any]) -> Levels:
    positions, quads = arrays["positions"].astype(np.float64), arrays["quads"].astype(np.int32)
    offsets, edges = arrays["offsets"].astype(np.float64), arrays["crease_edges"].astype(np.int32)
    sharpness = arrays["crease_sharpness"].astype(np.float64)
    for values, width in ((positions, 3), (quads, 4), (offsets, 3), (edges, 2)):
        if values.ndim != 2 or values.shape[1] != width or not np.isfinite(values).all():
            raise ValueError("an array has the wrong shape or numbers that are not finite")
    n = len(positions)
    if (
        len(quads) == 0
        or quads.min() < 0
        or quads.max() >= n
        or (edges.size and not 0 <= edges.min() <= edges.max() < n)
    ):
        raise ValueError("an index points nowhere")
    regions = tuple(Region(str(entry["name"]), tuple(map(int, entry["color"]))) for entry in header["regions"])  # type: ignore[arg-type]
    plane = header["mirror"]
    region = arrays["quad_region"].astype(np.int32)
    on_mirror = arrays["on_mirror"].astype(bool)
    if len(region) != len(quads) or len(on_mirror) != n or len(sharpness) != len(edges):
        raise ValueError("two arrays do not fit together")
    cage = QuadMesh(
        positions=np.ascontiguousarray(positions),
        quads=np.ascontiguousarray(quads),
        quad_region=region,
        regions=regions,
        vertex_curve=np.full(n, -1, np.int32),
        curves=(),
        is_fixed=np.zeros(n, bool),
        on_mirror=on_mirror,
        mirror=None if plane is None else MirrorPlane(np.array(plane[:3], np.float64), float(plane[3])),
    )
    return Levels(cage, Creases(edges, sharpness), int(header["levels"]), offsets)
