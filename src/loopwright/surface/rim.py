"""Tell which points of a surface lie on its rim: what is nearest to them lies beyond where the surface ends."""

from __future__ import annotations

import numpy as np

from loopwright.surface.edges import edge_keys
from loopwright.types import BoolArray, FloatArray, IntArray

_EDGE_SHARE = 1e-4
"""A point nearer to a rim edge than this share of its triangle's height lies on the rim."""


class Rim:
    """The edges of a surface that only one triangle has, however many others have.

    Parameters
    ----------
    triangles : (m, 3) of the surface.
    """

    def __init__(self, triangles: IntArray) -> None:
        count = int(triangles.max(initial=-1)) + 1
        across = np.stack([triangles[:, [1, 2, 0]], triangles[:, [2, 0, 1]]], axis=2)  # of each corner, the side
        sides = across.reshape(-1, 2)
        _, inverse, uses = np.unique(edge_keys(sides, count), return_inverse=True, return_counts=True)
        is_rim = uses[inverse.ravel()] == 1
        self._triangles, self._has_side = triangles, is_rim.reshape(-1, 3)
        self._has_vertex = np.zeros(count, bool)
        self._has_vertex[sides[is_rim]] = True

    def holds(self, facet: IntArray, weights: FloatArray) -> BoolArray:
        """Return (k,) whether each point lies on an edge of the rim, or on an end of one.

        Parameters
        ----------
        facet : (k,) the triangle that each point lies in.
        weights : (k, 3) its barycentric weights there.
        """
        on_side = self._has_side[facet] & (weights < _EDGE_SHARE)
        on_end = self._has_vertex[self._triangles[facet]] & (weights > 1 - 2 * _EDGE_SHARE)
        return np.asarray((on_side | on_end).any(axis=1), dtype=bool)
