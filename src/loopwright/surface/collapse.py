"""Remove vertices of a net by collapsing short edges, many at once.

Every removed vertex ``a`` goes to a neighbour ``b``: the disc of triangles
round ``a`` is filled by a fan from ``b``.  Removed vertices are never
neighbours of each other, and a fan makes no edge that exists or that another
fan makes, so the net stays a manifold of the same topology.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loopwright.surface.edges import (
    EdgeTable,
    build_edges,
    contains_keys,
    dot_rows,
    edge_keys,
    key_pairs,
    measure_triangles,
    row_lengths,
    triangle_normals,
    triangle_quality,
)
from loopwright.surface.net import Net, compact, kept_degree, kept_edges
from loopwright.types import BoolArray, FloatArray, IntArray, MirrorPlane

_MEAN_COS = 0.5
_PATIENCE = 4


@dataclass(frozen=True)
class CollapseOptions:
    """Which edges are collapsed, and what a collapse must not do."""

    short: float = 0.8
    """Edges shorter than this share of the wished length are collapsed."""
    long: float = 1.45
    """No collapse makes an edge longer than this share of the wished length."""
    min_cos: float = 0.3
    """No triangle turns so far that the cosine between its old and new normal falls below this."""
    min_quality: float = 0.25
    """No triangle gets a quality below this unless the worst one it replaces was worse."""
    passes: int = 5
    """Rounds of the search for an independent set."""
    plane: MirrorPlane | None = None
    """Vertices in this plane where a rim leaves it stay: else the rim would end elsewhere, with a notch."""
    in_plane: float = 0.0
    """How far off it a vertex may lie that is in it."""


def collapse_short_edges(
    net: Net, *, options: CollapseOptions | None = None, rounds: int = 30, least_share: float = 0.003
) -> tuple[Net, IntArray]:
    """Collapse edges that are shorter than wished, until few are left.

    Returns
    -------
    net : the coarser net; its vertices are vertices of the given one.
    goes_to : (n,) int32, for each vertex of the given net the vertex of the
        new one that took its place.
    """
    chosen = options or CollapseOptions()
    goes_to = np.arange(len(net.positions), dtype=np.int32)
    idle = 0
    for round_number in range(rounds):
        before = len(net.positions)
        net, step = _collapse_round(net, chosen, round_number)
        goes_to = step[goes_to]
        gone = before - len(net.positions)
        # a round that picked only vertices that may not go says nothing about the others
        idle = idle + 1 if gone == 0 else 0
        if 0 < gone <= least_share * before or idle > _PATIENCE or (idle and least_share > 0.0):
            break
    return net, goes_to


def _collapse_round(net: Net, options: CollapseOptions, round_number: int) -> tuple[Net, IntArray]:
    n = len(net.positions)
    table = build_edges(net.triangles, n)
    kept = kept_edges(net, table)
    target = _choose_targets(net, table, kept, options)
    picked = _independent_vertices(table, target >= 0, seed=round_number * 8, passes=options.passes)
    picked &= ~_refused(net, table, kept, picked, target, options)
    goes_to = np.where(picked, target, np.arange(n, dtype=np.int32))
    corners = goes_to[net.triangles]
    alive = (corners[:, 0] != corners[:, 1]) & (corners[:, 1] != corners[:, 2]) & (corners[:, 2] != corners[:, 0])
    features = goes_to[key_pairs(net.feature_keys, n)]
    features = features[features[:, 0] != features[:, 1]]
    moved = replace(
        net,
        triangles=np.ascontiguousarray(corners[alive]),
        triangle_label=net.triangle_label[alive],
        feature_keys=np.unique(edge_keys(features, n)),
    )
    out, renumber = compact(moved)
    return out, renumber[goes_to]


def _choose_targets(net: Net, table: EdgeTable, kept: BoolArray, options: CollapseOptions) -> IntArray:
    """Return (n,) the neighbour that each vertex may go to along its shortest edge, or -1."""
    n = len(net.positions)
    degree = kept_degree(table, kept, n)
    a, b = table.edges[:, 0], table.edges[:, 1]
    length = row_lengths(net.positions[a] - net.positions[b])
    ratio = length / np.minimum(net.size[a], net.size[b])
    near = np.flatnonzero(ratio < options.short)
    near = near[np.argsort(-ratio[near])]
    start = np.stack([a[near], b[near]], axis=1).ravel()
    end = np.stack([b[near], a[near]], axis=1).ravel()
    on_chain = degree[start] > 0
    along = np.repeat(kept[near], 2) & (degree[start] == 2)
    if options.plane is not None:
        along &= ~_leaves_plane(net, table.edges[kept], options.plane, options.in_plane)[start]
    may = np.where(on_chain, along, ~net.is_fixed[start])
    target = np.full(n, -1, dtype=np.int32)
    target[start[may]] = end[may]
    return target


def _leaves_plane(net: Net, edges: IntArray, plane: MirrorPlane, tolerance: float) -> BoolArray:
    """Return (n,) vertices in the plane of whose kept edges one alone lies in it."""
    there = np.abs(plane.signed_distance(net.positions)) <= tolerance
    both = edges[there[edges].all(axis=1)]
    leaves: BoolArray = there & (np.bincount(both.ravel(), minlength=len(there)) == 1)
    return leaves


def _hash_order(n: int, seed: int) -> NDArray[np.int64]:
    return np.random.default_rng(seed + 1).permutation(n).astype(np.int64) + 1


def _independent_vertices(table: EdgeTable, candidate: BoolArray, seed: int, passes: int) -> BoolArray:
    """Return (n,) candidates no two of which are neighbours, after Luby's parallel rule."""
    n = len(candidate)
    free = candidate.copy()
    picked = np.zeros(n, dtype=bool)
    a, b = table.edges[:, 0], table.edges[:, 1]
    for number in range(passes):
        both = free[a] & free[b]
        a, b = a[both], b[both]
        priority = _hash_order(n, seed + number)
        lowest = np.full(n, n + 1, dtype=np.int64)
        np.minimum.at(lowest, a, priority[b])
        np.minimum.at(lowest, b, priority[a])
        chosen = free & (priority < lowest)
        picked |= chosen
        free &= ~chosen
        free[b[chosen[a]]] = False
        free[a[chosen[b]]] = False
    return picked


def _refused(
    net: Net, table: EdgeTable, kept: BoolArray, picked: BoolArray, target: IntArray, options: CollapseOptions
) -> BoolArray:
    """Return (n,) picked vertices whose fan would fold, be of bad shape, or make an edge twice."""
    n = len(net.positions)
    refused = np.zeros(n, dtype=bool)
    has = picked[net.triangles]
    touched = np.flatnonzero(has[:, 0] | has[:, 1] | has[:, 2])
    corner = has[touched].argmax(axis=1)
    old = np.stack([net.triangles[touched, (corner + k) % 3] for k in range(3)], axis=1)
    a, b = old[:, 0], target[old[:, 0]]
    vanishes = (old[:, 1] == b) | (old[:, 2] == b)
    opposite = np.full((n, 2), -1, dtype=np.int32)
    third = np.where(old[:, 1] == b, old[:, 2], old[:, 1])
    first = vanishes & (old[:, 1] == b)
    opposite[a[first], 0] = third[first]
    second = vanishes & ~first
    opposite[a[second], 1] = third[second]
    worst = np.ones(n)
    np.minimum.at(worst, a, triangle_quality(net.positions, old))
    old, a, b = old[~vanishes], a[~vanishes], b[~vanishes]
    new = old.copy()
    new[:, 0] = b
    refused[a[_is_bad_shape(net, old, new, worst[a], options)]] = True
    # a vertex whose whole star would vanish
    remains = np.bincount(a, minlength=n) > 0
    refused |= picked & ~remains
    spoke_ends = np.concatenate([new[:, 1], new[:, 2]])
    owner = np.concatenate([a, a])
    from_b = np.concatenate([b, b])
    fresh = (spoke_ends != opposite[owner, 0]) & (spoke_ends != opposite[owner, 1])
    owner, pairs = owner[fresh], np.stack([from_b[fresh], spoke_ends[fresh]], axis=1)
    keys = edge_keys(pairs, n)
    refused[owner[contains_keys(table.keys, keys)]] = True
    on_chain = np.zeros(n, dtype=bool)
    on_chain[table.edges[kept].ravel()] = True
    bridges = on_chain[pairs[:, 0]] & on_chain[pairs[:, 1]]
    bridges[bridges] = ~contains_keys(table.keys[kept], edge_keys(np.stack([owner, pairs[:, 1]], 1)[bridges], n))
    refused[owner[bridges]] = True
    length = row_lengths(net.positions[pairs[:, 0]] - net.positions[pairs[:, 1]])
    wished = np.minimum(net.size[pairs[:, 0]], net.size[pairs[:, 1]])
    refused[owner[length > options.long * wished]] = True
    order = np.lexsort((owner, keys))
    same = (keys[order][1:] == keys[order][:-1]) & (owner[order][1:] != owner[order][:-1])
    refused[owner[order][1:][same]] = True
    return refused


def _is_bad_shape(net: Net, old: IntArray, new: IntArray, worst: FloatArray, options: CollapseOptions) -> BoolArray:
    before = triangle_normals(net.positions, old)
    after, quality = measure_triangles(net.positions, new)
    # a thin triangle's own normal says little: the mean round the vertex may vouch for the new one instead
    n = len(net.positions)
    sums = [np.bincount(old[:, 0], before[:, k], n)[old[:, 0]] for k in range(3)]
    mean: FloatArray = np.stack(sums, axis=1).astype(np.float64)
    size = row_lengths(after)
    folds = (dot_rows(before, after) < options.min_cos * row_lengths(before) * size) & (
        dot_rows(mean, after) < max(options.min_cos, _MEAN_COS) * row_lengths(mean) * size
    )
    bad: BoolArray = folds | (quality < np.minimum(options.min_quality, worst)) | (quality < 1e-6)
    return bad
