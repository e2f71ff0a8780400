"""Open a triangulation along a path, looking only at the triangles that touch it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.layout.piece import open_fans
from loopwright.surface.half_edges import directed_edges, edge_keys, is_among
from loopwright.types import IntArray


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
    is_near = on_path[triangles].any(axis=1)
    near = triangles[is_near]
    keys = edge_keys(np.stack([path[:-1], path[1:]], axis=1).astype(np.int32), count)
    present = edge_keys(directed_edges(near), count)
    if not is_among(keys, present).all():
        return None
    fans, fan_vertex, twin = open_fans(near, keys, count)
    # only the fans of vertices on the path are whole here; other vertices are not opened
    of_path = on_path[fan_vertex]
    wedge_count = np.ones(count, np.int32)
    wedge_count[path] = np.bincount(fan_vertex[of_path], minlength=count)[path]
    first = (np.cumsum(wedge_count) - wedge_count).astype(np.int32)
    begin = np.searchsorted(fan_vertex, fan_vertex)  # fans are in the order of their vertices
    of_fan = np.where(of_path, first[fan_vertex] + np.arange(len(fan_vertex)) - begin, first[fan_vertex])
    near_wedges = of_fan[fans].astype(np.int32)
    wedges = first[triangles]
    wedges[is_near] = near_wedges
    edges = directed_edges(near_wedges)
    touches = on_path[directed_edges(near)].any(axis=1)
    rim = edges[touches & (twin < 0)]
    return Opened(wedges, np.repeat(np.arange(count, dtype=np.int32), wedge_count), first, near, near_wedges, rim)
