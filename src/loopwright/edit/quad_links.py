"""A quad mesh seen by its links: twins, rows of quads, edge loops, boundary."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.errors import InternalError
from loopwright.types import BoolArray, IntArray

Ids = NDArray[np.int64]


@dataclass(frozen=True)
class Strips:
    """The rows of quads that are crossed from edge to opposite edge.

    Attributes
    ----------
    of_edge : (e,) the strip whose quads this edge parts; strips are numbered by their lowest edge.
    side : (e,) 0 where the edge's first vertex (``QuadLinks.edges[:, 0]``) lies on the strip's left, else 1.
    count : number of strips.
    """

    of_edge: Ids
    side: Ids
    count: int


@dataclass(frozen=True)
class QuadLinks:
    """Links of (m, 4) quads over ``count`` vertices; half-edge 4 q + i runs from corner i of quad q to the next.

    Attributes
    ----------
    edges : (e, 2) vertex pairs, lower id first, in ascending order.
    quad_edge : (m, 4) the edge from corner i to corner i + 1.
    edge_half_edges : (e, 2) the half-edges along each edge, -1 where there is only one.
    twin : (4 m,) the half-edge on the far side, or -1.
    valence : (n,) edges per vertex.
    """

    quads: IntArray
    count: int
    edges: Ids
    quad_edge: Ids
    edge_half_edges: Ids
    twin: Ids
    valence: Ids

    @property
    def is_boundary_edge(self) -> BoolArray:
        """Return (e,) bool: edges with a quad on one side only."""
        return self.edge_half_edges[:, 1] < 0

    @cached_property
    def is_boundary(self) -> BoolArray:
        """Return (n,) bool: vertices on the boundary."""
        out = np.zeros(self.count, bool)
        out[self.edges[self.is_boundary_edge].ravel()] = True
        return out

    @cached_property
    def start(self) -> Ids:
        """Return (4 m,) the vertex where each half-edge starts."""
        return self.quads.ravel().astype(np.int64)

    @cached_property
    def end(self) -> Ids:
        """Return (4 m,) the vertex where each half-edge ends."""
        return np.roll(self.quads, -1, axis=1).ravel().astype(np.int64)

    @cached_property
    def straight(self) -> Ids:
        """Return (4 m,) the half-edge that carries each one straight on, or -1.

        Lines pass inner vertices of valence four, and run along the boundary;
        a half-edge whose way on has no quad on its left is told by the far
        side of its twin, so boundary half-edges run with the boundary only.
        """
        after = next_corner(np.arange(len(self.twin)))
        far = self.twin[after]
        inner = (self.valence[self.end] == 4) & ~self.is_boundary[self.end] & (far >= 0)
        out = np.where(inner, next_corner(far), -1)
        rim = np.flatnonzero(self.twin < 0)
        leaving = np.full(self.count, -1, np.int64)
        leaving[self.start[rim]] = rim
        out[rim] = leaving[self.end[rim]]
        return out

    @cached_property
    def strips(self) -> Strips:
        """Return the strips.

        Raises
        ------
        InternalError
            If the surface is one-sided, so that a strip has no left and right.
        """
        half = np.arange(len(self.twin))
        across = opposite_corner(half)
        edge = self.quad_edge.ravel()
        flipped = (self.start != self.edges[edge, 0]).astype(np.int64)
        # A half-edge and the opposite one run against each other round the quad: node 2 e + way, both ways joined.
        near, far = 2 * edge + flipped, 2 * edge[across] + (1 - flipped[across])
        size = 2 * len(self.edges)
        rows, columns = np.concatenate([near, near ^ 1]), np.concatenate([far, far ^ 1])
        _, label = connected_components(coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(size, size)), False)
        forward, backward = label[0::2].astype(np.int64), label[1::2].astype(np.int64)
        if (forward == backward).any():
            raise InternalError("This mesh has a one-sided row of quads; its surface cannot be oriented.")
        lowest, strip = np.unique(np.minimum(forward, backward), return_inverse=True)
        return Strips(strip.ravel().astype(np.int64), (forward > backward).astype(np.int64), len(lowest))

    def strip_quads(self, strip: int) -> Ids:
        """Return the quads that a strip crosses, ascending; one crossed twice is told once."""
        return np.flatnonzero((self.strips.of_edge[self.quad_edge] == strip).any(axis=1))

    def trace_loop(self, edge: int) -> tuple[Ids, bool]:
        """Return the edges of the loop through an edge, and whether it closes.

        The loop goes straight on through inner vertices of valence four and
        along the boundary; it ends at poles, and where it meets the boundary.
        """
        forward = self._walk(int(self.edge_half_edges[edge, 0]))
        if forward[1]:
            return forward[0], True
        twin = int(self.edge_half_edges[edge, 1])
        backward = self._walk(twin) if twin >= 0 else self._walk_rim_back(edge)
        return np.concatenate([backward[0][:0:-1], forward[0]]), False

    def _walk(self, half: int) -> tuple[Ids, bool]:
        edge = self.quad_edge.ravel()
        first, found = int(edge[half]), [int(edge[half])]
        seen_end = self.start[half]
        while True:
            half = int(self.straight[half])
            if half < 0:
                return np.array(found, np.int64), False
            if int(edge[half]) == first and self.start[half] == seen_end:
                return np.array(found, np.int64), True
            if len(found) > len(self.edges):
                raise InternalError("An edge loop did not end; the links of the mesh are broken.")
            found.append(int(edge[half]))

    def _walk_rim_back(self, edge: int) -> tuple[Ids, bool]:
        return np.array([edge], np.int64), False  # a boundary is closed: the walk forward has come round


def next_corner(half: Ids) -> Ids:
    """Return the half-edges that follow round their quads."""
    return half - half % 4 + (half + 1) % 4


def opposite_corner(half: Ids) -> Ids:
    """Return the half-edges on the opposite sides of their quads."""
    return half - half % 4 + (half + 2) % 4


def link_quads(quads: IntArray, count: int) -> QuadLinks:
    """Link (m, 4) quads over ``count`` vertices.

    Raises
    ------
    InternalError
        If more than two quads share an edge, or two run the same way along it.
    """
    start = quads.ravel().astype(np.int64)
    end = np.roll(quads, -1, axis=1).ravel().astype(np.int64)
    key = np.minimum(start, end) * count + np.maximum(start, end)
    unique, edge = np.unique(key, return_inverse=True)
    edge = edge.ravel().astype(np.int64)
    edges = np.stack([unique // max(count, 1), unique % max(count, 1)], axis=1)
    order = np.argsort(edge, kind="stable")
    uses = np.bincount(edge, minlength=len(unique))
    if (uses > 2).any():
        raise InternalError("More than two quads share an edge of this mesh; repair it before it is edited.")
    first = np.cumsum(uses) - uses
    halves = np.full((len(unique), 2), -1, np.int64)
    halves[:, 0] = order[first]
    two = uses == 2
    halves[two, 1] = order[first[two] + 1]
    if (start[halves[two, 0]] == start[halves[two, 1]]).any():
        raise InternalError("Two quads that share an edge face opposite ways; orient the mesh before it is edited.")
    twin = np.full(len(start), -1, np.int64)
    twin[halves[two, 0]], twin[halves[two, 1]] = halves[two, 1], halves[two, 0]
    valence = np.bincount(edges.ravel(), minlength=count).astype(np.int64)
    return QuadLinks(quads, count, edges, edge.reshape(-1, 4), halves, twin, valence)
