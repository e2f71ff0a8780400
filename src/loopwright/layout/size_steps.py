"""Lengths rounded to steps, so that what barely changes elsewhere leaves the plan of a piece as it was."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from loopwright.surface.proxy import surface_area
from loopwright.types import FloatArray, IntArray, RegionSurface

_STEPS = 8  # per doubling: the rounded length is within 4.5 % of the given one
_BITS = 20  # of the unit that are kept


def surface_extent(surface: RegionSurface) -> float:
    """Return the side of a square that has the surface's area."""
    return float(np.sqrt(max(surface_area(surface.positions, surface.triangles), 1e-300)))


def size_steps(extent: float) -> Callable[[float], float]:
    """Return a function that rounds lengths to the nearest of geometric steps.

    Sizes follow from the budget, so that a line or a dab anywhere changes them everywhere by a trifle. The
    steps are shares of an extent to a millionth, which should be that of the surface before lines are drawn on it.
    """
    share, power = np.frexp(extent)
    unit = float(np.ldexp(np.round(share * 2**_BITS) / 2**_BITS, power))

    def round_length(length: float) -> float:
        return unit * float(np.exp2(np.round(_STEPS * np.log2(length / unit)) / _STEPS))

    return round_length


def round_scale(scale: FloatArray) -> FloatArray:
    """Return ratios of sizes, rounded to geometric steps as lengths are."""
    steps: FloatArray = np.exp2(np.round(_STEPS * np.log2(scale)) / _STEPS)
    return steps


def fill_scale(scale: FloatArray, origin: IntArray, triangles: IntArray) -> FloatArray:
    """Return (n,) the scale at vertices, also at those that cuts have made.

    Such a vertex has the mean over its triangles of what their older corners have, or 1, the middle size, where all
    those are of cuts too.

    Parameters
    ----------
    scale : of the vertices before any cut.
    origin : (n,) place of each vertex in ``scale``; one below 0 or beyond its end is of a cut.
    triangles : (m, 3) of these vertices.
    """
    known = (origin >= 0) & (origin < len(scale))
    out = np.where(known, scale[np.where(known, origin, 0)], 0.0)
    if known.all():
        return out
    corners, is_known = out[triangles], known[triangles]
    mean = corners.sum(axis=1) / np.maximum(is_known.sum(axis=1), 1)
    told = np.repeat(is_known.any(axis=1), 3)
    flat, each = triangles.reshape(-1)[told], np.repeat(mean, 3)[told]
    total, number = np.bincount(flat, each, len(out)), np.bincount(flat, minlength=len(out))
    filled: FloatArray = np.where(known, out, np.where(number > 0, total / np.maximum(number, 1), 1.0))
    return filled
