"""Tell which points of a surface lie on its rim: what is nearest to them lies beyond where the surface ends."""

from __future__ import annotations

import numpy as np

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
    sides = np.sort(np.stack([triangles[:, [1, 2, 0]], triangles[:, [2, 0, 1]]], axis=2), axis=2)
    _, inverse, uses = np.unique(sides.reshape(-1, 2), axis=0, return_inverse=True, return_counts=True)
    is_rim_side = (uses[inverse.ravel()] == 1).reshape(-1, 3)
    is_rim_vertex = np.zeros(int(triangles.max()) + 1, bool)
    is_rim_vertex[triangles[:, [1, 2, 0]][is_rim_side]] = True
    is_rim_vertex[triangles[:, [2, 0, 1]][is_rim_side]] = True
    on_side = is_rim_side[facet] & (weights < _EDGE_SHARE)
    on_end = is_rim_vertex[triangles[facet]] & (weights > 1 - 2 * _EDGE_SHARE)
    return np.asarray((on_side | on_end).any(axis=1), dtype=bool)
