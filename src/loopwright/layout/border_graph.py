"""The graph of constrained edges: borders between regions, rims of openings, the mirror plane."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import edge_keys, is_among, surface_edges, surface_twins
from loopwright.surface.remember import remembered
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface

ArcKind = Literal["border", "rim", "mirror", "cut", "flow", "guide"]
KIND_CODES: dict[int, ArcKind] = {0: "border", 1: "rim", 2: "mirror", 3: "cut", 4: "flow", 5: "guide"}


@dataclass(frozen=True)
class ConstrainedEdges:
    """Undirected edges (k, 2) with a < b, their kind code (see KIND_CODES) and the regions on both sides (-1: none)."""

    edges: IntArray
    kind: IntArray
    sides: IntArray


@remembered
def _constrained(surface: RegionSurface) -> tuple[IntArray, IntArray]:
    """Return the directed edges, one of each two, that are constrained, and their kind codes; rims are all of 1."""
    edges, twin = surface_edges(surface), surface_twins(surface)
    region = np.repeat(surface.triangle_region, 3)
    rim = np.flatnonzero(twin < 0)
    once = np.flatnonzero(np.arange(len(edges)) < twin)
    is_border = region[once] != region[twin[once]]
    inner = once[~is_border]
    found, kinds = [rim, once[is_border]], [1, 0]
    count = len(surface.positions)
    keys = edge_keys(edges[inner], count) if len(surface.flow_edges) or len(surface.guide_edges) else inner
    for lines, kind in ((surface.flow_edges, 4), (surface.guide_edges, 5)):
        if len(lines):
            on_line = is_among(keys, edge_keys(lines, count))
            found.append(inner[on_line])
            kinds.append(kind)
            inner, keys = inner[~on_line], keys[~on_line]
    pick, kind_of = np.concatenate(found), np.repeat(np.array(kinds, np.int32), [len(each) for each in found])
    order = np.argsort(pick)
    return pick[order].astype(np.int32), kind_of[order]


@remembered
def constrained_edges(surface: RegionSurface) -> ConstrainedEdges:
    """Collect rims, mirror edges, edges between two regions, flow lines and guides."""
    (pick, kind), twin = _constrained(surface), surface_twins(surface)[_constrained(surface)[0]]
    edges = surface_edges(surface)[pick]
    in_plane = surface.on_mirror[edges].all(axis=1)
    region = surface.triangle_region
    other = np.where(twin >= 0, region[np.maximum(twin, 0) // 3], -1)
    sides = np.sort(np.stack([region[pick // 3], other], axis=1), axis=1)[:, ::-1]
    kind = np.where((kind == 1) & in_plane, 2, kind).astype(np.int32)
    return ConstrainedEdges(np.sort(edges, axis=1).astype(np.int32), kind, np.ascontiguousarray(sides, np.int32))


@remembered
def opened_twins(surface: RegionSurface) -> IntArray:
    """Return the (3m,) twins of a surface's directed edges, -1 too where they are constrained."""
    pick, twin = _constrained(surface)[0], surface_twins(surface).copy()
    behind = twin[pick]
    twin[pick] = -1
    twin[behind[behind >= 0]] = -1
    twin.flags.writeable = False
    return twin


@dataclass(frozen=True)
class Chain:
    """A chain of constrained edges between two nodes: vertex ids in order, and what it is."""

    vertices: IntArray
    kind: ArcKind
    sides: tuple[int, int]

    @property
    def is_closed(self) -> bool:
        """Whether it ends where it starts."""
        return bool(self.vertices[0] == self.vertices[-1])


def trace_chains(constrained: ConstrainedEdges, nodes: set[int], vertex_count: int) -> list[Chain]:
    """Chain constrained edges between nodes.

    Vertices with other than two constrained edges, or where the kind or the
    sides change, are nodes even if not in ``nodes``.  A closed chain without
    a node starts at its smallest vertex id.
    """
    marked = node_mask(constrained, vertex_count)
    marked[list(nodes)] = True
    adjacency: dict[int, list[tuple[int, int]]] = {}
    for k, (a, b) in enumerate(constrained.edges.tolist()):
        adjacency.setdefault(a, []).append((b, k))
        adjacency.setdefault(b, []).append((a, k))
    for around in adjacency.values():
        around.sort()
    used = np.zeros(len(constrained.edges), bool)
    chains: list[Chain] = []

    def walk(start: int, step: tuple[int, int]) -> None:
        at, edge = step
        path = [start, at]
        used[edge] = True
        while not marked[at] and at != start:
            following = [(b, k) for b, k in adjacency[at] if not used[k]]
            if not following:
                break
            at, k = following[0]
            used[k] = True
            path.append(at)
        pair = constrained.sides[edge]
        chains.append(
            Chain(np.array(path, np.int32), KIND_CODES[int(constrained.kind[edge])], (int(pair[0]), int(pair[1])))
        )

    for start in sorted(adjacency):
        if marked[start]:
            for step in adjacency[start]:
                if not used[step[1]]:
                    walk(start, step)
    for start in sorted(adjacency):
        for step in adjacency[start]:
            if not used[step[1]]:
                walk(start, step)
    return chains


def node_mask(constrained: ConstrainedEdges, vertex_count: int) -> BoolArray:
    """Return (n,) bool: vertices where constrained edges end, branch or change their kind or sides."""
    flat = constrained.edges.reshape(-1)
    degree = np.bincount(flat, minlength=vertex_count)
    code = (
        constrained.kind.astype(np.int64) * 2**40 + (constrained.sides[:, 0] + 1) * 2**20 + constrained.sides[:, 1] + 1
    )
    each = np.repeat(code, 2)
    one = np.zeros(vertex_count, np.int64)
    one[flat] = each  # any of a vertex's codes: all are alike where none differs from it
    mask: BoolArray = (degree > 0) & (degree != 2)
    mask[flat[each != one[flat]]] = True
    return mask


def point_along(positions: FloatArray, chain: IntArray, distance: float) -> FloatArray:
    """Return the point at an arc length from the start of a vertex chain (clamped to its end)."""
    points = positions[chain]
    length = np.concatenate([[0.0], np.cumsum(norms(np.diff(points, axis=0)))])
    s = min(distance, float(length[-1]))
    return np.array([np.interp(s, length, points[:, k]) for k in range(3)])
