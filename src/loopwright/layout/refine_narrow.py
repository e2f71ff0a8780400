"""Refine the surface where a piece is too coarse to be cut: few triangles, or only one across."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.layout.border_graph import constrained_edges, node_mask
from loopwright.layout.open_surface import open_surface
from loopwright.surface.half_edges import directed_edges, edge_keys, surface_edges, surface_twins
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface

_FEWEST = 64  # triangles of a piece
_ROUNDS = 3


def refine_narrow(surface: RegionSurface, vertex_size: FloatArray) -> tuple[RegionSurface, FloatArray]:
    """Return the surface and its sizes with edges halved where a piece is too coarse.

    Halved are all edges of pieces with few triangles, edges inside a piece
    from one point of its boundary to another, and borders that are one edge
    from node to node: a cut needs room beside the boundary and a place on it
    to end.  Triangles beside halved edges are split to match.
    """
    for round_ in range(_ROUNDS):
        halved = _coarse_edges(surface, chords=round_ == 0)
        if len(halved) == 0:
            break
        surface, vertex_size = split_at_midpoints(surface, vertex_size, halved)
    return surface, vertex_size


def _coarse_edges(surface: RegionSurface, *, chords: bool) -> IntArray:
    """Return the (k, 2) edges to halve."""
    count = len(surface.positions)
    constrained, opened = constrained_edges(surface), open_surface(surface)
    wedges, component = opened.wedges, opened.component
    marked: BoolArray = np.repeat(np.bincount(component)[component] < _FEWEST, 3)
    if chords:
        at_rim = np.zeros(int(wedges.max()) + 1, bool)
        ends = directed_edges(wedges)
        at_rim[ends[opened.at_rim]] = True
        marked |= ~opened.at_rim & at_rim[ends].all(axis=1)
    bare = constrained.edges[node_mask(constrained, count)[constrained.edges].all(axis=1)]
    asked = np.concatenate([surface_edges(surface)[marked], bare])
    found: IntArray = np.unique(np.sort(asked, axis=1), axis=0).astype(np.int32)
    return found


def split_at_midpoints(
    surface: RegionSurface, vertex_size: FloatArray, edges: IntArray
) -> tuple[RegionSurface, FloatArray]:
    """Return the surface and its sizes with (k, 2) edges (smaller id first, no edge twice) halved.

    A triangle with three halved edges becomes four, with two three, with one two.
    """
    count = len(surface.positions)
    keys = edge_keys(edges, count)
    order: np.ndarray = np.argsort(keys)
    middle = np.full(3 * len(surface.triangles), -1, np.int64)
    asked = edge_keys(surface_edges(surface), count)
    place = np.minimum(np.searchsorted(keys[order], asked), len(keys) - 1)
    hit = keys[order][place] == asked
    middle[hit] = count + order[place[hit]]
    triangles, parent = split_triangles(surface.triangles, middle.reshape(-1, 3).astype(np.int32))
    a, b = edges[:, 0], edges[:, 1]
    at_rim = np.isin(keys, asked[surface_twins(surface) < 0])
    out = replace(
        surface,
        positions=np.concatenate([surface.positions, 0.5 * (surface.positions[a] + surface.positions[b])]),
        triangles=triangles,
        triangle_region=surface.triangle_region[parent],
        on_mirror=np.concatenate([surface.on_mirror, surface.on_mirror[a] & surface.on_mirror[b] & at_rim]),
        flow_edges=_halve(surface.flow_edges, edges, keys, order, count),
        guide_edges=_halve(surface.guide_edges, edges, keys, order, count),
    )
    return out, np.concatenate([vertex_size, 0.5 * (vertex_size[a] + vertex_size[b])])


def split_triangles(triangles: IntArray, middle: IntArray) -> tuple[IntArray, IntArray]:
    """Split triangles at the middles (m, 3) of their edges 0-1, 1-2, 2-0; -1 for edges that stay."""
    pieces, parents = [], []
    many = (middle >= 0).sum(axis=1)
    for turn in range(3):
        t, m = np.roll(triangles, -turn, axis=1), np.roll(middle, -turn, axis=1)
        one = (many == 1) & (m[:, 0] >= 0)
        two = (many == 2) & (m[:, 2] < 0)
        pieces += [np.stack([t[:, 0], m[:, 0], t[:, 2]], 1)[one], np.stack([m[:, 0], t[:, 1], t[:, 2]], 1)[one]]
        parents += [np.flatnonzero(one)] * 2
        pieces += [
            np.stack([m[:, 0], t[:, 1], m[:, 1]], 1)[two],
            np.stack([t[:, 0], m[:, 0], m[:, 1]], 1)[two],
            np.stack([t[:, 0], m[:, 1], t[:, 2]], 1)[two],
        ]
        parents += [np.flatnonzero(two)] * 3
    whole, four = many == 0, many == 3
    pieces += [triangles[whole], middle[four]]
    parents += [np.flatnonzero(whole), np.flatnonzero(four)]
    for k in range(3):
        pieces.append(np.stack([triangles[:, k], middle[:, k], middle[:, k - 1]], 1)[four])
        parents.append(np.flatnonzero(four))
    parent = np.concatenate(parents)
    order = np.argsort(parent, kind="stable")
    return np.ascontiguousarray(np.concatenate(pieces)[order], np.int32), parent[order].astype(np.int32)


def _halve(lines: IntArray, edges: IntArray, keys: np.ndarray, order: np.ndarray, count: int) -> IntArray:
    """Return (k, 2) line edges with the halved ones among them in two."""
    if len(lines) == 0:
        return lines
    asked = edge_keys(lines, count)
    place = np.minimum(np.searchsorted(keys[order], asked), len(keys) - 1)
    hit = keys[order][place] == asked
    middle = count + order[place[hit]]
    halves = [np.stack([lines[hit, k], middle], axis=1) for k in range(2)]
    return np.concatenate([lines[~hit], *halves]).astype(np.int32)
