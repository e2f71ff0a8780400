"""Eyes of the demo creature: a ball, lids with thickness round it, an almond opening.

All places on the lids are given in lid coordinates (u, v, r): the arc
lengths outwards and upwards from the gaze axis on a sphere of the ball's
radius (azimuthal equidistant map), and the distance from the ball's centre.
"""

from __future__ import annotations

import numpy as np

from loopwright.demo.blend_fields import Field, Points, lens, ramp, soft_cut, soft_union

CENTER = (3.25, 0.55, 4.75)
RADIUS = 2.35
REACH = 5.0  # farther from the ball's centre nothing here changes anything
YAW, PITCH, TILT = 0.20, -0.02, 0.17  # gaze outwards and down, outer corner raised, in radians
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
    return lens(u, v, 1.95, 1.12, 0.86, 0.3)


def shape_eyes(body: Field, m: Points) -> Field:
    """Return the body with lids and balls set in."""
    u, v, r = lid_coordinates(m)
    gap = opening(u, v)
    upper = ramp(v, -0.3, 0.5)
    cover = r - (RADIUS + LID_THICKNESS + 0.14 * upper)
    cover = np.where(gap > 1.6, cover + (gap - 1.6) * 0.8, cover)
    body = soft_union(body, cover, 0.7)
    fold = np.exp(-(((gap - 0.78 - 0.1 * upper) / 0.17) ** 2)) * (0.07 + 0.17 * upper)
    body = body + fold * ramp(r, RADIUS - 0.5, RADIUS)
    body = soft_cut(body, gap * (r / RADIUS), 0.26)
    return soft_union(body, r - RADIUS, 0.05)
