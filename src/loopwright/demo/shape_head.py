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
    body = soft_union(body, _horns(m), 1.8)
    body = body - _crest(p)
    return soft_cut(body, p.y + 17.4, 1.2)


def _skull(p: Points, m: Points) -> Field:
    body = ellipsoid(p, (0.0, 4.4, -1.6), (7.9, 7.2, 8.6))
    body = soft_union(body, ellipsoid(m, (3.4, 3.0, -3.4), (4.8, 5.4, 5.2)), 3.0)
    body = soft_union(body, ellipsoid(p, (0.0, 4.6, 2.2), (6.5, 5.4, 5.4)), 2.5)
    return soft_union(body, ellipsoid(m, (3.7, 0.3, 2.2), (3.5, 3.6, 3.9)), 2.5)


def _face(body: Field, p: Points, m: Points) -> Field:
    body = soft_union(body, ellipsoid(p, (0.0, -2.6, 1.8), (5.2, 7.0, 5.5)), 2.5)
    body = soft_union(body, limb(m, (4.9, -4.0, 0.0), (1.3, -8.4, 5.0), 1.5, 1.35), 2.8)
    body = soft_union(body, ellipsoid(p, (0.0, -8.7, 6.0), (1.7, 1.3, 1.6)), 1.8)
    cheekbone = strand(m, [((4.2, -1.9, 5.2), 1.4), ((6.0, -1.3, 3.1), 1.2), ((7.0, -0.9, 0.4), 0.9)], 1.0)
    body = soft_union(body, cheekbone, 2.6)
    body = soft_union(body, ellipsoid(p, (0.0, -5.4, 4.2), (3.4, 3.0, 3.3)), 2.2)
    body = soft_cut(body, ellipsoid(m, (3.2, 0.8, 8.6), (2.6, 2.0, 2.2)), 1.8)
    knots = [((0.9, 2.7, 6.5), 0.9), ((2.9, 3.75, 6.7), 1.05), ((5.2, 3.7, 5.3), 1.0), ((7.0, 2.0, 2.9), 0.75)]
    body = soft_union(body, strand(m, knots, 1.0), 1.6)
    body = body + 0.3 * crease(m, [(6.8, 4.6, 3.4), (7.9, 2.8, 1.6)], 1.5)
    hollow = crease(m, [(4.7, -4.0, 4.8), (5.4, -5.4, 2.8)], 1.5)
    fold = crease(m, [(2.1, -2.5, 7.4), (3.0, -4.2, 6.8), (3.7, -6.2, 5.8)], 0.55)
    face: Field = body + 0.12 * hollow + 0.13 * fold
    return face


def _neck(p: Points, m: Points) -> Field:
    body = limb(p, (0.0, -4.0, -2.8), (0.0, -19.0, -4.6), 3.9, 4.3)
    body = soft_union(body, limb(m, (2.4, -12.0, -5.4), (6.8, -18.0, -5.2), 2.0, 3.0), 3.6)
    muscle = strand(m, [((5.2, -4.6, -3.0), 0.8), ((3.6, -10.6, -0.9), 0.9), ((1.1, -16.6, 0.1), 0.7)], 0.8)
    body = soft_union(body, muscle, 2.0)
    return soft_union(body, ellipsoid(p, (0.0, -12.2, 0.5), (0.9, 1.5, 0.8)), 1.8)


def _horns(m: Points) -> Field:
    knots = [((3.6, 8.6, 2.7), 1.7), ((4.5, 10.4, 3.1), 1.25), ((5.1, 12.0, 2.7), 0.85), ((5.3, 13.1, 1.9), 0.5)]
    return strand(m, knots, 0.8)


def _crest(p: Points) -> Field:
    """Return a low row of knolls along the middle of the skull, highest at the back."""
    angle = np.arctan2(p.z + 1.6, p.y - 2.0)
    height = ramp(angle, 0.75, 0.35) * ramp(angle, -2.0, -1.3)
    wave = 0.62 + 0.38 * np.cos(angle * 11.0)
    crest: Field = 0.65 * height * wave * np.exp(-((p.x / 0.9) ** 2))
    return crest
