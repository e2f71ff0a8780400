"""Take back moves of the fit that push one part of the mesh through another, such as one lip through the other."""

from __future__ import annotations

import lagrange
import numpy as np
from numpy.typing import NDArray

from loopwright.fit.fold_mirror import Fold
from loopwright.types import FloatArray, IntArray, QuadMesh

_ROUNDS = 8


def crossing_quads(positions: FloatArray, quads: IntArray) -> NDArray[np.int64]:
    """Return the ids of quads that pass through others, both split along their first diagonal."""
    triangles = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    mesh = lagrange.SurfaceMesh()
    mesh.add_vertices(np.ascontiguousarray(positions))
    mesh.add_triangles(np.ascontiguousarray(triangles, np.uint32))
    pairs = np.asarray(lagrange.bvh.compute_intersecting_pairs(mesh), np.int64).reshape(-1, 2)
    return np.unique(pairs.ravel() % len(quads))


def part_crossings(mesh: QuadMesh, fold: Fold, start: FloatArray, fitted: FloatArray) -> FloatArray:
    """Return the fitted (n, 3) positions, drawn back towards ``start`` where quads pass through others.

    The vertices of such quads go back by steps; quads that cross at the start already stay as they are there.
    """
    share = np.ones(len(start))
    for attempt in range(_ROUNDS):
        moved = start + share[:, None] * (fitted - start)
        crossing = crossing_quads(fold.unfold_points(moved), fold.quads)
        vertices = np.unique(mesh.quads[np.unique(crossing % len(mesh.quads))]) if len(crossing) else crossing
        if not (share[vertices] > 0.0).any():
            break
        share[vertices] *= 0.5 if attempt < _ROUNDS - 2 else 0.0
    back: FloatArray = start + share[:, None] * (fitted - start)
    return back
