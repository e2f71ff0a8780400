"""Take lines off where they enclose next to nothing with a border or another line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.surface.half_edges import directed_edges, edge_keys, twin_corners
from loopwright.types import IntArray, RegionSurface

Edge = tuple[int, int]


def close_pockets(surface: RegionSurface, line_of: Mapping[Edge, int], least_area: float) -> RegionSurface:
    """Return the surface without the flow edges that bound pieces smaller than ``least_area``.

    Where a border bounds such a pocket too, the line is left to the border;
    where only lines do, the latest of them is left to the others.  The edges
    of a line that then end nowhere go as well.

    Parameters
    ----------
    line_of : the number of the line of each flow edge (smaller vertex first), counted in the order of drawing.
    """
    surface = replace(surface, flow_edges=_prune(surface, surface.flow_edges))
    for _ in range(len(surface.flow_edges)):
        gone = _pocket_edges(surface, line_of, least_area)
        if not gone:
            break
        kept = [edge for edge in surface.flow_edges.tolist() if (edge[0], edge[1]) not in gone]
        surface = replace(surface, flow_edges=_prune(surface, np.array(kept, np.int32).reshape(-1, 2)))
    return surface


def _pocket_edges(surface: RegionSurface, line_of: Mapping[Edge, int], least_area: float) -> set[Edge]:
    edges = directed_edges(surface.triangles)
    twin = twin_corners(surface.triangles)
    count = len(surface.positions)
    region = np.repeat(surface.triangle_region, 3)
    is_flow = np.isin(edge_keys(edges, count), edge_keys(surface.flow_edges, count))
    is_border = (twin < 0) | (region != region[np.maximum(twin, 0)])
    joined = np.flatnonzero(~is_flow & ~is_border)
    m = len(surface.triangles)
    graph = coo_matrix((np.ones(len(joined), np.int8), (joined // 3, twin[joined] // 3)), shape=(m, m))
    pieces, piece = connected_components(graph, directed=False)
    p = surface.positions[surface.triangles]
    area = 0.5 * np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1)
    small = np.bincount(piece, area, pieces) < least_area
    gone: set[Edge] = set()
    for k in np.unique(piece[np.flatnonzero(is_flow) // 3][small[piece[np.flatnonzero(is_flow) // 3]]]).tolist():
        mine = np.flatnonzero(np.repeat(piece == k, 3) & (is_flow | is_border))
        lines = [tuple(sorted(e)) for e in edges[mine[~is_border[mine]]].tolist()]
        numbers = {line_of.get((a, b), 0) for a, b in lines}
        touches_border = bool(is_border[mine].any())
        gone |= {(a, b) for a, b in lines if touches_border or line_of.get((a, b), 0) == max(numbers)}
    return gone


def _prune(surface: RegionSurface, flow: IntArray) -> IntArray:
    """Return the flow edges without those that end nowhere."""
    edges = directed_edges(surface.triangles)
    twin = twin_corners(surface.triangles)
    region = np.repeat(surface.triangle_region, 3)
    held = np.zeros(len(surface.positions), bool)
    held[edges[(twin < 0) | (region != region[np.maximum(twin, 0)])].reshape(-1)] = True
    while len(flow):
        degree = np.bincount(flow.reshape(-1), minlength=len(held))
        loose = ((degree == 1) & ~held)[flow].any(axis=1)
        if not loose.any():
            break
        flow = flow[~loose]
    return flow
