"""Which edges are held: borders between regions, rims, lines that the mesh follows, the mirror plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.edit.quad_links import Ids, QuadLinks
from loopwright.fit.slide_curves import CurveSet, lay_curves
from loopwright.types import BoolArray, FloatArray, QuadMesh

# All relative to the edge's length.
_ON_CURVE = 0.35  # how far an end or the middle of an edge that follows a curve may lie from it ...
_NEAR_CURVE = 1.0  # ... and one between two fixed vertices on a border, which must follow some curve
_SHORTEST_ARC, _LONGEST_ARC = 0.1, 1.6  # length of the piece of the curve between the edge's ends


@dataclass(frozen=True)
class EdgeRoles:
    """What edges and vertices are bound to.

    Attributes
    ----------
    is_held : (e,) bool, edges along a border, a rim or a line that the mesh follows.
    curve : (e,) the curve that a held edge lies along, or -1 where none is known.
    is_plane : (e,) bool, edges in the mirror plane at which a half mesh ends.
    vertex_held : (n,) bool, vertices on held edges.
    """

    is_held: BoolArray
    curve: Ids
    is_plane: BoolArray
    vertex_held: BoolArray


def find_edge_roles(mesh: QuadMesh, links: QuadLinks) -> EdgeRoles:
    """Find the roles of a mesh's edges; a mesh with a mirror plane is taken for a half that ends at it."""
    both = mesh.on_mirror[links.edges].all(axis=1)
    is_plane = links.is_boundary_edge & both if mesh.mirror is not None else np.zeros(len(links.edges), bool)
    is_border = border_edges(mesh, links) & ~is_plane
    curve = _edge_curves(mesh, links, is_border)
    is_held = is_border | (curve >= 0)
    vertex_held = np.zeros(links.count, bool)
    vertex_held[links.edges[is_held].ravel()] = True
    return EdgeRoles(is_held, curve, is_plane, vertex_held)


def border_edges(mesh: QuadMesh, links: QuadLinks) -> BoolArray:
    """Return (e,) bool: edges on the boundary, or with another region on either side."""
    first, second = links.edge_half_edges.T // 4
    region = mesh.quad_region
    out: BoolArray = links.is_boundary_edge | (region[first] != region[np.maximum(second, 0)])
    return out


def _edge_curves(mesh: QuadMesh, links: QuadLinks, is_border: BoolArray) -> Ids:
    """Find the curve along each edge, by the curves its ends slide on and by where they lie on it.

    A border edge runs along the curve of an end that slides. Other edges
    between two vertices of a curve may be chords of it: those must follow it.
    An edge between two fixed vertices takes the curve that it follows best.
    """
    out = np.full(len(links.edges), -1, np.int64)
    if not mesh.curves:
        return out
    a, b = links.edges.T
    on_a, on_b = mesh.vertex_curve[a].astype(np.int64), mesh.vertex_curve[b].astype(np.int64)
    free_a, free_b = ~mesh.is_fixed[a], ~mesh.is_fixed[b]
    wanted = np.where(free_a, on_a, np.where(free_b, on_b, -1))
    wanted[free_a & free_b & (on_a != on_b)] = -1
    certain = is_border & (wanted >= 0)
    out[certain] = wanted[certain]
    curves = lay_curves(mesh.curves)
    slides = np.flatnonzero((wanted >= 0) & ~certain)
    for curve in np.unique(wanted[slides]).tolist():
        ids = slides[wanted[slides] == curve]
        out[ids[_strays(curves, curve, mesh.positions[links.edges[ids]]) <= _ON_CURVE]] = curve
    pinned = np.flatnonzero(~free_a & ~free_b & (is_border | ((on_a >= 0) & (on_b >= 0))))
    if len(pinned):
        ends = mesh.positions[links.edges[pinned]]
        stray = np.stack([_strays(curves, curve, ends) for curve in range(len(mesh.curves))], axis=1)
        near = stray.min(axis=1) <= np.where(is_border[pinned], _NEAR_CURVE, _ON_CURVE)
        out[pinned[near]] = stray.argmin(axis=1)[near]
    return out


def _strays(curves: CurveSet, curve: int, ends: FloatArray) -> FloatArray:
    """Return how far (k, 2, 3) edges stray from a curve, in edge lengths; infinite where they take a short cut."""
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    length = np.maximum(length, np.finfo(float).tiny)
    at_a, off_a = curves.locate(curve, ends[:, 0])
    at_b, off_b = curves.locate(curve, ends[:, 1])
    _, off_middle = curves.locate(curve, ends.mean(axis=1))
    arc = np.abs(at_a - at_b)
    if curves.closed[curve]:
        arc = np.minimum(arc, curves.length[curve] - arc)
    follows = (arc <= _LONGEST_ARC * length) & (arc >= _SHORTEST_ARC * length)
    return np.where(follows, np.maximum(np.maximum(off_a, off_b), off_middle) / length, np.inf)
