"""Smooth random fields over space, from a seed."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import map_coordinates

from loopwright.types import FloatArray

_LATTICE = 40  # knots per axis before the pattern repeats


def make_noise(points: FloatArray, *, wavelength: float, channels: int, generator: np.random.Generator) -> FloatArray:
    """Return (n, channels) smooth noise of mean 0 and deviation about 1 at (n, 3) points.

    A lattice of independent normal values, knots half a ``wavelength`` apart,
    interpolated by cubic splines; it repeats after 20 wavelengths.
    """
    place = (points * (2.0 / wavelength)).T
    rows = []
    for _ in range(channels):
        knots = generator.standard_normal((_LATTICE, _LATTICE, _LATTICE))
        rows.append(map_coordinates(knots, place, order=3, mode="grid-wrap"))
    return np.ascontiguousarray(np.stack(rows, axis=1)) * 1.4
