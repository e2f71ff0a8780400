"""Nose of the demo creature: bridge, tip, wings, nostrils, and the groove below."""

from __future__ import annotations

from loopwright.demo.blend_fields import Field, Points, crease, ellipsoid, soft_cut, soft_union, strand

CENTER = (0.0, -1.2, 7.8)
REACH = 5.8


def shape_nose(body: Field, p: Points, m: Points) -> Field:
    """Return the body with the nose set on."""
    bridge = strand(m, [((0.35, 2.2, 6.3), 0.9), ((0.38, -0.4, 7.3), 0.78), ((0.35, -1.9, 8.2), 0.9)], 0.6)
    body = soft_union(body, bridge, 1.8)
    body = soft_union(body, ellipsoid(p, (0.0, -2.15, 8.5), (1.3, 0.85, 0.9)), 0.8)
    body = soft_union(body, ellipsoid(p, (0.0, -2.75, 7.3), (1.9, 0.6, 1.2)), 0.9)
    body = soft_union(body, ellipsoid(m, (1.35, -2.4, 7.75), (0.9, 0.75, 1.1)), 0.8)
    body = body + 0.15 * crease(m, [(1.6, -1.4, 8.2), (2.2, -2.1, 7.6), (2.2, -2.9, 7.2)], 0.35)
    body = soft_cut(body, ellipsoid(m, (0.82, -2.98, 8.0), (0.42, 0.5, 0.6)), 0.3)
    return body + 0.14 * crease(p, [(0.0, -3.7, 7.9), (0.0, -4.6, 7.9)], 0.35)
