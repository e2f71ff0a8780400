"""Skull, face, jaw, brow and neck of the demo creature: the large forms.

``p`` is the point set, ``m`` the same with x replaced by a softened |x|, so
that one body stands for both sides.
"""

from __future__ import annotations

import numpy as np

from loopwright.demo.blend_fields import Field, Points, crease, ellipsoid, limb, ramp, soft_cut, soft_union, strand


def shape_head(p: Points, m: Points) -> Field:
    """Return the head and neck without eyes, nose, mouth and ears."""
    body = _skull(p, m)
    body = _face(body, p, m)
    body = soft_union(body, _neck(p, m), 3.0)
    body = soft_union(body, _horns(m), 1.3)
    body = body - _crest(p)
    return soft_cut(body, p.y + 18.6, 0.8)


def _skull(p: Points, m: Points) -> Field:
    body = ellipsoid(p, (0.0, 4.2, -1.6), (7.7, 7.4, 8.6))
    body = soft_union(body, ellipsoid(m, (3.4, 3.0, -3.6), (4.6, 5.4, 5.0)), 3.0)
    return soft_union(body, ellipsoid(p, (0.0, 4.4, 2.2), (6.3, 5.6, 5.6)), 2.5)


def _face(body: Field, p: Points, m: Points) -> Field:
    body = soft_union(body, ellipsoid(p, (0.0, -3.0, 1.8), (5.5, 7.4, 5.7)), 2.5)
    body = soft_union(body, limb(m, (5.3, -4.2, -0.4), (1.6, -9.0, 4.9), 1.5, 1.5), 2.6)
    body = soft_union(body, ellipsoid(p, (0.0, -9.3, 5.7), (1.9, 1.35, 1.5)), 1.6)
    body = soft_union(body, strand(m, [((4.3, -1.9, 5.3), 1.25), ((6.0, -1.0, 3.2), 1.05), ((7.0, -0.4, 0.6), 0.7)], 0.8), 1.7)
    body = soft_union(body, ellipsoid(p, (0.0, -5.7, 4.3), (3.5, 3.0, 3.2)), 1.8)
    body = soft_cut(body, ellipsoid(m, (3.2, 0.9, 8.4), (2.6, 1.9, 2.2)), 1.8)
    brow = strand(m, [((0.9, 2.2, 6.6), 0.85), ((2.6, 3.15, 6.7), 0.95), ((4.7, 3.3, 5.6), 0.85), ((6.3, 1.9, 3.4), 0.6)], 0.8)
    body = soft_union(body, brow, 1.3)
    body = body + 0.25 * crease(m, [(0.0, 2.7, 7.6), (0.0, 4.6, 7.9)], 0.5)
    body = body + 0.35 * crease(m, [(6.6, 3.6, 3.6), (7.6, 1.8, 1.8)], 1.3)
    hollow = crease(m, [(4.9, -4.0, 5.0), (5.6, -5.6, 2.6)], 1.3)
    fold = crease(m, [(1.9, -2.9, 7.6), (2.9, -4.5, 7.0), (3.6, -6.6, 5.9)], 0.5)
    return body + 0.45 * hollow + 0.16 * fold


def _neck(p: Points, m: Points) -> Field:
    body = limb(p, (0.0, -4.0, -2.8), (0.0, -19.0, -4.6), 4.3, 4.6)
    body = soft_union(body, limb(m, (2.6, -13.0, -5.6), (8.4, -19.6, -5.0), 2.0, 3.2), 3.4)
    muscle = strand(m, [((5.4, -5.2, -2.9), 0.7), ((3.9, -11.0, -0.4), 0.95), ((1.2, -17.6, 0.9), 0.75)], 0.8)
    body = soft_union(body, muscle, 1.3)
    body = soft_union(body, ellipsoid(p, (0.0, -12.6, 0.9), (0.95, 1.5, 0.9)), 1.2)
    return body + 0.3 * crease(p, [(0.0, -18.4, 1.0), (0.0, -17.4, 0.6)], 0.7)


def _horns(m: Points) -> Field:
    return strand(m, [((3.7, 8.6, 2.9), 1.35), ((4.35, 10.7, 3.2), 0.95), ((4.75, 12.4, 2.7), 0.6)], 0.6)


def _crest(p: Points) -> Field:
    """Return a low row of knolls along the middle of the skull, highest at the back."""
    angle = np.arctan2(p.z + 1.6, p.y - 2.0)
    height = ramp(angle, 0.75, 0.35) * ramp(angle, -2.0, -1.3)
    wave = 0.62 + 0.38 * np.cos(angle * 11.0)
    return 0.6 * height * wave * np.exp(-((p.x / 0.85) ** 2))
