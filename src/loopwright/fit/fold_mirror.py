"""See a half mesh as the whole one: images of its vertices, and sums folded back onto the half."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.numerics.catmull_clark import Sharpness
from loopwright.surface.project import smooth_vertex_normals
from loopwright.types import FloatArray, IntArray, MirrorPlane, QuadMesh

_HALF_TOLERANCE = 1e-6  # of the mesh's extent
_MOST_BEYOND = 0.1  # share of a half's vertices that may have strayed beyond the plane; of a whole mesh half are there


@dataclass(frozen=True)
class Fold:
    """The whole mesh of a half: its n vertices first, then the images of those that are not in the plane.

    A mesh without a mirror folds to itself: no images.

    Attributes
    ----------
    quads : (M, 4) int32 of the whole, the half's own first.
    source : (k,) int64, the half vertex of each image; image j is whole vertex n + j.
    count : n, the vertices of the half.
    mirror : the plane, or None.
    """

    quads: IntArray
    source: NDArray[np.int64]
    count: int
    mirror: MirrorPlane | None

    @property
    def whole_count(self) -> int:
        """Return the number of vertices of the whole mesh."""
        return self.count + len(self.source)

    def keep_images(self, columns: NDArray[np.integer]) -> tuple[Fold, NDArray[np.int64]]:
        """Return the fold with no other images than those among these vertices of the whole, and what stays of it.

        The second array holds the whole vertices of the new fold in terms of this one; the quads stay the half's.
        """
        is_used = np.zeros(self.whole_count, bool)
        is_used[columns] = True
        images = np.flatnonzero(is_used[self.count :])
        kept = np.concatenate([np.arange(self.count), self.count + images])
        half = self.quads if self.mirror is None else self.quads[: len(self.quads) // 2]
        return Fold(half, self.source[images], self.count, self.mirror), kept

    def unfold_points(self, points: FloatArray) -> FloatArray:
        """Return (n + k, 3) positions of the whole from (n, 3) of the half."""
        if self.mirror is None or len(self.source) == 0:
            return points
        return np.vstack([points, self.mirror.reflect(points[self.source])])

    def unfold_vectors(self, vectors: FloatArray) -> FloatArray:
        """Return (n + k, 3) vectors (displacements, normals) of the whole from (n, 3) of the half."""
        if self.mirror is None or len(self.source) == 0:
            return vectors
        return np.vstack([vectors, _reflect_vectors(self.mirror, vectors[self.source])])

    def normals(self, positions: FloatArray) -> FloatArray:
        """Return (n, 3) unit normals of the half as a part of the whole, from its (n, 3) positions."""
        a, b, c, d = self.quads.T
        triangles = np.vstack([np.stack(each, axis=1) for each in ((a, b, c), (a, c, d), (b, c, d), (b, d, a))])
        return smooth_vertex_normals(self.unfold_points(positions), triangles, rounds=1)[: self.count]

    def fold_vectors(self, vectors: FloatArray) -> FloatArray:
        """Return (n, 3) sums over each half vertex and its image: the adjoint of ``unfold_vectors``."""
        if self.mirror is None or len(self.source) == 0:
            return vectors
        folded = vectors[: self.count].copy()
        folded[self.source] += _reflect_vectors(self.mirror, vectors[self.count :])
        return folded

    def unfold_scalars(self, values: NDArray[Any]) -> NDArray[Any]:
        """Return (n + k,) values of the whole from (n,) of the half."""
        return np.concatenate([values, values[self.source]])

    def unfold_sharpness(self, sharpness: Sharpness) -> Sharpness:
        """Return the sharp edges and corners of the whole from those of the half."""
        if self.mirror is None or len(self.source) == 0:
            return sharpness
        image = np.arange(self.count)
        image[self.source] = self.count + np.arange(len(self.source))
        edges, corners = (np.concatenate([ids, image[ids]]) for ids in (sharpness.edges, sharpness.corners))
        return Sharpness(edges, np.tile(sharpness.values, 2), np.unique(corners))

    def fold_scalars(self, values: FloatArray) -> FloatArray:
        """Return (n,) sums over each half vertex and its image."""
        folded = values[: self.count].copy()
        folded[self.source] += values[self.count :]
        return folded


def _reflect_vectors(mirror: MirrorPlane, vectors: FloatArray) -> FloatArray:
    reflected: FloatArray = vectors - np.outer(2.0 * (vectors @ mirror.normal), mirror.normal)
    return reflected


def is_half(mesh: QuadMesh) -> bool:
    """Return whether the mesh ends at its mirror plane, rather than being symmetric to it or having none."""
    if mesh.mirror is None or len(mesh.positions) == 0:
        return False
    distance = mesh.mirror.signed_distance(mesh.positions)
    extent = float(np.ptp(mesh.positions, axis=0).max())
    beyond = distance[~mesh.on_mirror] < -_HALF_TOLERANCE * extent
    return bool(beyond.mean() < _MOST_BEYOND) if len(beyond) else True


def fold_mirror(mesh: QuadMesh) -> Fold:
    """Return the whole of a half mesh; of any other mesh, itself."""
    count = len(mesh.positions)
    if not is_half(mesh):
        return Fold(mesh.quads, np.zeros(0, np.int64), count, None)
    source = np.flatnonzero(~mesh.on_mirror)
    image = np.arange(count)
    image[source] = count + np.arange(len(source))
    mirrored = image[mesh.quads][:, [0, 3, 2, 1]].astype(np.int32)
    return Fold(np.ascontiguousarray(np.vstack([mesh.quads, mirrored])), source, count, mesh.mirror)
