"""Arm of the demo body, from the shoulder to the wrist, hanging away from the torso."""

from __future__ import annotations

import numpy as np

from loopwright.demo.blend_fields import Field, Points, Triple, ellipsoid, soft_union
from loopwright.demo.sweep_rod import sweep_rod

SHOULDER: Triple = (14.2, 105.6, -1.4)
ELBOW: Triple = (29.4, 89.4, -2.2)
WRIST: Triple = (42.2, 74.4, 0.4)


def between(start: Triple, end: Triple, share: float, forward: float = 0.0) -> Triple:
    """Return the point at ``share`` of the way from one point to another, moved by ``forward`` along z."""
    x, y, z = (s + share * (e - s) for s, e in zip(start, end, strict=True))
    return x, y, z + forward


def shape_arm(m: Points) -> Field:
    """Return one arm without its hand."""
    knots = [
        (SHOULDER, 4.6),
        (between(SHOULDER, ELBOW, 0.3), 4.5),
        (between(SHOULDER, ELBOW, 0.7), 3.9),
        (ELBOW, 3.25),
        (between(ELBOW, WRIST, 0.25), 3.55),
        (between(ELBOW, WRIST, 0.65), 2.9),
        (WRIST, 2.3),
    ]
    body = sweep_rod(m, knots)
    body = soft_union(body, ellipsoid(m, between(SHOULDER, ELBOW, 0.16, 0.6), (4.6, 5.0, 4.4)), 1.6)
    body = soft_union(body, _swell(m, between(SHOULDER, ELBOW, 0.56, 1.0), 3.5, 13.0), 1.6)
    body = soft_union(body, _swell(m, between(SHOULDER, ELBOW, 0.55, -1.2), 3.4, 13.0), 1.6)
    body = soft_union(body, _swell(m, between(ELBOW, WRIST, 0.25, 0.6), 3.2, 12.0), 1.6)
    return soft_union(body, ellipsoid(m, between(ELBOW, WRIST, 0.0, -2.2), (1.5, 1.5, 1.3)), 1.2)


def arm_place(p: Points) -> Field:
    """Return the length along the arm from the shoulder's joint, at points near an arm."""
    axis = np.array(WRIST) - np.array(SHOULDER)
    axis = axis / np.linalg.norm(axis)
    place: Field = sum((c - s) * float(a) for c, s, a in zip(p, SHOULDER, axis, strict=True))  # type: ignore[assignment]
    return place


def _swell(m: Points, center: Triple, radius: float, length: float) -> Field:
    """Return a spindle along the arm: a muscle."""
    axis = np.array(WRIST) - np.array(SHOULDER)
    dx, dy, dz = (float(a) for a in axis * (0.5 * length / np.linalg.norm(axis)))
    x, y, z = center
    ends = ((x - dx, y - dy, z - dz), 0.6 * radius), ((x + dx, y + dy, z + dz), 0.5 * radius)
    return sweep_rod(m, [ends[0], (center, radius), ends[1]])
