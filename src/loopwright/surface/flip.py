"""Flip edges of a net so that its triangles come near to Delaunay, many at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.surface.edges import (
    EdgeTable,
    build_edges,
    contains_keys,
    dot_rows,
    edge_keys,
    measure_triangles,
    opposite_vertices,
    row_lengths,
)
from loopwright.surface.net import Net, kept_degree, kept_edges
from loopwright.types import BoolArray, FloatArray, IntArray


def flip_edges(net: Net, *, rounds: int = 8, min_cos: float = 0.5, least_share: float = 1e-3) -> Net:
    """Flip edges where that raises the worse of the two triangles' quality.

    Parameters
    ----------
    min_cos : the two new triangles keep at least this cosine between their
        normals and the old pair's mean normal, so that nothing folds.
    least_share : a round that flips fewer edges, in shares of the triangles, is the last.
    """
    for _ in range(rounds):
        net, flipped = _flip_round(net, min_cos)
        if flipped <= least_share * len(net.triangles):
            break
    return net


def _flip_round(net: Net, min_cos: float) -> tuple[Net, int]:
    n = len(net.positions)
    table = build_edges(net.triangles, n)
    kept = kept_edges(net, table)
    inner = np.flatnonzero(~kept).astype(np.int32)
    if len(inner) == 0:
        return net, 0
    opposite = opposite_vertices(table, net.triangles, inner)
    gain = _gain(net, table, kept, inner, opposite, min_cos)
    winner = _best_of_both_triangles(table, len(net.triangles), inner, gain)
    inner, opposite = inner[winner], opposite[winner]
    keys = edge_keys(opposite, n)
    fresh = ~contains_keys(table.keys, keys)
    _, first = np.unique(keys, return_index=True)
    once = np.zeros(len(keys), dtype=bool)
    once[first] = True
    inner, opposite = inner[fresh & once], opposite[fresh & once]
    triangles = net.triangles.copy()
    left, right = table.edge_triangles[inner, 0], table.edge_triangles[inner, 1]
    start, end = _oriented_ends(table, net.triangles, inner)
    c, d = opposite[:, 0], opposite[:, 1]
    triangles[left] = np.stack([c, start, d], axis=1)
    triangles[right] = np.stack([d, end, c], axis=1)
    return replace(net, triangles=triangles), len(inner)


def _oriented_ends(table: EdgeTable, triangles: IntArray, which: IntArray) -> tuple[IntArray, IntArray]:
    """Return the ends of each edge in the direction in which its first triangle runs along it."""
    first = table.edge_triangles[which, 0]
    corner = (table.triangle_edges[first] == which[:, None]).argmax(axis=1)
    return triangles[first, corner], triangles[first, (corner + 1) % 3]


def _gain(
    net: Net, table: EdgeTable, kept: BoolArray, inner: IntArray, opposite: IntArray, min_cos: float
) -> FloatArray:
    """Return how much the worse quality of the two triangles grows; minus infinity where a flip is forbidden."""
    start, end = _oriented_ends(table, net.triangles, inner)
    c, d = opposite[:, 0], opposite[:, 1]
    old = [np.stack([start, end, c], axis=1), np.stack([end, start, d], axis=1)]
    new = [np.stack([c, start, d], axis=1), np.stack([d, end, c], axis=1)]
    measured = [measure_triangles(net.positions, corners) for corners in (*old, *new)]
    gain = np.minimum(measured[2][1], measured[3][1]) - np.minimum(measured[0][1], measured[1][1])
    mean = measured[0][0] + measured[1][0]
    mean_length = row_lengths(mean)
    for normal, _ in measured[2:]:
        gain[dot_rows(normal, mean) < min_cos * row_lengths(normal) * mean_length] = -np.inf
        gain[row_lengths(normal) <= 0.0] = -np.inf
    on_chain = kept_degree(table, kept, len(net.positions)) > 0
    gain[on_chain[c] & on_chain[d]] = -np.inf
    return gain


def _best_of_both_triangles(table: EdgeTable, n_triangles: int, inner: IntArray, gain: FloatArray) -> BoolArray:
    """Return which edges have the largest gain of all edges of both their triangles."""
    rank = np.empty(len(inner), dtype=np.int64)
    rank[np.argsort(gain, kind="stable")] = np.arange(1, len(inner) + 1)
    rank[gain < 1e-3] = 0
    best = np.zeros(n_triangles, dtype=np.int64)
    for side in (0, 1):
        np.maximum.at(best, table.edge_triangles[inner, side], rank)
    sides = table.edge_triangles[inner]
    winner: BoolArray = (rank > 0) & (best[sides[:, 0]] == rank) & (best[sides[:, 1]] == rank)
    return winner
