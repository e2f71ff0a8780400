"""Split long edges of a net at their middles, many at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.numerics.norms import norms
from loopwright.surface.edges import (
    build_edges,
    contains_keys,
    edge_keys,
    key_pairs,
    row_lengths,
    vertex_normals,
)
from loopwright.surface.net import Net, kept_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, IntArray

_REACH = 0.3  # of the edge: a middle that lands farther away has found another part of the sculpt


def split_long_edges(
    net: Net, projector: SurfaceProjector | None, *, long: float = 1.4, rounds: int = 4, most: int | None = None
) -> Net:
    """Split edges longer than ``long`` times the wished length.

    Parameters
    ----------
    projector : puts the new vertices on the sculpt; boundary edges and
        features are then left alone, as their shape belongs to whoever drew
        them.  With None every long edge is split at its middle.
    most : triangles at which to stop, whatever is still long.
    """
    for _ in range(rounds):
        if most is not None and len(net.triangles) >= most:
            break
        n = len(net.positions)
        table = build_edges(net.triangles, n)
        a, b = table.edges[:, 0], table.edges[:, 1]
        length = row_lengths(net.positions[a] - net.positions[b])
        ratio = length / np.minimum(net.size[a], net.size[b])
        wanted = ratio > long
        if projector is not None:
            wanted &= ~kept_edges(net, table)
        asked = np.flatnonzero(wanted)
        rank = np.zeros(len(ratio), dtype=np.int64)
        rank[asked[np.argsort(ratio[asked], kind="stable")]] = np.arange(1, len(asked) + 1)
        ranks = rank[table.triangle_edges]
        best = np.maximum(np.maximum(ranks[:, 0], ranks[:, 1]), ranks[:, 2])
        sides = table.edge_triangles
        wanted &= (best[sides[:, 0]] == rank) & ((sides[:, 1] < 0) | (best[sides[:, 1]] == rank))
        if not wanted.any():
            break
        middles = 0.5 * (net.positions[a] + net.positions[b])[wanted]
        if projector is not None:
            normals = vertex_normals(net.positions, net.triangles)
            mean = (normals[a] + normals[b])[wanted]
            mean /= np.maximum(norms(mean)[..., None], 1e-300)
            landed = projector.project(middles, mean).points
            near = row_lengths(landed - middles) < _REACH * length[wanted]
            middles[near] = landed[near]
        net, _ = split_edges(net, wanted, table.triangle_edges, table.edges, middles)
    return net


def split_edges(
    net: Net, wanted: BoolArray, triangle_edges: IntArray, edges: IntArray, points: FloatArray
) -> tuple[Net, IntArray]:
    """Split the wanted edges, at most one in a triangle, at the given points.

    Parameters
    ----------
    wanted : (e,) bool. triangle_edges, edges : as in an edge table.
    points : (k, 3) float64, one for each wanted edge in order.

    Returns
    -------
    net : the net with the new vertices appended.
    new_vertex : (e,) int32, the vertex on each split edge, else -1.
    """
    n = len(net.positions)
    new_vertex = np.full(len(edges), -1, dtype=np.int32)
    new_vertex[wanted] = n + np.arange(int(wanted.sum()), dtype=np.int32)
    hit = wanted[triangle_edges]
    which = np.flatnonzero(hit.any(axis=1))
    corner = hit[which].argmax(axis=1)
    a, b, c = (net.triangles[which, (corner + k) % 3] for k in range(3))
    middle = new_vertex[triangle_edges[which, corner]]
    triangles = net.triangles.copy()
    triangles[which] = np.stack([a, middle, c], axis=1)
    triangles = np.concatenate([triangles, np.stack([middle, b, c], axis=1)]).astype(np.int32)
    ends = edges[wanted]
    features = key_pairs(net.feature_keys, n)
    split_features = contains_keys(net.feature_keys, edge_keys(ends, n))
    halves = [np.stack([ends[split_features, k], new_vertex[wanted][split_features]], axis=1) for k in (0, 1)]
    gone = np.sort(edge_keys(ends[split_features], n))
    features = np.concatenate([features[~contains_keys(gone, net.feature_keys)], *halves])
    total = n + len(points)
    out = replace(
        net,
        positions=np.concatenate([net.positions, points]),
        triangles=np.ascontiguousarray(triangles),
        size=np.concatenate([net.size, net.size[ends].mean(axis=1)]),
        is_fixed=np.concatenate([net.is_fixed, np.zeros(len(points), dtype=bool)]),
        feature_keys=np.sort(edge_keys(features, total)),
        triangle_label=np.concatenate([net.triangle_label, net.triangle_label[which]]),
        origin=np.concatenate([net.origin, net.origin[ends[:, 0]]]),
    )
    return out, new_vertex
