"""Open a triangulation along a path, looking only at the triangles that touch it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.layout.piece import open_fans
from loopwright.surface.half_edges import directed_edges, edge_keys, is_among
from loopwright.types import BoolArray, IntArray


@dataclass(frozen=True)
class Opened:
    """A triangulation opened along a path: what :func:`~loopwright.layout.piece.cut_open` gives, and more.

    Attributes
    ----------
    wedges : (m, 3) int32, the triangles in terms of wedge ids.
    origin : (w,) int32, the vertex of each wedge.
    first : (n,) int32, the first wedge of each vertex, its only one off the path.
    near, near_wedges : (k, 3) int32, the triangles that touch the path, as vertices and as wedges.
    rim : (r, 2) int32, directed boundary edges that touch the path, as wedges: those of the opened triangulation.
    """

    wedges: IntArray
    origin: IntArray
    first: IntArray
    near: IntArray
    near_wedges: IntArray
    rim: IntArray


def open_along(triangles: IntArray, path: list[int], count: int) -> Opened | None:
    """Open a manifold with boundary along a path of its edges; None where one of them is not there.

    Parameters
    ----------
    triangles : (m, 3) int32, in which each of the ``count`` vertices is one fan of triangles.
    path : distinct vertices.
    """
    on_path = np.zeros(count, bool)
    on_path[path] = True
    keys = edge_keys(np.stack([path[:-1], path[1:]], axis=1).astype(np.int32), count)
    near = triangles[on_path[triangles].any(axis=1)]
    if not is_among(keys, edge_keys(directed_edges(near), count)).all():
        return None
    fans = open_fans_at(triangles, keys, on_path)
    near_wedges = fans.wedges[fans.is_near]
    touches = on_path[directed_edges(near)].any(axis=1)
    rim = directed_edges(near_wedges)[touches & (fans.near_twin < 0)]
    return Opened(fans.wedges, fans.origin, fans.first, near, near_wedges, rim)


@dataclass(frozen=True)
class OpenFans:
    """A triangulation opened at some of its vertices.

    Attributes
    ----------
    wedges : (m, 3) int32, the triangles in terms of wedge ids, which go up with their vertices.
    origin : (w,) int32, the vertex of each wedge.
    first : (n,) int32, the first wedge of each vertex that is in a triangle, the only one of those not opened.
    is_near : (m,) which triangles touch a vertex that may be opened.
    near_twin : the directed edge, among those of these triangles, on the other side of each; -1 where cut.
    """

    wedges: IntArray
    origin: IntArray
    first: IntArray
    is_near: BoolArray
    near_twin: IntArray


def open_fans_at(triangles: IntArray, keys: np.ndarray, at: BoolArray) -> OpenFans:
    """Open a manifold with boundary along edges, looking only at the triangles that touch some vertices.

    Parameters
    ----------
    triangles : (m, 3) int32, in which each vertex is one fan of triangles.
    keys : undirected edges to cut along, as :func:`edge_keys` of the number of vertices.
    at : (n,) the vertices that may be opened: all ends of those edges at least.
    """
    count = len(at)
    is_near: BoolArray = np.any(at[triangles], axis=1)
    fans, fan_vertex, twin = open_fans(triangles[is_near], keys, count)
    # only the fans of these vertices are whole here; other vertices are not opened
    is_at = at[fan_vertex]
    number = (np.bincount(triangles.reshape(-1), minlength=count) > 0).astype(np.int32)
    number[at] = np.bincount(fan_vertex[is_at], minlength=count)[at]
    first = (np.cumsum(number) - number).astype(np.int32)
    begin = np.searchsorted(fan_vertex, fan_vertex)  # fans are in the order of their vertices
    of_fan = first[fan_vertex] + np.where(is_at, np.arange(len(fan_vertex)) - begin, 0)
    wedges = first[triangles]
    wedges[is_near] = of_fan[fans]
    return OpenFans(wedges, np.repeat(np.arange(count, dtype=np.int32), number), first, is_near, twin)
