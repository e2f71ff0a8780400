"""Find quads that pass through others, looking only where something moved since the last time."""

from __future__ import annotations

import lagrange
import numpy as np
from numpy.typing import NDArray

from loopwright.fit.fold_mirror import Fold
from loopwright.types import BoolArray, FloatArray

_FEW = 0.2  # share of the quads up to which only the moved ones are tested
_CHUNK = 64  # moved quads whose boxes are compared with all others at once
_AT_PLANE = 1e-6  # of the extent: how near to the mirror plane a quad can meet an image


class CrossingFinder:
    """The crossing quads of one mesh, and of its mirror image with it, while its vertices move.

    Both triangles of a quad, split along its first diagonal, are tested; quads that share a vertex do not
    count as crossing there. Of a half, the image is tested against it, not against itself.

    Parameters
    ----------
    fold : the mesh and its image.
    """

    def __init__(self, fold: Fold) -> None:
        self._fold = fold
        self._own = len(fold.quads) // (1 if fold.mirror is None else 2)
        self._last: FloatArray | None = None
        self._pairs = np.zeros((0, 2), np.int64)

    def find(self, positions: FloatArray) -> NDArray[np.int64]:
        """Return the ids of the half's own quads that cross quads of the whole, ascending; (n, 3) of the half."""
        points, quads = self._fold.unfold_points(positions), self._fold.quads
        is_tested = self._may_cross(positions)
        is_moved = np.ones(len(quads), bool)
        if self._last is not None:
            is_moved = (points != self._last).any(axis=1)[quads].any(axis=1)
        if not is_moved.any():
            return self._of_half(self._pairs)
        if is_moved.mean() <= _FEW:
            is_tested &= _touching(points[quads], is_moved)
        else:
            is_moved[:] = True
        found = self._cross(points, np.flatnonzero(is_tested))
        stays = self._pairs[~is_moved[self._pairs].any(axis=1)]
        self._pairs = np.unique(np.vstack([stays, found[is_moved[found].any(axis=1)]]), axis=0)
        self._last = points
        return self._of_half(self._pairs)

    def _of_half(self, pairs: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.unique(pairs % max(self._own, 1))

    def _may_cross(self, positions: FloatArray) -> BoolArray:
        """Return which quads of the whole are tested: all own ones, and images of those not clear of the plane."""
        out = np.ones(len(self._fold.quads), bool)
        if self._fold.mirror is not None and len(positions):
            height = self._fold.mirror.signed_distance(positions)
            clear = height > _AT_PLANE * float(np.ptp(positions, axis=0).max())
            out[self._own :] = ~clear[self._fold.quads[: self._own]].all(axis=1)
        return out

    def _cross(self, points: FloatArray, chosen: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return (k, 2) pairs of the chosen quads that cross, the lower id first."""
        if len(chosen) == 0:
            return np.zeros((0, 2), np.int64)
        used, local = np.unique(self._fold.quads[chosen], return_inverse=True)
        quads = local.reshape(-1, 4)
        triangles = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
        mesh = lagrange.SurfaceMesh()
        mesh.add_vertices(np.ascontiguousarray(points[used]))
        mesh.add_triangles(np.ascontiguousarray(triangles, np.uint32))
        pairs = np.asarray(lagrange.bvh.compute_intersecting_pairs(mesh), np.int64).reshape(-1, 2)
        return np.sort(chosen[pairs % len(quads)], axis=1)


def _touching(corners: FloatArray, is_moved: BoolArray) -> BoolArray:
    """Return (m,) which quads' boxes meet that of a moved one, those included."""
    low, high = (bound.T.copy() for bound in (corners.min(axis=1), corners.max(axis=1)))
    out = is_moved.copy()
    moved = np.flatnonzero(is_moved)
    for start in range(0, len(moved), _CHUNK):
        some = moved[start : start + _CHUNK]
        meets = np.ones((len(some), len(out)), bool)
        for least, most in zip(low, high, strict=True):
            meets &= least[some, None] <= most
            meets &= least <= most[some, None]
        out |= meets.any(axis=0)
    return out
