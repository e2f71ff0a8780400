"""Bend the mirror image of a sculpt's half over the other half, as far as that has a shape and paint of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from loopwright.errors import InternalError
from loopwright.marks.cluster_colors import vertex_areas
from loopwright.marks.paint_apart import sure_colors
from loopwright.numerics.nearest import nearest
from loopwright.progress import Progress, silent
from loopwright.reuse.bend_graph import Pull, bend_graph
from loopwright.reuse.deform_graph import build_deform_graph
from loopwright.reuse.template import Template, mixtures, template_of_triangles
from loopwright.surface.edges import EdgeTable, build_edges, dot_rows, row_lengths
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import BoolArray, FloatArray, IntArray, Paint, RegionSurface

_NODES = (80, 300)  # of the graphs, one after the other
_ROUNDS = 10  # with each
_STIFF = ((3.0, 0.1), (1.0, 0.1))  # first and last stiffness of each graph
_REACH = ((0.1, 0.02), (0.05, 0.02))  # first and last, of the diagonal: what lies farther off counts little, or not
_MARKS = 3.0  # weight of borders, and of the mirror plane, against the surface
_MIN_COSINE = 0.4  # of normals that agree
_LEAST_COSINE = 0.2  # the same, of places that are carried
_ACROSS_COSINE = 0.3  # of ways across a border that agree
_ACROSS = 0.5  # by how much those count in what is nearest, against normals
_SPECK = 0.005  # of the diagonal: the side of a square; pieces of a colour that are smaller are not meant
_OPEN = -2  # stands for all that is without faces

Pair = tuple[int, int]
"""Two colours, the lower first."""


@dataclass(frozen=True)
class _Places:
    """Places of one border on the sculpt, the normals there, and the ways across to the higher colour; (k, 3) each."""

    points: FloatArray
    normals: FloatArray
    across: FloatArray

    def find(
        self, points: FloatArray, normals: FloatArray, across: FloatArray, reach: float
    ) -> tuple[FloatArray, BoolArray]:
        """Return (k, 3) the nearest places that agree, and (k,) whether they do and are in reach."""
        tree = cKDTree(self._point_out(self.points, self.normals, self.across, reach), balanced_tree=False)
        _, index = nearest(tree, self._point_out(points, normals, across, reach))
        agrees = dot_rows(normals, self.normals[index]) >= _MIN_COSINE
        agrees &= dot_rows(across, self.across[index]) >= _ACROSS_COSINE
        agrees &= row_lengths(self.points[index] - points) < reach
        return self.points[index], agrees

    @staticmethod
    def _point_out(points: FloatArray, normals: FloatArray, across: FloatArray, reach: float) -> FloatArray:
        """Return (k, 9) places among which those are near that are turned alike, too: both faces of a flap are not."""
        return np.hstack([points, reach * normals, _ACROSS * reach * across])


@dataclass(frozen=True)
class _Border:
    """A border between two colours on the half's surface.

    Attributes
    ----------
    ids : (k,) the vertices on it. edges : (e, 2) which of those each edge joins.
    low, high : (e,) the triangles beside each edge, that of the lower colour being -1 where there is none.
    places : the same border on the sculpt.
    """

    ids: NDArray[np.int64]
    edges: NDArray[np.int64]
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    places: _Places

    def across(self, points: FloatArray, triangles: IntArray) -> FloatArray:
        """Return (k, 3) the ways across to the higher colour, with the surface's points elsewhere."""
        middles = points[self.ids[self.edges]].mean(axis=1)
        low = np.where((self.low >= 0)[:, None], points[triangles[self.low]].mean(axis=1), middles)
        way = points[triangles[self.high]].mean(axis=1) - low
        total = np.zeros((len(self.ids), 3))
        for end in self.edges.T:
            np.add.at(total, end, way)
        return unit(total)


@dataclass(frozen=True)
class BentHalf:
    """The mirror image of a half, and where its points went.

    Attributes
    ----------
    image : the mirror image. moved : (n, 3) its points on the sculpt, or near to it.
    projector : of the sculpt.
    """

    image: Template
    moved: FloatArray
    projector: SurfaceProjector

    def carry(self, points: FloatArray) -> FloatArray:
        """Return the (k, 3) places on the sculpt of points on or near the mirror image."""
        if len(points) == 0:
            return np.zeros((0, 3))
        rows, _ = mixtures(self.image, points)
        there = points + rows @ (self.moved - self.image.positions)
        facing = unit(rows @ self.image.normals(self.moved))
        return self.projector.project(there, facing, min_cosine=_LEAST_COSINE).points


def bend_half(
    surface: RegionSurface,
    projector: SurfaceProjector,
    paint: Paint,
    is_open: BoolArray,
    *,
    progress: Progress = silent,
) -> BentHalf:
    """Bend the mirror image of a half over the other, shape to shape and border to border.

    A coarse graph bends, then a finer one, each as rigidly as it can, drawn to the nearest places of the sculpt whose
    normals agree and, along its borders, to the nearest that part the same two colours the same way round. What lies
    in the mirror plane is drawn to where it is.

    Parameters
    ----------
    surface : the half, with regions of these colours.
    projector : of the sculpt. paint : the colours of its vertices.
    is_open : (c,) which colours of the palette are left open.

    Raises
    ------
    InternalError : the surface has no mirror plane.
    """
    if surface.mirror is None:
        raise InternalError("This surface has no mirror plane to be reflected in.")
    triangles = np.ascontiguousarray(surface.triangles[:, ::-1])
    image = template_of_triangles(surface.mirror.reflect(surface.positions), triangles)
    borders = _find_borders(surface, projector, paint, is_open)
    middle = np.flatnonzero(surface.on_mirror)
    points = image.positions
    for level, count in enumerate(_NODES):
        graph = build_deform_graph(points, image.edges, count)
        maps = graph.identity()
        for step in range(_ROUNDS):
            progress("bend half", (level + step / _ROUNDS) / len(_NODES))
            part = step / (_ROUNDS - 1)
            stiffness, share = (_between(ends[level], part) for ends in (_STIFF, _REACH))
            reach = share * projector.diagonal
            normals = image.normals(points)
            landed = projector.project(points, normals, min_cosine=_MIN_COSINE)
            gap, agreement = landed.points - points, dot_rows(normals, landed.normals)
            trust = agreement * np.exp(-0.5 * dot_rows(gap, gap) / reach**2)
            weights = np.where(agreement >= _MIN_COSINE, trust, 0.0)
            ids, goals = [middle], [image.positions[middle]]
            for border in borders:
                place, agrees = border.places.find(
                    points[border.ids], normals[border.ids], border.across(points, triangles), reach
                )
                ids.append(border.ids[agrees])
                goals.append(place[agrees])
            marks = _rows(np.concatenate(ids), len(points))
            pull = Pull(landed.points, landed.normals, weights, marks, np.vstack(goals))
            maps = bend_graph(graph, maps, pull, stiffness=stiffness, mark_weight=_MARKS, extent=projector.diagonal)
            points = graph.apply(maps)
    progress("bend half", 1.0)
    return BentHalf(image, points, projector)


def _between(ends: tuple[float, float], part: float) -> float:
    return float(ends[0] * (ends[1] / ends[0]) ** part)


def _rows(ids: NDArray[np.int64], count: int) -> csr_matrix:
    """Return the sparse (k, n) that picks these of n points."""
    return csr_matrix((np.ones(len(ids)), (np.arange(len(ids)), ids)), shape=(len(ids), count))


def _find_borders(
    surface: RegionSurface, projector: SurfaceProjector, paint: Paint, is_open: BoolArray
) -> list[_Border]:
    """Return the borders between two regions, and rims, that the sculpt has too; what lies in the plane is left out."""
    palette = [tuple(int(level) for level in color) for color in paint.palette]
    known = [palette.index(region.color) if region.color in palette else -1 for region in surface.regions]
    color = np.array(known, np.int64)[surface.triangle_region]
    table = build_edges(surface.triangles, len(surface.positions))
    beside = table.edge_triangles.astype(np.int64)
    colors = color[beside]
    colors[table.is_boundary(), 1] = _OPEN
    beside[table.is_boundary(), 1] = -1
    order = np.argsort(colors, axis=1)
    colors, beside = np.take_along_axis(colors, order, axis=1), np.take_along_axis(beside, order, axis=1)
    parts = (colors[:, 0] != colors[:, 1]) & (colors != -1).all(axis=1)
    parts &= ~surface.on_mirror[table.edges].any(axis=1)
    borders = []
    for pair, places in _find_places(projector, paint, is_open).items():
        chosen = np.flatnonzero(parts & (colors == pair).all(axis=1))
        if len(chosen):
            ids, edges = np.unique(table.edges[chosen].astype(np.int64), return_inverse=True)
            low, high = beside[chosen].T
            borders.append(_Border(ids, edges.reshape(-1, 2), low, high, places))
    return borders


def _find_places(projector: SurfaceProjector, paint: Paint, is_open: BoolArray) -> dict[Pair, _Places]:
    """Return where two colours meet on the sculpt, or one ends."""
    positions = projector.positions
    table = build_edges(projector.triangles, len(positions))
    color = _meant_colors(projector, paint, table)
    color = np.where(np.append(is_open, False)[color], _OPEN, color)
    low, high = table.edges[np.arange(len(table.edges))[:, None], np.argsort(color[table.edges], axis=1)].T
    across, pairs = positions[high] - positions[low], np.stack([color[low], color[high]], axis=1)
    middles = 0.5 * (positions[low] + positions[high])
    ends = table.is_boundary() & (pairs[:, 0] == pairs[:, 1])
    across[ends] = positions[projector.triangles[table.edge_triangles[ends, 0]]].mean(axis=1) - middles[ends]
    pairs[ends, 0] = _OPEN
    parts = np.flatnonzero((pairs[:, 0] != pairs[:, 1]) & (pairs != -1).all(axis=1))
    normals = unit(projector.vertex_normals[table.edges[parts]].mean(axis=1))
    kinds, kind = np.unique(pairs[parts], axis=0, return_inverse=True)
    out = {}
    for index, (one, other) in enumerate(kinds.tolist()):
        of = kind.ravel() == index
        out[one, other] = _Places(middles[parts[of]], normals[of], unit(across[parts[of]]))
    return out


def _meant_colors(projector: SurfaceProjector, paint: Paint, table: EdgeTable) -> NDArray[np.int64]:
    """Return (n,) the colours of the sculpt's vertices, of specks and of vertices without one that of the nearest."""
    color, ends = sure_colors(projector.positions, paint.color), table.edges
    alike = ends[color[ends[:, 0]] == color[ends[:, 1]]]
    links = csr_matrix((np.ones(len(alike), np.int8), (alike[:, 0], alike[:, 1])), shape=(len(color), len(color)))
    piece = connected_components(links, directed=False)[1]
    area = np.bincount(piece, vertex_areas(projector.positions, projector.triangles))
    is_speck = area < (_SPECK * projector.diagonal) ** 2
    return sure_colors(projector.positions, np.where(is_speck[piece], -1, color).astype(np.int32))
