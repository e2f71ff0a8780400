"""About how long the edges of the mesh to come will be near a place."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from loopwright.types import FloatArray, RegionSurface


class LocalSize:
    """The wished edge length at places on a surface, or on the mirror image of it.

    Parameters
    ----------
    size : one length, or (n,) one for each vertex of the surface.
    """

    def __init__(self, surface: RegionSurface, size: float | FloatArray) -> None:
        self.mirror = surface.mirror
        self.sizes: FloatArray = np.broadcast_to(np.asarray(size, np.float64), len(surface.positions)).copy()
        self.tree = cKDTree(surface.positions, balanced_tree=False)

    def __call__(self, points: FloatArray) -> FloatArray:
        """Return (k,) the edge length near each of (k, 3) points."""
        if self.mirror is not None:
            behind = self.mirror.signed_distance(points) < 0.0
            points = np.where(behind[:, None], self.mirror.reflect(points), points)
        out: FloatArray = self.sizes[self.tree.query(points)[1]]
        return out

    def at(self, point: FloatArray) -> float:
        """Return the edge length near one point."""
        return float(self(point[None])[0])
