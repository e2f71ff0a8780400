"""Leg and foot of the demo body; the foot stands on y = 0 with its toes a little outwards."""

from __future__ import annotations

import numpy as np

from loopwright.demo.blend_fields import Field, Points, Triple, ellipsoid, soft_cut, soft_union
from loopwright.demo.sweep_rod import sweep_rod

HIP: Triple = (7.2, 71.0, -0.4)
KNEE: Triple = (8.5, 38.0, 0.2)
ANKLE: Triple = (9.3, 8.6, -1.8)
_TURN = np.radians(9.0)  # of the toes outwards
# toe: place along the foot, place across it, radius
_TOES = ((13.6, -2.5, 1.65), (13.9, -0.2, 1.25), (13.3, 1.5, 1.15), (12.4, 3.0, 1.1), (11.3, 4.3, 1.0))


def shape_leg(m: Points) -> Field:
    """Return one leg without its foot."""
    knots = [
        (HIP, 7.0),
        ((7.7, 58.0, 0.1), 6.7),
        ((8.2, 46.5, 0.4), 5.3),
        (KNEE, 4.5),
        ((8.8, 29.5, -0.8), 4.35),
        ((9.0, 19.0, -1.4), 3.4),
        ((9.2, 10.5, -1.8), 2.75),
        ((9.3, 6.0, -1.4), 2.9),
    ]
    body = sweep_rod(m, knots)
    body = soft_union(body, ellipsoid(m, (8.5, 55.0, 1.6), (5.2, 14.0, 4.9)), 2.0)
    body = soft_union(body, ellipsoid(m, (8.7, 29.5, -2.3), (4.0, 9.5, 3.6)), 2.0)
    body = soft_union(body, ellipsoid(m, (8.6, 38.6, 2.8), (2.7, 3.4, 2.3)), 1.6)
    body = soft_union(body, ellipsoid(m, (11.3, 8.6, -2.0), (1.2, 1.5, 1.4)), 1.4)
    return soft_union(body, ellipsoid(m, (7.3, 9.3, -1.4), (1.2, 1.5, 1.4)), 1.4)


def foot_coordinates(m: Points) -> Points:
    """Return (across, up, along): outwards, up, and from the ankle to the toes."""
    x, z = m.x - ANKLE[0], m.z - ANKLE[2]
    cos, sin = float(np.cos(_TURN)), float(np.sin(_TURN))
    return Points(cos * x - sin * z, m.y, sin * x + cos * z)


def shape_foot(body: Field, m: Points) -> Field:
    """Return the body with a foot set on the ankle and cut flat on the ground."""
    f = foot_coordinates(m)
    foot = sweep_rod(f, [((0.0, 5.4, -1.0), 3.1), ((-0.2, 4.5, 4.0), 2.9), ((0.2, 2.9, 9.0), 2.5)])
    foot = soft_union(foot, ellipsoid(f, (0.0, 2.9, -2.6), (3.0, 3.2, 3.0)), 1.6)
    foot = soft_union(foot, ellipsoid(f, (0.5, 2.1, 9.4), (4.3, 2.2, 4.0)), 2.0)
    foot = soft_union(foot, ellipsoid(f, (1.6, 2.0, 3.6), (2.9, 2.2, 6.0)), 1.6)
    for along, across, radius in _TOES:
        toe = ellipsoid(f, (across + 0.2, radius * 0.95, along), (radius, radius, 1.9 * radius))
        foot = soft_union(foot, toe, 0.8)
    body = soft_union(body, foot, 2.2)
    return soft_cut(body, m.y, 0.9)
