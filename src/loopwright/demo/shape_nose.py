"""Nose of the demo creature: bridge, tip, wings, nostrils, and the groove below."""

from __future__ import annotations

from loopwright.demo.blend_fields import Field, Points, crease, ellipsoid, soft_cut, soft_union, strand

CENTER = (0.0, -1.6, 8.2)
REACH = 5.6


def shape_nose(body: Field, p: Points, m: Points) -> Field:
    """Return the body with the nose set on."""
    bridge = strand(p, [((0.0, 2.0, 6.7), 0.75), ((0.0, -0.4, 7.9), 0.72), ((0.0, -2.3, 9.0), 0.95)], 0.5)
    body = soft_union(body, bridge, 1.2)
    body = soft_union(body, ellipsoid(p, (0.0, -2.55, 9.15), (1.05, 0.85, 0.95)), 0.6)
    body = soft_union(body, ellipsoid(m, (1.28, -2.85, 8.05), (0.82, 0.8, 1.05)), 0.5)
    body = body + 0.22 * crease(m, [(1.5, -1.75, 8.6), (2.15, -2.5, 7.8), (2.1, -3.3, 7.4)], 0.3)
    body = soft_cut(body, ellipsoid(m, (0.78, -3.75, 8.45), (0.5, 0.75, 0.62)), 0.35)
    return body + 0.16 * crease(p, [(0.0, -3.6, 8.2), (0.0, -4.7, 8.3)], 0.32)
