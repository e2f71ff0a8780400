"""Make a cut: split the edges that it crosses, open the piece along it, and give its parts their quadrants."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.layout.open_along import Opened, open_along
from loopwright.layout.piece import Piece, extract
from loopwright.layout.size_steps import fill_scale
from loopwright.layout.trace_cuts import Cut, CutGraph
from loopwright.surface.half_edges import directed_edges, is_among
from loopwright.surface.measure_bending import Bending
from loopwright.types import FloatArray, IntArray


@dataclass
class Growing:
    """The surface while it is cut: positions grow where a cut crosses an edge; nodes and cut chains collect.

    Attributes
    ----------
    positions : (n, 3).
    nodes : vertices that are nodes.
    cut_chains : the vertices along each cut.
    bending : measures, when it is asked for, how the surface bent before it was cut.
    scale : (vertices before any cut,) how many times finer than the piece's middle size edges shall be there; None
        where all are alike.
    """

    positions: FloatArray
    nodes: set[int]
    cut_chains: list[IntArray] = field(default_factory=list)
    bending: Callable[[], Bending | None] = lambda: None
    scale: FloatArray | None = None

    def add(self, points: FloatArray) -> IntArray:
        """Append (k, 3) points and return their ids."""
        first = len(self.positions)
        self.positions = np.concatenate([self.positions, points])
        return np.arange(first, first + len(points), dtype=np.int32)

    def copy(self) -> Growing:
        """Return a surface to try cuts on."""
        return Growing(self.positions, set(self.nodes), list(self.cut_chains), bending=self.bending, scale=self.scale)

    def scale_of(self, piece: Piece) -> FloatArray | None:
        """Return (n,) the scale at the vertices of a piece, those of cuts included; None where all are alike."""
        return None if self.scale is None else fill_scale(self.scale, piece.origin, piece.triangles)

    def become(self, other: Growing) -> None:
        """Take over what was tried on a copy."""
        self.positions, self.nodes, self.cut_chains = other.positions, other.nodes, other.cut_chains


Outcome = tuple[list[Piece], FloatArray, IntArray, list[int]]


def take_cut(outcome: Outcome, surface: Growing) -> list[Piece]:
    """Add a cut's fresh points, its chain and its ends to the surface; return its parts."""
    parts, fresh_points, chain, ends = outcome
    ids = surface.add(fresh_points)
    first = int(ids[0]) if len(ids) else 0
    surface.cut_chains.append(np.where(chain < 0, first - chain - 1, chain).astype(np.int32))
    surface.nodes.update(ends)
    return [_settle(p, first) for p in parts]


def _settle(piece: Piece, first: int) -> Piece:
    """Replace the provisional ids -1, -2, ... of fresh vertices by their surface ids."""
    origin = np.where(piece.origin < 0, first - piece.origin - 1, piece.origin).astype(np.int32)
    return replace(piece, origin=origin)


@dataclass(frozen=True)
class Path:
    """The way of a cut through a piece.

    ``vertices`` are local ids, from rim to rim; -1 - k stands for the point on edge ``edges[k]`` = (a, b) at
    ``shares[k]`` of its way from a to b.  The arms at both ends are as in :class:`Cut`.
    """

    vertices: IntArray
    edges: IntArray
    shares: FloatArray
    start_arm: int
    end_arm: int

    @property
    def touched(self) -> IntArray:
        """All vertices that the way goes through or whose edges it splits."""
        return np.concatenate([self.vertices[self.vertices >= 0], self.edges.reshape(-1)])


@dataclass(frozen=True)
class CutPiece:
    """The parts of a cut; ``below`` gives for each part's vertices the piece's local id, -1 for fresh ones."""

    outcome: Outcome
    below: list[IntArray]


def path_of(piece: Piece, graph: CutGraph, cut: Cut, step_ids: list[int]) -> Path:
    """Return the way of a traced cut."""
    steps, edges = graph.steps, directed_edges(piece.triangles)
    across = [int(steps.across[s]) for s in step_ids]
    crossing = [s for s, a in zip(step_ids, across, strict=True) if a >= 0]
    way = [cut.start]
    for s, a in zip(step_ids, across, strict=True):
        if a >= 0:
            way.append(-1 - sum(v < 0 for v in way))
        way.append(int(steps.head[s]))
    crossed: IntArray = edges[steps.across[crossing]].reshape(-1, 2)
    return Path(np.array(way, np.int32), crossed, steps.share[crossing], cut.start_arm, cut.end_arm)


def apply_cut(piece: Piece, points: FloatArray, graph: CutGraph, cut: Cut, step_ids: list[int]) -> Outcome | None:
    """Cut a piece along a traced cut.

    Returns the parts (fresh vertices have origin -1, -2, ...), the fresh
    points, the cut as a chain of surface ids, and the surface ids of its
    ends; None where the cut touches itself or the boundary.
    """
    made = apply_path(piece, points, path_of(piece, graph, cut, step_ids))
    return None if made is None else made.outcome


def apply_path(piece: Piece, points: FloatArray, way: Path) -> CutPiece | None:
    """Cut a piece along a path; see :func:`apply_cut`."""
    count, fresh_count = len(piece.origin), len(way.edges)
    path: list[int] = np.where(way.vertices < 0, count - 1 - way.vertices, way.vertices).tolist()
    splits = [(a, b, count + k) for k, (a, b) in enumerate(way.edges.tolist())]
    share = way.shares[:, None]
    fresh = (1 - share) * points[way.edges[:, 0]] + share * points[way.edges[:, 1]]
    if len(set(path)) != len(path) or (piece.quadrants[[v for v in path[1:-1] if v < count]] > 0).any():
        return None
    triangles = split_edges(piece.triangles, splits)
    if triangles is None:
        return None
    origin = np.concatenate([piece.origin, -1 - np.arange(fresh_count, dtype=np.int32)])
    quadrants = np.concatenate([piece.quadrants, np.zeros(fresh_count, np.int32)])
    opened = open_along(triangles, path, len(origin))
    if opened is None:
        return None
    rim = np.concatenate([_rim_off(piece, triangles, path, opened), opened.rim])
    wedge_quadrants = _share_quadrants(opened, quadrants, path, way)
    component = _components(opened.wedges, len(opened.origin))
    parts, belows = [], []
    for c in range(int(component.max()) + 1):
        local, below, used = extract(opened.wedges, opened.origin, component == c)
        place = np.full(len(opened.origin), -1, np.int32)
        place[used] = np.arange(len(used), dtype=np.int32)
        own = place[rim]
        parts.append(
            Piece(
                local,
                origin[below].astype(np.int32),
                wedge_quadrants[used],
                piece.region,
                piece.is_ring,
                rim=own[own[:, 0] >= 0],
            )
        )
        belows.append(np.where(below < count, below, -1).astype(np.int32))
    chain = origin[path].astype(np.int32)
    return CutPiece((parts, fresh.reshape(-1, 3), chain, [int(chain[0]), int(chain[-1])]), belows)


def _rim_off(piece: Piece, triangles: IntArray, path: list[int], opened: Opened) -> IntArray:
    """Return the boundary edges of a piece that do not touch the path, in terms of wedges."""
    after = [np.roll(loop, -1) for loop in piece.loops]
    rim = np.stack([np.concatenate(piece.loops), np.concatenate(after)], axis=1)
    touched = np.zeros(len(opened.first), bool)
    touched[path] = True
    off: IntArray = opened.first[rim[~touched[rim].any(axis=1)]]
    return off


def _components(wedges: IntArray, count: int) -> IntArray:
    """Return (m,) the connected part of each triangle, numbered by their first triangles."""
    links = (np.ones(2 * len(wedges), np.int8), (wedges[:, [0, 1]].ravel(), wedges[:, [1, 2]].ravel()))
    _, label = connected_components(csr_matrix(links, shape=(count, count)), directed=False)
    part = label[wedges[:, 0]]
    seen, first = np.unique(part, return_index=True)
    rank = np.zeros(int(seen.max()) + 1, np.int32)
    rank[seen[np.argsort(first)]] = np.arange(len(seen), dtype=np.int32)
    number: IntArray = rank[part]
    return number


def _share_quadrants(opened: Opened, quadrants: IntArray, path: list[int], way: Path) -> IntArray:
    out = quadrants[opened.origin].copy()
    inner = np.zeros(len(quadrants), bool)
    inner[path[1:-1]] = True
    out[inner[opened.origin]] = 2
    edges, flat = directed_edges(opened.near), opened.near_wedges.reshape(-1)
    for vertex, arm in ((path[0], way.start_arm), (path[-1], way.end_arm)):
        mine = np.flatnonzero(edges[:, 0] == vertex)
        # the wedge that holds the outgoing boundary edge: that edge has no reverse in the piece before the cut
        behind = set(edges[edges[:, 1] == vertex, 0].tolist())
        rim = [e for e in mine.tolist() if int(edges[e, 1]) not in behind]
        total = int(quadrants[vertex])
        first = int(flat[rim[0]])
        for w in np.unique(flat[mine]).tolist():
            out[w] = arm if w == first else total - arm
    return out.astype(np.int32)


def split_edges(triangles: IntArray, splits: list[tuple[int, int, int]]) -> IntArray | None:
    """Split edges (a, b), inner or on the boundary, at new vertex ids; None where an edge is gone."""
    if not splits:
        return triangles
    ends = np.unique([v for a, b, _ in splits for v in (a, b)])
    near = np.flatnonzero(is_among(triangles, ends).any(axis=1))
    faces = {i: (a, b, c) for i, (a, b, c) in zip(near.tolist(), triangles[near].tolist(), strict=True)}
    by_edge = {}
    for i, (a, b, c) in faces.items():
        by_edge[a, b] = by_edge[b, c] = by_edge[c, a] = i
    following = len(triangles)
    for a, b, fresh in splits:
        found = [e for e in ((a, b), (b, a)) if e in by_edge]
        if not found:
            return None
        for tail, head in found:
            i = by_edge[tail, head]
            t = faces[i]
            apex = next(v for v in t if v not in (tail, head))
            faces[i] = (tail, fresh, apex)
            faces[following] = (fresh, head, apex)
            del by_edge[tail, head]
            by_edge[tail, fresh] = by_edge[fresh, apex] = by_edge[apex, tail] = i
            by_edge[fresh, head] = by_edge[head, apex] = by_edge[apex, fresh] = following
            following += 1
    out = np.concatenate([triangles, np.zeros((following - len(triangles), 3), triangles.dtype)])
    out[list(faces)] = list(faces.values())
    return np.ascontiguousarray(out, np.int32)
