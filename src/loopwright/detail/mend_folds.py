"""Take the detail back where it would fold faces of a level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from loopwright.detail.level_surface import LevelSurface, keep_in_plane, neighbour_sum
from loopwright.fit.measure_quality import corner_sines
from loopwright.types import BoolArray, FloatArray, IntArray

Ids = NDArray[np.int64]

_LEAST_SINE = 0.02  # of a corner: a quad below it is as good as folded
_ROUNDS = 200
_PATIENCE = 8  # rounds until the place that is evened out grows by a ring
_MOST_RINGS = 12  # what does not help by then lies in the smooth surface itself: the shape is evened out instead


def find_folds(positions: FloatArray, quads: IntArray, normals: FloatArray, least_sine: float = 0.0) -> BoolArray:
    """Return (m,) faces that have a corner turned over, or look against the smooth surface.

    Parameters
    ----------
    positions : (n, 3) of a level's vertices, with their detail. quads : (m, 4). normals : (n, 3) of the smooth surface.
    least_sine : of a corner that counts as turned over.
    """
    a, b, c, d = (positions[quads[:, k]] for k in range(4))
    area = np.cross(c - a, d - b)
    folded: BoolArray = np.einsum("ij,ij->i", area, normals[quads].sum(axis=1)) <= 0.0
    folded |= corner_sines(positions, quads).min(axis=1, initial=1.0) <= least_sine
    return folded


@dataclass(frozen=True)
class MendLevel:
    """A level with what mending asks of it.

    Attributes
    ----------
    surface : the smooth level.
    links : sparse (n, n), sums over the neighbours. faces : sparse (n, m), the faces at each vertex.
    """

    surface: LevelSurface
    links: csr_matrix
    faces: csr_matrix

    def folded_at(self, way: FloatArray, chosen: Ids) -> Ids:
        """Return the vertices of those of the chosen faces that are folded with the ways from the smooth surface."""
        mesh = self.surface.mesh
        used, inverse = np.unique(mesh.quads[chosen], return_inverse=True)
        quads = inverse.reshape(-1, 4).astype(np.int32)
        folded = find_folds(mesh.positions[used] + way[used], quads, self.surface.frames[used, 2], _LEAST_SINE)
        return np.unique(mesh.quads[chosen[folded]]).astype(np.int64)

    def around(self, ids: Ids, rings: int) -> Ids:
        """Return the vertices within some rings of those given."""
        for _ in range(rings):
            ids = np.union1d(ids, self.links[ids].indices)
        return ids

    def even_out(self, way: FloatArray, ids: Ids, *, shape: bool) -> FloatArray:
        """Return new ways at some vertices, or what takes the shape there: half their own, half their neighbours'."""
        near = np.union1d(ids, self.links[ids].indices)
        base = self.surface.mesh.positions[near] if shape else np.zeros((len(near), 3))
        values, own = base + way[near], np.searchsorted(near, ids)
        rows = self.links[ids][:, near]
        evened = 0.5 * values[own] + 0.5 * (rows @ values) / np.maximum(np.asarray(rows.sum(axis=1)), 1.0)
        return keep_in_plane(self.surface, evened - base[own], ids)


def mend_level(surface: LevelSurface) -> MendLevel:
    """Return a level with its links."""
    quads = surface.mesh.quads
    owner = np.repeat(np.arange(len(quads)), 4)
    shape = (len(surface.mesh.positions), len(quads))
    return MendLevel(
        surface, neighbour_sum(surface.mesh), csr_matrix((np.ones(quads.size), (quads.ravel(), owner)), shape=shape)
    )


def mend_folds(levels: list[MendLevel], way: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return ways from the smooth surface with those evened out that would fold faces, and which were.

    At the vertices of such faces the way goes half to the mean of the neighbours' ways, again and again; where that
    does not help, the place grows by a ring. Ways that are even over a place leave the faces of the smooth
    surface there, which are hardly ever folded; where they are, the vertices go to their neighbours' mean. The last
    level's own vertices are tried first, lest coarser levels change.

    Parameters
    ----------
    levels : from 0 on.
    way : (n, 3) of the last one's vertices; the first rows are those of the others.

    References
    ----------
    Our own.
    """
    way, touched = way.copy(), np.zeros(len(way), bool)
    counts = [0, *(len(level.surface.mesh.positions) for level in levels)]
    faces = [np.arange(level.faces.shape[1]) for level in levels]
    waiting = [np.zeros(count, np.int64) for count in counts[1:]]
    for _ in range(_ROUNDS):
        moved: list[Ids] = []
        for index, level in enumerate(levels):
            bad = level.folded_at(way, faces[index])
            if len(bad) == 0:
                continue
            waiting[index][bad] += 1
            rings = int(waiting[index][bad].max()) // _PATIENCE
            late = bad[waiting[index][bad] >= rings * _PATIENCE]
            ids = np.union1d(bad, level.around(late, min(max(rings - 1, 0), _MOST_RINGS)))
            ids = ids[ids >= (counts[index] if rings == 0 else 0)]
            way[ids] = level.even_out(way, ids, shape=rings > _MOST_RINGS)
            moved.append(np.union1d(ids, bad))
        if not moved:
            break
        ids = np.unique(np.concatenate(moved))
        touched[ids] = True
        faces = [
            np.unique(level.faces[ids[ids < count]].indices).astype(np.int64)
            for level, count in zip(levels, counts[1:], strict=True)
        ]
    return way, touched
