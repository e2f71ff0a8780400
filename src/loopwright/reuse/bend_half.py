"""Bend the mirror image of a sculpt's half over the other half, as far as that has a shape and paint of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from loopwright.errors import InternalError
from loopwright.marks.paint_apart import sure_colors
from loopwright.progress import Progress, silent
from loopwright.reuse.bend_graph import Pull, bend_graph
from loopwright.reuse.deform_graph import build_deform_graph
from loopwright.reuse.template import Template, mixtures, template_of_triangles
from loopwright.surface.edges import build_edges, dot_rows
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import BoolArray, FloatArray, Paint, RegionSurface

_NODES = (80, 300)  # of the graphs, one after the other
_ROUNDS = 10  # with each
_STIFF = ((3.0, 0.1), (1.0, 0.1))  # first and last stiffness of each graph
_REACH = ((0.1, 0.02), (0.05, 0.02))  # first and last, of the diagonal: what lies farther off counts little, or not
_MARKS = 3.0  # weight of borders, and of the mirror plane, against the surface
_MIN_COSINE = 0.4  # of normals that agree
_LEAST_COSINE = 0.2  # the same, of places that are carried
_NEAREST = 8  # places of a border among which one whose normal agrees is looked for
_OPEN = -2  # stands for all that is without faces

Pairs = Mapping[tuple[int, int], NDArray[np.int64]]


@dataclass(frozen=True)
class _Places:
    """Places of one border on the sculpt, and the (k, 3) normals there."""

    tree: cKDTree
    normals: FloatArray


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
    normals agree and, along its borders, to the nearest that part the same two colours. The mirror plane stays.

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
    there = _border_places(projector, paint, is_open)
    borders = [(ids, there[pair]) for pair, ids in _border_vertices(surface, paint).items() if pair in there]
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
            ids, goals = _near_goals(points, normals, borders, reach)
            ids, goals = np.concatenate([middle, ids]), np.vstack([image.positions[middle], goals])
            marks = csr_matrix((np.ones(len(ids)), (np.arange(len(ids)), ids)), shape=(len(ids), len(points)))
            pull = Pull(landed.points, landed.normals, weights, marks, goals)
            maps = bend_graph(graph, maps, pull, stiffness=stiffness, mark_weight=_MARKS, extent=projector.diagonal)
            points = graph.apply(maps)
    progress("bend half", 1.0)
    return BentHalf(image, points, projector)


def _between(ends: tuple[float, float], part: float) -> float:
    return float(ends[0] * (ends[1] / ends[0]) ** part)


def _near_goals(
    points: FloatArray, normals: FloatArray, borders: list[tuple[NDArray[np.int64], _Places]], reach: float
) -> tuple[NDArray[np.int64], FloatArray]:
    """Return vertices on borders that have a place of the same border in reach, and the (k, 3) nearest such places.

    The sculpt's normal there has to agree: the borders on both sides of a flap lie near to each other.
    """
    found, goals = [np.zeros(0, np.int64)], [np.zeros((0, 3))]
    for ids, places in borders:
        away, index = places.tree.query(points[ids], k=_NEAREST, distance_upper_bound=reach)
        index = np.minimum(index, len(places.normals) - 1)
        agrees = np.einsum("ij,ikj->ik", normals[ids], places.normals[index]) >= _MIN_COSINE
        agrees &= np.isfinite(away)
        first, has = agrees.argmax(axis=1), agrees.any(axis=1)
        found.append(ids[has])
        goals.append(places.tree.data[index[np.arange(len(ids)), first][has]])
    return np.concatenate(found), np.vstack(goals)


def _border_vertices(surface: RegionSurface, paint: Paint) -> Pairs:
    """Return the vertices on borders between two regions, and on rims off the mirror plane, by their colours."""
    colors = np.array([region.color for region in surface.regions], np.int64).reshape(-1, 3)
    away = np.abs(colors[:, None] - paint.palette.astype(np.int64)).sum(axis=2)
    own = away.argmin(axis=1)[surface.triangle_region]
    table = build_edges(surface.triangles, len(surface.positions))
    one, other = own[table.edge_triangles].T
    other = np.where(table.is_boundary(), _OPEN, other)
    parts = np.flatnonzero((one != other) & ~surface.on_mirror[table.edges].all(axis=1))
    return _by_pair(one[parts], other[parts], table.edges[parts].astype(np.int64))


def _border_places(projector: SurfaceProjector, paint: Paint, is_open: BoolArray) -> dict[tuple[int, int], _Places]:
    """Return where two colours meet on the sculpt, or one ends, by those colours."""
    color = sure_colors(projector.positions, paint.color)
    color = np.where(is_open[color], _OPEN, color)
    table = build_edges(projector.triangles, len(color))
    one, other = color[table.edges].T
    one = np.where(table.is_boundary() & (one == other), _OPEN, one)
    parts = np.flatnonzero(one != other)
    middles = projector.positions[table.edges[parts]].mean(axis=1)
    normals = unit(projector.vertex_normals[table.edges[parts]].mean(axis=1))
    rows = _by_pair(one[parts], other[parts], np.arange(len(parts))[:, None])
    return {k: _Places(cKDTree(middles[of], balanced_tree=False), normals[of]) for k, of in rows.items()}


def _by_pair(one: NDArray[np.int64], other: NDArray[np.int64], things: NDArray[np.int64]) -> Pairs:
    """Return the things, (k, s) ids, of each pair of colours, each once and ascending."""
    pairs = np.sort(np.stack([one, other], axis=1), axis=1)
    kinds, kind = np.unique(pairs, axis=0, return_inverse=True)
    return {(int(a), int(b)): np.unique(things[kind.ravel() == k]) for k, (a, b) in enumerate(kinds.tolist())}
