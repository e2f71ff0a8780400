"""About how long the edges of the mesh to come will be near a place."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from loopwright.surface.remember import remembered
from loopwright.types import FloatArray, RegionSurface


@remembered
def _vertex_tree(surface: RegionSurface) -> cKDTree:
    return cKDTree(surface.positions, balanced_tree=False)


class LocalSize:
    """The wished edge length at places on a surface, or on the mirror image of it.

    Parameters
    ----------
    size : one length, or (n,) one for each vertex of the surface.
    """

    def __init__(self, surface: RegionSurface, size: float | FloatArray) -> None:
        self.surface, self.mirror = surface, surface.mirror
        self.sizes: FloatArray = np.broadcast_to(np.asarray(size, np.float64), len(surface.positions)).copy()
        self.tree = _vertex_tree(surface)

    def __call__(self, points: FloatArray) -> FloatArray:
        """Return (k,) the edge length near each of (k, 3) points."""
        if self.mirror is not None:
            behind = self.mirror.signed_distance(points) < 0.0
            points = np.where(behind[:, None], self.mirror.reflect(points), points)
        out: FloatArray = self.sizes[self.tree.query(points)[1]]
        return out

    def at_vertices(self, cut: RegionSurface) -> FloatArray:
        """Return the edge length near each vertex of a surface, most of which are vertices of this one still."""
        old, count = self.surface.positions, len(self.surface.positions)
        out = np.concatenate([self.sizes, np.zeros(max(len(cut.positions) - count, 0))])[: len(cut.positions)]
        is_new = np.ones(len(cut.positions), bool)
        is_new[:count] = (cut.positions[:count] != old[: len(cut.positions)]).any(axis=1)
        out[is_new] = self(cut.positions[is_new])
        return out

    def at(self, point: FloatArray) -> float:
        """Return the edge length near one point."""
        return float(self(point[None])[0])
