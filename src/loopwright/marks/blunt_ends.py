"""End regions where they run out too thin to hold a face: what lies beyond goes to the regions beside it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra

from loopwright.marks.cut_borders import mark_borders
from loopwright.marks.smooth_borders import smooth_borders
from loopwright.numerics.norms import norms
from loopwright.surface.edges import EdgeTable, build_edges, row_lengths, triangle_normals
from loopwright.surface.net import make_net
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface

_COVERS = 1.15  # of its radius: how far a disc reaches along edges, which are longer than the way across triangles
_COARSEST = 0.4  # of the width: where edges are longer, nothing so thin is seen
_LEAST_LENGTH = 1.5  # of the width: shorter ends are plain corners
_MOST_SHARE = 0.35  # of a piece's area: a larger end is no end, but what the piece is like
_MOST_RIM = 1.5  # of an end's borders with other regions: with more rim, there is nobody to give it to
_SMOOTHINGS = 3

RIM = -1
"""In place of a region: the rim of the surface, but for the mirror plane."""


@dataclass(frozen=True)
class Blunted:
    """A surface whose regions end where they become too thin.

    Attributes
    ----------
    surface : with the same vertices; those of new borders moved along the surface.
    places : (k, 3) where each thin end was.
    regions : (k,) int32, which region each was of.
    """

    surface: RegionSurface
    places: FloatArray
    regions: IntArray


def blunt_ends(
    surface: RegionSurface,
    size: FloatArray,
    width: float,
    projector: SurfaceProjector,
    kept: Collection[frozenset[int]] = (),
) -> Blunted:
    """Give the thin ends of regions to the regions beside them, each half to the nearer.

    An end is what no disc of the width within the region covers, where it hangs on the rest of the region on one side
    only and is longer than the corner that any two borders leave.  What joins two wide parts of a region stays, and so
    does a region that is thin for the most part, or where it touches the mirror plane, and what lies between rims.

    Parameters
    ----------
    size : (n,) about the edge length of the mesh at each vertex.
    width : diameter of the discs, in edges of the mesh.
    kept : pairs of regions, or of one and ``RIM``, that shall meet wherever they do: an end without which a piece of
        one would not meet the other stays.
    """
    table = build_edges(surface.triangles, len(surface.positions))
    ends = _find_ends(surface, table, size, width, kept)
    if not (ends >= 0).any():
        return Blunted(surface, np.zeros((0, 3)), np.zeros(0, np.int32))
    label = _give_away(surface, table, ends >= 0)
    smooth = _smooth(replace(surface, triangle_region=label), surface.triangle_region, table, projector)
    centre = surface.positions[surface.triangles].mean(axis=1)
    changed = np.flatnonzero((ends >= 0) & (label != surface.triangle_region))
    found, first = np.unique(ends[changed], return_index=True)
    places = [centre[changed[ends[changed] == end]].mean(axis=0) for end in found]
    return Blunted(smooth, np.array(places).reshape(-1, 3), surface.triangle_region[changed[first]])


def _find_ends(
    surface: RegionSurface, table: EdgeTable, size: FloatArray, width: float, kept: Collection[frozenset[int]]
) -> IntArray:
    """Return (m,) the thin end that each triangle is in, or -1."""
    region, sides = surface.triangle_region, table.edge_triangles
    ends = np.full(len(region), -1, np.int32)
    inner = ~table.is_boundary()
    same = inner.copy()
    same[inner] = region[sides[inner, 0]] == region[sides[inner, 1]]
    crossing = ~inner & surface.on_mirror[table.edges].all(axis=1)
    at_border = np.zeros(len(surface.positions), bool)
    at_border[table.edges[~same & ~crossing].ravel()] = True
    outline = _Outline(surface, table, ~same & ~crossing)
    piece = _components(sides[same], len(region))
    step = _lengths(surface.positions, table.edges, size)
    area = row_lengths(triangle_normals(surface.positions, surface.triangles))
    count = 0
    for each in range(int(piece.max()) + 1):
        members = np.flatnonzero(piece == each).astype(np.int32)
        thin, length = _thin_part(surface, members, at_border, size, width)
        if not thin.any() or thin.all():
            continue
        is_thin = np.zeros(len(region), bool)
        is_thin[members[thin]] = True
        joined = same & (is_thin[sides[:, 0]] == is_thin[sides[:, 1]])
        part = _components(sides[joined], len(region))
        touching = np.flatnonzero(same & (piece[sides[:, 0]] == each) & ~joined)
        for thin_part in np.unique(part[members[thin]]):
            inside = part[members] == thin_part
            triangles, rest = members[inside], members[~inside]
            contact = touching[(part[sides[touching]] == thin_part).any(axis=1)]
            if (
                length[inside].max() >= _LEAST_LENGTH * width
                and area[triangles].sum() <= _MOST_SHARE * area[members].sum()
                and not surface.on_mirror[surface.triangles[triangles]].any()
                and np.median(step[table.triangle_edges[triangles]]) <= _COARSEST * width
                and _arcs(table.edges[contact]) == 1
                and outline.is_free(triangles, rest, kept)
            ):
                ends[triangles] = count
                count += 1
    return ends


class _Outline:
    """What the outlines of parts of pieces run along."""

    def __init__(self, surface: RegionSurface, table: EdgeTable, is_outline: BoolArray) -> None:
        self._region, self._table, self._is_outline = surface.triangle_region, table, is_outline
        self._length = norms(surface.positions[table.edges[:, 0]] - surface.positions[table.edges[:, 1]])

    def is_free(self, triangles: IntArray, rest: IntArray, kept: Collection[frozenset[int]]) -> bool:
        """Tell whether an end of a piece may go: others are beside it, and it alone brings no kept pair together."""
        own = int(self._region[triangles[0]])
        along = self._lengths(own, triangles)
        if along.get(RIM, 0.0) > _MOST_RIM * sum(length for other, length in along.items() if other != RIM):
            return False
        lost = along.keys() - self._lengths(own, rest).keys()
        return not any(frozenset((own, other)) in kept for other in lost)

    def _lengths(self, own: int, triangles: IntArray) -> dict[int, float]:
        """Return how long the triangles of a region run along each other one, and along the rim."""
        edges = np.unique(self._table.triangle_edges[triangles])
        edges = edges[self._is_outline[edges]]
        sides = self._table.edge_triangles[edges]
        beside = np.where((sides >= 0) & (self._region[sides] != own), self._region[sides], RIM).max(axis=1)
        return {int(other): float(self._length[edges[beside == other]].sum()) for other in np.unique(beside)}


def _thin_part(
    surface: RegionSurface, members: IntArray, at_border: BoolArray, size: FloatArray, width: float
) -> tuple[BoolArray, FloatArray]:
    """Return (k,) which triangles of a piece no disc covers, and how far each is from the nearest disc, in edges."""
    used, at = np.unique(surface.triangles[members], return_inverse=True)
    local = at.reshape(-1, 3).astype(np.int32)
    graph = _edge_graph(surface.positions[used], local, size[used])
    sources = np.flatnonzero(at_border[used])
    none = np.zeros(len(members), bool)
    if len(sources) == 0:
        return none, np.zeros(len(members))
    depth = dijkstra(graph, indices=sources, min_only=True)
    centres = np.flatnonzero(depth >= 0.5 * width)
    if len(centres) == 0:
        return none, np.zeros(len(members))
    away = dijkstra(graph, indices=centres, min_only=True) - 0.5 * _COVERS * width
    thin: BoolArray = (away[local] > 0).sum(axis=1) >= 2
    return thin, away[local].max(axis=1)


def _edge_graph(positions: FloatArray, triangles: IntArray, size: FloatArray) -> csr_matrix:
    """Return the symmetric (n, n) matrix of edge lengths in local sizes."""
    edges = build_edges(triangles.astype(np.int32), len(positions)).edges
    length = _lengths(positions, edges, size)
    n = len(positions)
    half = coo_matrix((length, (edges[:, 0], edges[:, 1])), shape=(n, n)).tocsr()
    return half + half.T


def _lengths(positions: FloatArray, edges: IntArray, size: FloatArray) -> FloatArray:
    """Return (k,) lengths of edges in local sizes."""
    length: FloatArray = norms(positions[edges[:, 0]] - positions[edges[:, 1]]) / size[edges].mean(axis=1)
    return np.maximum(length, 1e-300)


def _components(pairs: IntArray, count: int) -> IntArray:
    """Return (count,) the connected part of each triangle that these pairs join."""
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    found: IntArray = connected_components(graph, directed=False)[1].astype(np.int32)
    return found


def _arcs(edges: IntArray) -> int:
    """Return of how many connected chains these edges are."""
    used, local = np.unique(edges, return_inverse=True)
    return int(_components(local.reshape(-1, 2).astype(np.int32), len(used)).max()) + 1


def _give_away(surface: RegionSurface, table: EdgeTable, given: BoolArray) -> IntArray:
    """Return (m,) labels in which each given triangle has that of the nearest triangle that is not given."""
    centre = surface.positions[surface.triangles].mean(axis=1)
    pairs = table.edge_triangles[~table.is_boundary()]
    pairs = pairs[given[pairs].any(axis=1)]
    length = np.maximum(norms(centre[pairs[:, 0]] - centre[pairs[:, 1]]), 1e-300)
    m = len(centre)
    half = coo_matrix((length, (pairs[:, 0], pairs[:, 1])), shape=(m, m)).tocsr()
    sources = np.unique(pairs[~given[pairs]])
    _, _, nearest = dijkstra(half + half.T, indices=sources, min_only=True, return_predecessors=True)
    label = surface.triangle_region.copy()
    label[given] = label[nearest[given]]
    return label


def _smooth(surface: RegionSurface, before: IntArray, table: EdgeTable, projector: SurfaceProjector) -> RegionSurface:
    """Smooth the borders that are new since the triangles had the regions they had before."""
    sides = table.edge_triangles
    inner = ~table.is_boundary()
    after = surface.triangle_region
    is_border, was_border = np.zeros((2, len(sides)), bool)
    is_border[inner] = after[sides[inner, 0]] != after[sides[inner, 1]]
    was_border[inner] = before[sides[inner, 0]] != before[sides[inner, 1]]
    net = make_net(surface.positions, surface.triangles, np.ones(len(surface.positions)))
    fixed = np.ones(len(surface.positions), bool)
    fixed[table.edges[is_border & ~was_border].ravel()] = False
    fixed |= surface.on_mirror
    fixed[table.edges[table.is_boundary()].ravel()] = True
    net = mark_borders(replace(net, triangle_label=surface.triangle_region, is_fixed=fixed))
    for _ in range(_SMOOTHINGS):
        net = smooth_borders(net, surface.on_mirror, surface.mirror, projector)
    return replace(surface, positions=net.positions)
