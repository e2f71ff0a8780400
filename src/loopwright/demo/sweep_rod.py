"""A round rod that bends and swells smoothly through knots, as a signed field: a limb or a finger."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.interpolate import PchipInterpolator

from loopwright.demo.blend_fields import Field, Points, Triple

_SAMPLES = 65


def sweep_rod(p: Points, knots: Sequence[tuple[Triple, float]]) -> Field:
    """Return a near-distance to a rod through several (centre, radius) knots, its ends round.

    The rod's centre and radius are functions of the place along the straight
    line from the first knot to the last, monotone cubics between the knots
    (Fritsch and Carlson 1980), so that nothing bulges at a knot.  The rod may
    bend by some 40 degrees to either side of that line.
    """
    centers = np.array([center for center, _ in knots])
    radii = np.array([radius for _, radius in knots])
    way = centers[-1] - centers[0]
    length = float(np.linalg.norm(way))
    way /= length
    places = (centers - centers[0]) @ way
    at = np.linspace(0.0, length, _SAMPLES)
    table = np.column_stack([PchipInterpolator(places, values)(at) for values in (*centers.T, radii)])
    first = centers[0]
    place = (p.x - first[0]) * float(way[0]) + (p.y - first[1]) * float(way[1]) + (p.z - first[2]) * float(way[2])
    x, y, z, radius = _look_up(table.astype(p.x.dtype), place * ((_SAMPLES - 1) / length))
    dx, dy, dz = p.x - x, p.y - y, p.z - z
    distance: Field = np.sqrt(dx * dx + dy * dy + dz * dz) - radius
    return distance


def _look_up(table: Field, place: Field) -> tuple[Field, Field, Field, Field]:
    """Return the table's four columns at fractional rows, linear between rows."""
    place = np.clip(place, 0.0, _SAMPLES - 1.0)
    row = np.minimum(place.astype(np.int32), _SAMPLES - 2)
    rest = place - row.astype(place.dtype)
    rise = np.diff(table, axis=0)
    x, y, z, radius = (table[row, k] + rest * rise[row, k] for k in range(4))
    return x, y, z, radius
