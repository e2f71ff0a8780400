"""Take lines off where they enclose next to nothing with a border or another line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.numerics.norms import norms
from loopwright.surface.chain_edges import chain_edges
from loopwright.surface.half_edges import edge_keys, surface_edges, surface_twins
from loopwright.types import FloatArray, IntArray, RegionSurface

Edge = tuple[int, int]
_FEW = 12  # triangles: what has less is too coarse to be cut into patches


def close_pockets(surface: RegionSurface, line_of: Mapping[Edge, int], size: FloatArray, least: float) -> RegionSurface:
    """Return the surface without the flow edges that bound pieces of less area than ``least`` squares of the mesh.

    Of the chains round such a pocket that goes which costs the least line in whole edges, the latest drawn of
    equals; edges of a line that then end nowhere go as well.

    Parameters
    ----------
    line_of : the number of the line of each flow edge (smaller vertex first), counted in the order of drawing.
    size : (n,) about the edge length of the mesh at each vertex.
    """
    ground = _Ground(surface, size)
    flow = ground.prune(surface.flow_edges)
    for _ in range(len(flow)):
        chain = _cheapest_chain(ground, flow, line_of, least)
        if chain is None:
            break
        flow = ground.prune(_without(flow, chain))
    return replace(surface, flow_edges=flow)


class _Ground:
    """What stays the same while lines go.

    Attributes
    ----------
    squares : (m,) area of each triangle in squares of the mesh.
    is_border : (3m,) directed edges on borders and rims; ``held`` their vertices.
    """

    def __init__(self, surface: RegionSurface, size: FloatArray) -> None:
        self.surface, self.size, self.count = surface, size, len(surface.positions)
        self.edges, self.twin = surface_edges(surface), surface_twins(surface)
        region = np.repeat(surface.triangle_region, 3)
        self.is_border = (self.twin < 0) | (region != region[np.maximum(self.twin, 0)])
        self.held = np.zeros(self.count, bool)
        self.held[self.edges[self.is_border].reshape(-1)] = True
        p = surface.positions[surface.triangles]
        area = 0.5 * norms(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]))
        self.squares = area / size[surface.triangles].mean(axis=1) ** 2

    def prune(self, flow: IntArray) -> IntArray:
        """Return the flow edges without those that end nowhere."""
        while len(flow):
            degree = np.bincount(flow.reshape(-1), minlength=self.count)
            loose = ((degree == 1) & ~self.held)[flow].any(axis=1)
            if not loose.any():
                break
            flow = flow[~loose]
        return flow

    def length(self, flow: IntArray) -> float:
        """Return the length of all flow edges."""
        p = self.surface.positions
        return float(norms(p[flow[:, 0]] - p[flow[:, 1]]).sum())


def _cheapest_chain(ground: _Ground, flow: IntArray, line_of: Mapping[Edge, int], least: float) -> IntArray | None:
    """Return the edges that open the first pocket at the least loss, or None where there is no pocket."""
    is_flow = np.isin(edge_keys(ground.edges, ground.count), edge_keys(flow, ground.count))
    joined = np.flatnonzero(~is_flow & ~ground.is_border)
    m = len(ground.squares)
    graph = coo_matrix((np.ones(len(joined), np.int8), (joined // 3, ground.twin[joined] // 3)), shape=(m, m))
    pieces, piece = connected_components(graph, directed=False)
    total = np.bincount(piece, ground.squares, pieces)
    at_line = np.unique(piece[np.flatnonzero(is_flow & ~ground.is_border) // 3])
    few = np.bincount(piece, minlength=pieces) < _FEW
    small = at_line[(total[at_line] < least) | few[at_line]]
    if len(small) == 0:
        return None
    degree = np.bincount(flow.reshape(-1), minlength=ground.count)
    stops = set(np.flatnonzero(((degree > 0) & ground.held) | (degree > 2)).tolist())
    mine = np.flatnonzero(np.repeat(piece == small[0], 3) & is_flow & ~ground.is_border)
    around: IntArray = np.unique(np.sort(ground.edges[mine], axis=1), axis=0)
    best: tuple[int, int] | None = None
    found, whole = None, ground.length(flow)
    for vertices in chain_edges(around, stops):
        chain: IntArray = np.sort(np.stack([vertices[:-1], vertices[1:]], axis=1), axis=1)
        left = ground.length(ground.prune(_without(flow, chain)))
        edge = float(ground.size[vertices].mean())
        rank = (round((whole - left) / edge), -max(line_of.get((a, b), 0) for a, b in chain.tolist()))
        if best is None or rank < best:
            best, found = rank, chain
    return found


def _without(flow: IntArray, chain: IntArray) -> IntArray:
    gone = {(a, b) for a, b in chain.tolist()}
    return np.array([e for e in flow.tolist() if (e[0], e[1]) not in gone], np.int32).reshape(-1, 2)
