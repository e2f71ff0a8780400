"""The edges of a triangle mesh: which triangles share them, and which lie on the boundary."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.errors import InternalError
from loopwright.surface.sort_pairs import sort_pairs
from loopwright.types import BoolArray, FloatArray, IntArray

KeyArray = NDArray[np.int64]


@dataclass(frozen=True)
class EdgeTable:
    """Edges of a triangle mesh, sorted by their key.

    Attributes
    ----------
    keys : (e,) int64, ascending; lower vertex times the vertex count plus the higher vertex.
    edges : (e, 2) int32, lower vertex first.
    edge_triangles : (e, 2) int32, the triangles at the edge, -1 where there is no second one.
    triangle_edges : (m, 3) int32, edge from corner k to corner k + 1.
    """

    keys: KeyArray
    edges: IntArray
    edge_triangles: IntArray
    triangle_edges: IntArray

    def is_boundary(self) -> BoolArray:
        """Return (e,) whether the edge has one triangle only."""
        return self.edge_triangles[:, 1] < 0


def edge_keys(pairs: IntArray, n_vertices: int) -> KeyArray:
    """Return the (k,) keys of (k, 2) vertex pairs, whatever their order."""
    low = np.minimum(pairs[:, 0], pairs[:, 1]).astype(np.int64)
    return low * n_vertices + np.maximum(pairs[:, 0], pairs[:, 1])


def key_pairs(keys: KeyArray, n_vertices: int) -> IntArray:
    """Return the (k, 2) vertex pairs of (k,) keys, lower vertex first."""
    return np.stack([keys // n_vertices, keys % n_vertices], axis=1).astype(np.int32)


def build_edges(triangles: IntArray, n_vertices: int) -> EdgeTable:
    """Build the edge table of (m, 3) triangles.

    Raises
    ------
    InternalError
        If more than two triangles share an edge.
    """
    tail, head = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    low, high = np.minimum(tail, head), np.maximum(tail, head)
    order = sort_pairs(low, high, n_vertices)
    in_order = low[order].astype(np.int64) * n_vertices + high[order]
    is_first = np.ones(len(in_order), dtype=bool)
    is_first[1:] = in_order[1:] != in_order[:-1]
    start = np.flatnonzero(is_first)
    count = np.diff(np.append(start, len(in_order)))
    if count.size and count.max() > 2:
        pair = key_pairs(in_order[start[count > 2]][:1], n_vertices)[0]
        raise InternalError(f"{int((count > 2).sum())} edges have more than two triangles", places=[tuple(pair)])
    triangle_edges = np.empty(len(low), dtype=np.int32)
    triangle_edges[order] = np.cumsum(is_first) - 1
    edge_triangles = np.full((len(start), 2), -1, dtype=np.int32)
    edge_triangles[:, 0] = order[start] // 3
    shared = count == 2
    edge_triangles[shared, 1] = order[start[shared] + 1] // 3
    keys = in_order[start]
    return EdgeTable(keys, key_pairs(keys, n_vertices), edge_triangles, triangle_edges.reshape(-1, 3))


def contains_keys(sorted_keys: KeyArray, wanted: KeyArray) -> BoolArray:
    """Return (k,) whether each wanted key is among the ascending keys."""
    if len(sorted_keys) == 0:
        return np.zeros(len(wanted), dtype=bool)
    at = np.minimum(np.searchsorted(sorted_keys, wanted), len(sorted_keys) - 1)
    found: BoolArray = sorted_keys[at] == wanted
    return found


def opposite_vertices(table: EdgeTable, triangles: IntArray, which: IntArray) -> IntArray:
    """Return (k, 2) the vertices opposite to the chosen edges, -1 where there is no triangle."""
    out = np.full((len(which), 2), -1, dtype=np.int32)
    for side in (0, 1):
        triangle = table.edge_triangles[which, side]
        has = triangle >= 0
        corners = triangles[triangle[has]]
        out[has, side] = corners.sum(axis=1) - table.edges[which[has]].sum(axis=1)
    return out


def dot_rows(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return (k,) the scalar products of the rows of two (k, 3) arrays."""
    out: FloatArray = np.einsum("ij,ij->i", a, b)
    return out


def row_lengths(vectors: FloatArray) -> FloatArray:
    """Return (k,) the lengths of (k, 3) vectors."""
    return np.sqrt(dot_rows(vectors, vectors))


def cross_rows(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return (k, 3) the vector products of the rows of two (k, 3) arrays."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[:, i] = a[:, j] * b[:, k] - a[:, k] * b[:, j]
    return out


def triangle_normals(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return (m, 3) normals as long as twice the triangle's area."""
    a = positions[triangles[:, 0]]
    return cross_rows(positions[triangles[:, 1]] - a, positions[triangles[:, 2]] - a)


def vertex_normals(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return (n, 3) unit normals, weighted by triangle area; zero at a vertex of no triangle."""
    per_triangle = triangle_normals(positions, triangles)
    flat = triangles.ravel()
    sums = [np.bincount(flat, np.repeat(per_triangle[:, k], 3), len(positions)) for k in range(3)]
    out: FloatArray = np.stack(sums, axis=1).astype(np.float64)
    length = row_lengths(out)[:, None]
    return out / np.where(length > 0, length, 1.0)


def triangle_quality(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return (m,) 4 sqrt(3) area / sum of squared sides: 1 for an equilateral triangle, 0 for a flat one."""
    return measure_triangles(positions, triangles)[1]


def measure_triangles(positions: FloatArray, triangles: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return the normals of :func:`triangle_normals` and the qualities of :func:`triangle_quality`."""
    a = positions[triangles[:, 0]]
    u, v = positions[triangles[:, 1]] - a, positions[triangles[:, 2]] - a
    normals = cross_rows(u, v)
    squares = 2.0 * (dot_rows(u, u) + dot_rows(v, v) - dot_rows(u, v))
    return normals, 2.0 * np.sqrt(3.0) * row_lengths(normals) / np.where(squares > 0, squares, 1.0)


def drop_unused_vertices(triangles: IntArray, n_vertices: int) -> tuple[IntArray, IntArray]:
    """Return the renumbered triangles and the (k,) old ids of the vertices that stay."""
    used = np.zeros(n_vertices, dtype=bool)
    used[triangles.ravel()] = True
    kept = np.flatnonzero(used).astype(np.int32)
    renumber = np.full(n_vertices, -1, dtype=np.int32)
    renumber[kept] = np.arange(len(kept), dtype=np.int32)
    return np.ascontiguousarray(renumber[triangles]), kept
