"""Ears of the demo creature: a pointed leaf with a rolled rim and a hollow shell.

Places are given in ear coordinates (a, b, c): along the leaf from its root
to its tip, across it upwards, and through it towards the listening side.
"""

from __future__ import annotations

import numpy as np

from loopwright.demo.blend_fields import Field, Points, Triple, ellipsoid, lens, limb, ramp, soft_cut, soft_union
from loopwright.types import FloatArray

ROOT = (7.0, 0.5, -1.9)
REACH = 13.0
_ALONG = (0.80, 0.42, -0.43)
_FACING = (0.36, 0.08, 0.93)


def _frame() -> tuple[Triple, Triple, Triple]:
    along = np.array(_ALONG) / np.linalg.norm(_ALONG)
    facing = np.array(_FACING) - along * (along @ np.array(_FACING))
    facing /= np.linalg.norm(facing)
    across = np.cross(facing, along)
    return _triple(along), _triple(across), _triple(facing)


def _triple(vector: FloatArray) -> Triple:
    x, y, z = (float(value) for value in vector)
    return x, y, z


_FRAME = _frame()


def ear_coordinates(m: Points) -> tuple[Field, Field, Field]:
    """Return (a, b, c), the leaf bent so that its mid surface is c = 0."""
    x, y, z = m.x - ROOT[0], m.y - ROOT[1], m.z - ROOT[2]
    a, b, c = (f[0] * x + f[1] * y + f[2] * z for f in _FRAME)
    b = b - 0.05 * a + 0.012 * a * a
    return a, b, c - 0.045 * b * b + 0.014 * (a - 1.0) ** 2


def leaf(a: Field, b: Field) -> Field:
    """Return the near-distance to the ear's outline in its own plane."""
    skew = b - 0.35 * np.sin(0.42 * np.clip(a, -2.0, 8.0))
    return lens(a - 3.4, skew, 5.6, 2.6, 2.1, 1.0)


def ear_body(m: Points) -> Field:
    """Return the ear by itself, its root inside the skull, before the shell is hollowed."""
    a, b, c = ear_coordinates(m)
    edge = leaf(a, b)
    taper = 1.0 - 0.035 * np.clip(a, 0.0, 8.0)
    plate = soft_union(-(np.abs(c) - 0.45 * taper), -(edge + 0.25), 0.7)
    ear = -plate
    rim = np.sqrt((edge + 0.42) ** 2 + (c - 0.22) ** 2) - 0.52 * taper
    ear = soft_union(ear, rim, 0.35)
    flat = Points(a, b, c)
    ear = soft_union(ear, limb(flat, (0.7, 0.95, 0.4), (5.6, 0.45, 0.3), 0.5, 0.28), 0.5)
    ear = soft_union(ear, ellipsoid(flat, (0.1, -1.2, 0.5), (0.75, 0.85, 0.6)), 0.6)
    return soft_union(ear, ellipsoid(flat, (0.2, 0.0, -0.7), (2.0, 1.9, 1.2)), 1.0)


def shape_ears(body: Field, m: Points) -> Field:
    """Return the body with the ears set on."""
    body = soft_union(body, ear_body(m), 0.9)
    a, b, c = ear_coordinates(m)
    edge = leaf(a, b)
    hollow = ellipsoid(Points(a, b, c), (1.9, -0.4, 0.85), (1.7, 0.95, 0.9))
    body = soft_cut(body, hollow, 0.45)
    groove = (
        ramp(np.abs(edge + 1.05), 0.5, 0.0) * ramp(a, 1.0, 2.0) * ramp(a, 7.0, 5.0) * np.exp(-((c - 0.35) ** 2) / 0.2)
    )
    head: Field = body + 0.12 * groove
    return head
