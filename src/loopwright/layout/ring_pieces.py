"""Rings among the pieces of a surface."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.layout.border_graph import ConstrainedEdges, constrained_edges
from loopwright.layout.measure_uneven import UnevenOptions
from loopwright.layout.open_surface import OpenSurface, open_surface
from loopwright.layout.ring_bays import breadth
from loopwright.surface.half_edges import directed_edges, distinct_edges, edge_keys
from loopwright.surface.remember import remembered
from loopwright.types import FloatArray, IntArray, RegionSurface

_MOST_WIDE = float(np.exp(UnevenOptions().ring_wander))  # as many times as where it is narrow


def is_ring(
    opened: OpenSurface,
    constrained: ConstrainedEdges,
    vertex_count: int,
    euler: list[int],
) -> list[bool]:
    """Tell for each piece whether it, together with its mirror image, is a ring (Euler number 0).

    The double has 2 chi - (number of open mirror arcs), since each arc is
    counted twice and has Euler number 1; closed mirror loops count nothing.
    """
    edges = directed_edges(opened.wedges)
    rim = np.flatnonzero(opened.at_rim)
    ends = opened.origin[edges[rim]]
    mirror_keys = edge_keys(constrained.edges[constrained.kind == 2], vertex_count)
    in_plane = np.isin(edge_keys(ends, vertex_count), mirror_keys)
    out = []
    for c, chi in enumerate(euler):
        mine = rim[in_plane & (opened.component[rim // 3] == c)]
        touched = np.unique(edges[mine]) if len(mine) else np.zeros(0, np.int32)
        arcs = len(touched) - len(mine)
        out.append(2 * chi - arcs == 0 if len(mine) else chi == 0)
    return out


@remembered
def find_rings(surface: RegionSurface) -> list[bool]:
    """Tell for each piece of the surface cut open whether it is a ring, and a stack of loops.

    What is somewhere much wider than elsewhere is what is left between scattered regions; it would be cut as none.
    """
    opened, constrained = open_surface(surface), constrained_edges(surface)
    euler = [euler_number(opened.wedges[opened.component == c]) for c in range(opened.part_count)]
    ring = is_ring(opened, constrained, len(surface.positions), euler)
    return [whole and is_stack(opened, constrained, surface.positions, c, _MOST_WIDE) for c, whole in enumerate(ring)]


def is_stack(
    opened: OpenSurface, constrained: ConstrainedEdges, positions: FloatArray, piece: int, most: float
) -> bool:
    """Tell whether a ring, or half of one, is nowhere more than ``most`` times as wide as where it is narrow."""
    mine = opened.at_rim & np.repeat(opened.component == piece, 3)
    edges = directed_edges(opened.wedges)[mine]
    count = len(positions)
    planes = edge_keys(constrained.edges[constrained.kind == 2], count)
    edges = edges[~np.isin(edge_keys(opened.origin[edges], count), planes)]
    used, at = np.unique(edges, return_inverse=True)
    links = (np.ones(len(edges), np.int8), at.reshape(-1, 2).T)
    number, label = connected_components(coo_matrix(links, shape=(len(used),) * 2), directed=False)
    if number != 2:
        return True
    narrow, wide = breadth(*(positions[opened.origin[used[label == side]]] for side in (0, 1)))
    return wide <= most * narrow


def euler_number(triangles: IntArray) -> int:
    """Return the Euler number of a triangulation."""
    return len(np.unique(triangles)) - len(distinct_edges(triangles)) + len(triangles)
