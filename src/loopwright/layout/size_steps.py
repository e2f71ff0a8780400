"""Lengths rounded to steps, so that what barely changes elsewhere leaves the plan of a piece as it was."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from loopwright.surface.proxy import surface_area
from loopwright.types import RegionSurface

_STEPS = 8  # per doubling: the rounded length is within 4.5 % of the given one
_BITS = 20  # of the unit that are kept


def size_steps(surface: RegionSurface) -> Callable[[float], float]:
    """Return a function that rounds lengths to the nearest of geometric steps.

    Sizes follow from the budget, so that a line or a dab anywhere changes them everywhere by a trifle. The
    steps are shares of the surface's extent, by its area to a millionth, which cutting lines into it keeps.
    """
    share, power = np.frexp(np.sqrt(max(surface_area(surface.positions, surface.triangles), 1e-300)))
    unit = float(np.ldexp(np.round(share * 2**_BITS) / 2**_BITS, power))

    def round_length(length: float) -> float:
        return unit * float(np.exp2(np.round(_STEPS * np.log2(length / unit)) / _STEPS))

    return round_length
