"""Eyes of the demo creature: a ball, lids with thickness round it, an almond opening.

All places on the lids are given in lid coordinates (u, v, r): the arc
lengths outwards and upwards from the gaze axis on a sphere of the ball's
radius (azimuthal equidistant map), and the distance from the ball's centre.
"""

from __future__ import annotations

import numpy as np

from loopwright.demo.blend_fields import Field, Points, lens, ramp, soft_cut, soft_union

CENTER = (3.75, 0.4, 4.2)
RADIUS = 2.7
REACH = 5.0  # farther from the ball's centre nothing here changes anything
YAW, PITCH, TILT = 0.26, -0.02, 0.17  # gaze outwards and down, outer corner raised, in radians
LID_THICKNESS = 0.42


def lid_coordinates(m: Points) -> tuple[Field, Field, Field]:
    """Return (u, v, r): outwards and upwards arc lengths on the ball, distance from its centre."""
    x, y, z = m.x - CENTER[0], m.y - CENTER[1], m.z - CENTER[2]
    x, z = float(np.cos(YAW)) * x - float(np.sin(YAW)) * z, float(np.sin(YAW)) * x + float(np.cos(YAW)) * z
    y, z = float(np.cos(PITCH)) * y - float(np.sin(PITCH)) * z, float(np.sin(PITCH)) * y + float(np.cos(PITCH)) * z
    x, y = float(np.cos(TILT)) * x + float(np.sin(TILT)) * y, -float(np.sin(TILT)) * x + float(np.cos(TILT)) * y
    across = np.sqrt(x * x + y * y) + 1e-6
    scale = RADIUS * np.arctan2(across, z) / across
    return x * scale, y * scale, np.sqrt(across * across + z * z)


def opening(u: Field, v: Field) -> Field:
    """Return the near-distance on the ball to the eye opening, negative inside."""
    return lens(u, v, 2.28, 1.34, 0.96, 0.6)


def lid_distance(m: Points) -> Field:
    """Return about how far a point of the surface is from the opening's edge, along the skin."""
    u, v, r = lid_coordinates(m)
    away: Field = opening(u, v) * (r / RADIUS) + 0.6 * np.maximum(r - (RADIUS + LID_THICKNESS + 0.3), 0.0)
    return away


def shape_eyes(body: Field, m: Points) -> Field:
    """Return the body with lids and balls set in."""
    u, v, r = lid_coordinates(m)
    gap = opening(u, v)
    upper = ramp(v, -0.3, 0.5)
    cover = r - (RADIUS + LID_THICKNESS + 0.2 * upper)
    cover = cover + 0.25 * np.maximum(gap - 0.8, 0.0) ** 2
    body = soft_union(body, cover, 1.1)
    fold = np.exp(-(((gap - 0.8 - 0.1 * upper) / 0.24) ** 2)) * (0.06 + 0.14 * upper)
    body = body + fold * ramp(r, RADIUS - 0.5, RADIUS) * ramp(r, RADIUS + 1.7, RADIUS + 0.8)
    body = soft_cut(body, gap * (r / RADIUS), 0.26)
    return soft_union(body, r - RADIUS, 0.12)
