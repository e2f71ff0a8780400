"""Torso of the demo body: ribs, waist, pelvis, shoulders' yoke and neck.

Places in centimetres, y up from the ground, the front along +z.  ``p`` is the
point set, ``m`` the same with x replaced by a softened |x|.
"""

from __future__ import annotations

from loopwright.demo.blend_fields import Field, Points, crease, ellipsoid, limb, soft_cut, soft_union, strand

NECK_TOP = 122.5


def shape_torso(p: Points, m: Points) -> Field:
    """Return the torso with its neck cut flat, without limbs."""
    body = _trunk(p, m)
    body = soft_union(body, _yoke(p, m), 3.0)
    body = _front(body, p, m)
    body = _back(body, p, m)
    return soft_cut(body, NECK_TOP - p.y, 1.0)


def _trunk(p: Points, m: Points) -> Field:
    body = ellipsoid(p, (0.0, 97.5, -0.6), (11.2, 14.0, 8.0))
    body = soft_union(body, ellipsoid(p, (0.0, 103.0, -1.4), (12.4, 7.0, 6.6)), 4.0)
    body = soft_union(body, ellipsoid(p, (0.0, 85.0, -0.2), (9.3, 15.0, 6.5)), 4.0)
    body = soft_union(body, ellipsoid(p, (0.0, 75.0, -0.6), (10.0, 10.5, 7.2)), 5.0)
    return soft_union(body, limb(m, (10.2, 101.0, -3.4), (7.6, 84.0, -2.2), 3.0, 1.9), 3.0)


def _yoke(p: Points, m: Points) -> Field:
    body = limb(p, (0.0, 104.0, -2.2), (0.0, 126.0, 0.4), 5.2, 4.5)
    slope = strand(m, [((2.4, 114.5, -2.4), 2.4), ((7.0, 110.4, -2.4), 2.7), ((12.5, 107.6, -1.6), 2.6)], 1.5)
    body = soft_union(body, slope, 3.2)
    muscle = strand(m, [((4.0, 119.0, -0.6), 0.9), ((2.4, 113.0, 2.2), 0.9), ((0.9, 109.2, 3.6), 0.7)], 0.8)
    return soft_union(body, muscle, 1.6)


def _front(body: Field, p: Points, m: Points) -> Field:
    body = soft_union(body, ellipsoid(m, (5.3, 100.0, 4.3), (5.8, 4.4, 3.0)), 3.0)
    body = soft_union(body, ellipsoid(p, (0.0, 80.0, 2.8), (5.6, 8.5, 3.9)), 3.2)
    body = body - 0.45 * crease(m, [(1.5, 108.8, 3.8), (6.5, 109.4, 3.6), (12.0, 109.4, 0.6)], 1.0)
    body = body + 0.45 * crease(p, [(0.0, 106.5, 6.5), (0.0, 97.0, 8.2)], 1.3)
    body = body + 0.3 * crease(p, [(0.0, 95.0, 7.6), (0.0, 85.0, 6.6)], 1.2)
    body = body + 0.35 * crease(m, [(1.6, 94.5, 7.6), (5.6, 91.0, 6.6), (8.0, 86.5, 3.6)], 1.2)
    return body + 0.45 * crease(p, [(0.0, 81.8, 7.0), (0.0, 82.6, 7.0)], 0.8)


def _back(body: Field, p: Points, m: Points) -> Field:
    body = soft_union(body, ellipsoid(m, (6.0, 101.2, -6.2), (3.7, 5.6, 2.1)), 2.2)
    body = soft_union(body, ellipsoid(m, (5.0, 69.6, -4.6), (5.8, 6.2, 5.0)), 2.2)
    body = body + 0.7 * crease(p, [(0.0, 109.0, -8.2), (0.0, 98.0, -8.8), (0.0, 86.0, -6.6), (0.0, 77.0, -7.8)], 1.6)
    return body + 0.25 * crease(m, [(2.6, 107.0, -7.5), (3.2, 98.0, -8.4), (7.0, 95.0, -6.6)], 1.3)
