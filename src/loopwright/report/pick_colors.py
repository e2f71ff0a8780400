"""The colours of the report: of regions, arcs, poles and heat."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from loopwright.types import ByteArray, FloatArray, IntArray, Region

CLAY = (184, 180, 175)
BEYOND = (120, 124, 130)
"""Of sculpt areas that were left open, in a heat map."""
ARC_COLORS = {
    "border": (18, 20, 24),
    "cut": (52, 58, 68),
    "flow": (74, 50, 150),
    "rim": (200, 40, 60),
    "mirror": (250, 250, 250),
}
"""By kind of arc; other kinds are drawn as cuts."""
ARC_WIDTHS = {"border": 3.2, "cut": 1.5, "flow": 2.4, "rim": 3.2, "mirror": 1.8}
"""In pixels, by kind of arc."""
POLE_COLORS = {3: "#f28e1c", 5: "#1f6fd6", 0: "#d1309a"}
"""By valence; 0 stands for every other."""
HEAT_STOPS = ((0.0, (240, 240, 236)), (0.25, (250, 214, 130)), (0.5, (240, 150, 70)), (0.75, (203, 66, 60)),
              (1.0, (92, 18, 66)))  # fmt: skip


def heat_colors(values: FloatArray, limit: float) -> ByteArray:
    """Return (n, 3) uint8 colours from pale at 0 to dark red at ``limit`` and above."""
    share = np.clip(values / max(limit, np.finfo(float).tiny), 0.0, 1.0)
    places = [place for place, _ in HEAT_STOPS]
    channels = [np.interp(share, places, [color[axis] for _, color in HEAT_STOPS]) for axis in range(3)]
    colors: ByteArray = np.stack(channels, axis=1).round().astype(np.uint8)
    return colors


def round_limit(value: float) -> float:
    """Return the smallest of 1, 2 or 5 times a power of ten that is not less than ``value``."""
    if value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= value * (1 - 1e-9))


def region_colors(regions: Sequence[Region], element_region: IntArray, *, pale: float = 0.0) -> ByteArray:
    """Return (m, 3) uint8 colours of m elements by their region.

    Parameters
    ----------
    pale
        How far the colours are moved towards white, from 0 to 1.
    """
    palette = np.array([_lighten(region.color) for region in regions], dtype=float).reshape(-1, 3)
    palette = palette + (255 - palette) * pale
    colors: ByteArray = palette.round().astype(np.uint8)[element_region]
    return colors


def _lighten(color: tuple[int, int, int]) -> tuple[float, float, float]:
    """Return the colour, lifted if it is so dark that edges could not be seen on it."""
    red, green, blue = color
    light = 0.299 * red + 0.587 * green + 0.114 * blue
    lift = max(0.0, 90.0 - light)
    return min(255.0, red + lift), min(255.0, green + lift), min(255.0, blue + lift)
