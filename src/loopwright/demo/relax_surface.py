"""Even a polygonised surface out and put it exactly on its field."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.demo.polygonise_field import FieldFunction, evaluate_field
from loopwright.types import FloatArray, IntArray

PROBE = 1e-4  # step of the differences that give the gradient, in units of length


def edges_of(triangles: IntArray) -> IntArray:
    """Return the (e, 2) undirected edges of a triangle mesh, each once."""
    pairs = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1).astype(np.int64)
    key = np.unique(pairs[:, 0] * (int(triangles.max()) + 1) + pairs[:, 1])
    size = int(triangles.max()) + 1
    return np.stack([key // size, key % size], axis=1).astype(np.int32)


def relax_surface(
    field: FieldFunction, positions: FloatArray, triangles: IntArray, *, rounds: int = 4
) -> tuple[FloatArray, FloatArray]:
    """Return positions that are evenly spread on the zero set, and the unit normals there.

    Parameters
    ----------
    field : signed field, negative inside.
    positions, triangles : (n, 3), (m, 3) a mesh near the zero set.
    rounds : how often each vertex moves half-way to its neighbours' mean, in
        the tangent plane, and back onto the zero set.
    """
    average = _averaging(edges_of(triangles), len(positions))
    step = float(np.linalg.norm(positions[triangles[:, 0]] - positions[triangles[:, 1]], axis=1).mean())
    out = positions
    for _ in range(rounds):
        out, normals = _project(field, out, step)
        move = average @ out - out
        move -= (move * normals).sum(1)[:, None] * normals
        out = out + 0.5 * move
    out, _ = _project(field, out, step)
    return _project(field, out, step)


def _averaging(edges: IntArray, count: int) -> csr_matrix:
    both = np.concatenate([edges, edges[:, ::-1]])
    degree = np.bincount(both[:, 0], minlength=count)
    return csr_matrix((1.0 / degree[both[:, 0]], (both[:, 0], both[:, 1])), shape=(count, count))


def _project(field: FieldFunction, points: FloatArray, step: float) -> tuple[FloatArray, FloatArray]:
    """Return the points after one Newton step to the zero set, and the normals."""
    gradient = np.empty_like(points)
    value = evaluate_field(field, points)
    for axis in range(3):
        shift = np.zeros(3)
        shift[axis] = PROBE
        gradient[:, axis] = (evaluate_field(field, points + shift) - value) / PROBE
    length = np.linalg.norm(gradient, axis=1)
    normals = gradient / np.maximum(length, 1e-12)[:, None]
    move = np.clip(value / np.maximum(length, 0.3), -0.5 * step, 0.5 * step)
    return points - move[:, None] * normals, normals
