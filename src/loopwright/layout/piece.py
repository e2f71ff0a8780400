"""A piece: one connected part of the surface, cut open along all constrained edges.

A vertex of the surface that a piece touches along several constrained edges
appears in the piece once for each wedge, so every piece is a plain manifold
with boundary even where a region meets itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.errors import InternalError
from loopwright.surface.half_edges import directed_edges, edge_keys, is_among, twin_corners
from loopwright.types import IntArray


@dataclass(frozen=True)
class Piece:
    """A connected, oriented manifold with boundary whose boundary vertices carry their planned turns.

    Attributes
    ----------
    triangles : (m, 3) int32, local vertex ids.
    origin : (n,) int32, the surface vertex that each local vertex stands for.
    quadrants : (n,) int32, for a boundary vertex how many quads meet there
        inside this piece (1 a corner, 2 straight on, 3 re-entrant); 0 inside.
    region : index of the region that the piece belongs to.
    is_ring : whether it is part of a ring, which wants closed loops without poles.
    is_sector : whether it is part of a ring that was cut across, in which rows may end.
    rim : (k, 2) int32, the directed boundary edges in any order, where they are known already.
    """

    triangles: IntArray
    origin: IntArray
    quadrants: IntArray
    region: int
    is_ring: bool = False
    rim: IntArray | None = field(default=None, compare=False)
    is_sector: bool = False

    @cached_property
    def loops(self) -> list[IntArray]:
        """The boundary loops as local vertex ids, the piece on the left of each."""
        return boundary_loops(self.triangles) if self.rim is None else chain_rim(self.rim)

    @cached_property
    def euler(self) -> int:
        """The number of vertices - edges + faces."""
        rim = sum(len(loop) for loop in self.loops)
        return len(self.origin) - (3 * len(self.triangles) + rim) // 2 + len(self.triangles)

    @cached_property
    def index_sum(self) -> int:
        """The sum of (4 - valence) over the interior vertices of any fill of the piece.

        It is 4 chi minus the sum of (2 - quadrants) along the boundary
        (derived from Euler's formula).
        """
        on_boundary = self.quadrants > 0
        return 4 * self.euler - int((2 - self.quadrants[on_boundary]).sum())


def boundary_loops(triangles: IntArray) -> list[IntArray]:
    """Return closed boundary loops as vertex ids, the surface on the left; each starts at its smallest id."""
    return chain_rim(directed_edges(triangles)[twin_corners(triangles) < 0])


def chain_rim(rim: IntArray) -> list[IntArray]:
    """Return the loops that (k, 2) directed boundary edges make up; see :func:`boundary_loops`."""
    follow = dict(zip(rim[:, 0].tolist(), rim[:, 1].tolist(), strict=True))
    if len(follow) != len(rim):
        raise InternalError("A boundary passes twice through one vertex of a piece.")
    loops = []
    for start in sorted(follow):
        if start not in follow:
            continue
        loop, at = [start], follow.pop(start)
        while at != start:
            loop.append(at)
            at = follow.pop(at)
        loops.append(np.array(loop, np.int32))
    return loops


def cut_open(triangles: IntArray, cut_keys: np.ndarray, vertex_count: int) -> tuple[IntArray, IntArray, IntArray]:
    """Cut a triangulation along edges.

    Parameters
    ----------
    triangles : (m, 3) int32.
    cut_keys : undirected edges to cut along, as :func:`edge_keys` with ``vertex_count``.

    Returns
    -------
    wedges : (m, 3) int32, the triangles in terms of wedge ids.
    origin : (w,) int32, the vertex of each wedge.
    component : (m,) int32, the connected part that each triangle falls into.
    """
    wedges, origin, twin = open_fans(triangles, cut_keys, vertex_count)
    return wedges, origin, connected_triangles(twin)


def connected_triangles(twin: IntArray) -> IntArray:
    """Return (m,) int32, the connected part that each triangle falls into, given the (3m,) twins."""
    here, count = np.flatnonzero(np.arange(len(twin)) < twin), len(twin) // 3
    dual = coo_matrix((np.ones(len(here), np.int8), (here // 3, twin[here] // 3)), shape=(count, count))
    _, component = connected_components(dual, directed=False)
    part: IntArray = component.astype(np.int32)
    return part


def open_fans(triangles: IntArray, cut_keys: np.ndarray, vertex_count: int) -> tuple[IntArray, IntArray, IntArray]:
    """Cut a triangulation along edges; as :func:`cut_open`, but with the (3m,) twins that directed edges still have."""
    is_cut = is_among(edge_keys(directed_edges(triangles), vertex_count), cut_keys)
    twin: IntArray = np.where(is_cut, np.int32(-1), twin_corners(triangles))
    here = np.flatnonzero(np.arange(len(twin)) < twin)
    there = twin[here]
    # directed edge 3t+i leaves corner i of t and arrives at corner i+1
    ahead, ahead_there = 3 * (here // 3) + (here + 1) % 3, 3 * (there // 3) + (there + 1) % 3
    rows, cols = np.concatenate([here, ahead]), np.concatenate([ahead_there, there])
    size = 3 * len(triangles)
    graph = coo_matrix((np.ones(len(rows), np.int8), (rows, cols)), shape=(size, size))
    _, label = connected_components(graph, directed=False)
    flat = triangles.reshape(-1)
    # number wedges by their vertex, then by first corner, so that the numbering is stable
    first = np.empty(int(label.max(initial=-1)) + 1, np.int64)
    first[label[::-1]] = np.arange(size)[::-1]
    order = np.lexsort((first, flat[first]))
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return (
        rank[label].reshape(-1, 3).astype(np.int32),
        flat[first[order]].astype(np.int32),
        twin,
    )


def extract(triangles: IntArray, origin: IntArray, keep: np.ndarray) -> tuple[IntArray, IntArray, IntArray]:
    """Return the kept triangles on compact ids, their origin, and the old ids."""
    chosen = triangles[keep]
    is_used = np.zeros(len(origin), bool)
    is_used[chosen] = True
    used = np.flatnonzero(is_used).astype(np.int32)
    place = np.cumsum(is_used, dtype=np.int32) - 1
    return np.ascontiguousarray(place[chosen]), origin[used].astype(np.int32), used


def side_chains(loop: IntArray, quadrants: IntArray) -> list[IntArray]:
    """Cut a boundary loop at its vertices with other than two quadrants.

    Returns chains of vertex ids that share their end vertices; one closed
    chain (first repeated at the end) where the loop has no such vertex.
    """
    at = np.flatnonzero(quadrants[loop] != 2)
    if len(at) == 0:
        return [np.append(loop, loop[0])]
    turned = np.roll(loop, -at[0])
    at = at - at[0]
    ends: Sequence[int] = [*at[1:].tolist(), len(loop)]
    closed = np.append(turned, turned[0])
    return [closed[a : b + 1] for a, b in zip(at.tolist(), ends, strict=True)]
