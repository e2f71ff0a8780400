"""Tell which points of a surface lie on its rim: what is nearest to them lies beyond where the surface ends."""

from __future__ import annotations

import numpy as np

from loopwright.surface.edges import build_edges
from loopwright.types import BoolArray, FloatArray, IntArray

_EDGE_SHARE = 1e-4
"""A point nearer to a rim edge than this share of its triangle's height lies on the rim."""


def lands_on_rim(triangles: IntArray, facet: IntArray, weights: FloatArray) -> BoolArray:
    """Return (k,) whether each point lies on an edge that only one triangle has, or on an end of one.

    Parameters
    ----------
    triangles : (m, 3) of the surface.
    facet : (k,) the triangle that each point lies in.
    weights : (k, 3) its barycentric weights there.
    """
    table = build_edges(triangles, int(triangles.max()) + 1)
    is_rim = table.is_boundary()
    is_rim_side = is_rim[table.triangle_edges[:, [1, 2, 0]]]  # of each corner, the side across
    is_rim_vertex = np.zeros(int(triangles.max()) + 1, bool)
    is_rim_vertex[table.edges[is_rim]] = True
    on_side = is_rim_side[facet] & (weights < _EDGE_SHARE)
    on_end = is_rim_vertex[triangles[facet]] & (weights > 1 - 2 * _EDGE_SHARE)
    return np.asarray((on_side | on_end).any(axis=1), dtype=bool)
