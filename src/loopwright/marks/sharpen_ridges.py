"""Put the vertices of a ridge where the two sides of the shape would meet."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import surface_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, RegionSurface

_RINGS = 3  # of triangles round a ridge vertex whose planes are asked
_KEPT = 0.02  # weight of staying against the planes
_FURTHEST = 1.5  # a vertex moves at most so many edges


def sharpen_ridges(
    surface: RegionSurface, chains: list[IntArray], normals: FloatArray, projector: SurfaceProjector
) -> list[FloatArray]:
    """Return the points of each chain moved to where the planes on both sides meet, put on the sculpt.

    A net of triangles cuts corners; the planes of the triangles near a ridge,
    those that touch it left out, say where it is.  On a rounded ridge the
    place is the middle of the rounding.

    Parameters
    ----------
    normals : (m, 3) smoothed unit normals of the triangles.
    """
    count = len(surface.positions)
    ridge = np.unique(np.concatenate(chains))
    on_ridge = np.zeros(count, bool)
    on_ridge[ridge] = True
    centre = surface.positions[surface.triangles].mean(axis=1)
    usable = np.logical_not(on_ridge[surface.triangles].any(axis=1))
    near = _triangles_near(surface, ridge)
    edges = surface_edges(surface)
    length = float(np.median(norms(surface.positions[edges[:, 0]] - surface.positions[edges[:, 1]])))
    moved = surface.positions.copy()
    for row, v in enumerate(ridge.tolist()):
        mine = near.indices[near.indptr[row] : near.indptr[row + 1]]
        mine = mine[usable[mine]]
        if len(mine) < 4:
            continue
        n, start = normals[mine], surface.positions[v]
        matrix = n.T @ n + _KEPT * len(mine) * np.eye(3)
        step = np.linalg.solve(matrix, n.T @ ((centre[mine] - start) * n).sum(axis=1))
        size = float(np.linalg.norm(step))
        moved[v] = start + step * min(1.0, _FURTHEST * length / max(size, 1e-300))
    moved[ridge] = projector.project(moved[ridge]).points
    if surface.mirror is not None:
        flat = ridge[surface.on_mirror[ridge]]
        moved[flat] -= surface.mirror.signed_distance(moved[flat])[:, None] * surface.mirror.normal
    return [moved[chain] for chain in chains]


def _triangles_near(surface: RegionSurface, vertices: IntArray) -> csr_matrix:
    """Return for each vertex the triangles within some rings, as the columns of its row."""
    m, count = len(surface.triangles), len(surface.positions)
    rows = np.repeat(np.arange(m), 3)
    touch = csr_matrix((np.ones(3 * m, np.int32), (surface.triangles.reshape(-1), rows)), shape=(count, m))
    found = touch[vertices]
    for _ in range(_RINGS - 1):
        found = found @ touch.T @ touch
        found.data[:] = 1
    return found.tocsr()
