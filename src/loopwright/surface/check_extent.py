"""Refuse sculpts whose size means nothing: a vertex that lies far off, or a surface without area."""

from __future__ import annotations

import numpy as np

from loopwright.errors import InputError
from loopwright.surface.edges import row_lengths, triangle_normals
from loopwright.types import Sculpt

_FAR = 300.0  # times the distance from the middle within which nearly all vertices lie
_NEARLY_ALL = 0.99
_FLAT = 1e-9  # of the squared diagonal: an area below that is none


def check_far_off(sculpt: Sculpt) -> None:
    """Refuse a sculpt with a vertex that lies out of all proportion to the others; unused ones do not count.

    Raises
    ------
    InputError
        Names the farthest of them, counted from 0.
    """
    is_used = np.zeros(len(sculpt.positions), bool)
    is_used[sculpt.triangles] = True
    used = np.flatnonzero(is_used & np.isfinite(sculpt.positions).all(axis=1))
    if not len(used):
        return
    points = sculpt.positions[used]
    # halves first, so that the largest numbers do not overflow
    away = np.abs(0.5 * points - 0.5 * np.median(points, axis=0)).max(axis=1)
    usual = float(np.quantile(away, _NEARLY_ALL, method="lower"))
    far = np.flatnonzero(away > _FAR * usual)
    if usual == 0.0 or not len(far):
        return
    worst = int(used[far[away[far].argmax()]])
    shown = ", ".join(f"{value:g}" for value in sculpt.positions[worst])
    more = "" if len(far) == 1 else f", and {len(far) - 1:,} more like it"
    raise InputError(
        f"{sculpt.name}, vertex {worst} (counted from 0): its place ({shown}) is {away[far].max() / usual:.1g} times "
        f"as far out as the rest of the sculpt{more}; move it back or delete it, and export again.",
        places=(sculpt.name, worst),
    )


def check_area(sculpt: Sculpt) -> None:
    """Refuse a sculpt whose triangles all lie in a line.

    Raises
    ------
    InputError
        If the area is nothing beside the square of the diagonal.
    """
    span = np.ptp(sculpt.positions, axis=0)
    scale = float(span.max())
    flat = scale == 0.0
    if not flat:
        shape = sculpt.positions / scale
        flat = 0.5 * float(row_lengths(triangle_normals(shape, sculpt.triangles)).sum()) <= _FLAT
    if flat:
        raise InputError(
            f"{sculpt.name}: the surface has no area, all of its triangles lie in a line or a point; export it again.",
            places=(sculpt.name,),
        )
