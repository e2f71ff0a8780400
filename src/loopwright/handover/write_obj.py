"""An all-quad mesh as OBJ text."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.surface.group_name import group_name
from loopwright.types import QuadMesh


def obj_bytes(mesh: QuadMesh) -> bytes:
    """Return the mesh as OBJ.

    Coordinates are the shortest decimals that give the same float64 back, so that a
    mirrored pair differs in its sign alone.  Faces keep their order: a ``g``
    line stands wherever the region changes, and a region's name may come again.
    """
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in (mesh.positions + 0.0).tolist()]
    names = group_names([region.name for region in mesh.regions])
    starts = np.flatnonzero(np.diff(mesh.quad_region, prepend=-1))
    ends = np.append(starts[1:], len(mesh.quads))
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        lines.append(f"g {names[int(mesh.quad_region[start])]}")
        lines.extend(f"f {a} {b} {c} {d}" for a, b, c, d in (mesh.quads[start:end] + 1).tolist())
    return ("\n".join(lines) + "\n").encode("utf-8")


def group_names(names: Sequence[str]) -> list[str]:
    """Return a group name for each name; names that would become the same get a number."""
    result: list[str] = []
    for name in names:
        cleaned, number = group_name(name), 2
        unique = cleaned
        while unique in result:
            unique, number = f"{cleaned}_{number}", number + 1
        result.append(unique)
    return result
