"""Corners into fans: every fan of triangles around a vertex becomes a vertex of its own."""

from __future__ import annotations

import numpy as np

from loopwright.surface.glue import label_components
from loopwright.types import IntArray

_MAX_STEPS = 48


def split_by_fans(triangles: IntArray, twin: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Give every fan its own vertex.

    Parameters
    ----------
    triangles : (m, 3) int32, glued neighbours agree in orientation.
    twin : (3m,) int32, the gluing.
    count : how many vertices there are.

    Returns
    -------
    triangles : (m, 3) int32; where a vertex had several fans, all but the first use new vertices.
    copied : (k,) int32, the old vertex that each new vertex, numbered from ``count`` on, is a copy of.
    """
    corner_vertex = triangles.ravel()
    successor = _next_corner(twin)
    suspects = _vertices_of_several_fans(corner_vertex, count, successor)
    if not suspects.size:
        return triangles, np.zeros(0, np.int32)
    is_suspect = np.zeros(count, np.bool_)
    is_suspect[suspects] = True
    corners = np.flatnonzero(is_suspect[corner_vertex])
    place = np.full(len(corner_vertex), -1, np.int64)
    place[corners] = np.arange(len(corners))
    has_next = successor[corners] >= 0
    number, fan = label_components(len(corners), np.flatnonzero(has_next), place[successor[corners[has_next]]])
    first_corner = np.full(number, len(corners))
    np.minimum.at(first_corner, fan, np.arange(len(corners)))
    fan_vertex = corner_vertex[corners[first_corner]]
    order = np.lexsort((first_corner, fan_vertex))
    is_extra = np.zeros(number, np.bool_)
    is_extra[order[1:]] = fan_vertex[order[1:]] == fan_vertex[order[:-1]]
    extras = order[is_extra[order]]
    new_vertex = fan_vertex.copy()
    new_vertex[extras] = count + np.arange(len(extras), dtype=np.int32)
    split = corner_vertex.copy()
    split[corners] = new_vertex[fan]
    return split.reshape(-1, 3), fan_vertex[extras].astype(np.int32)


def _next_corner(twin: IntArray) -> IntArray:
    """Return the corner of the neighbour triangle, turning about the corner's vertex, or -1 at a rim."""
    incoming = np.arange(len(twin), dtype=np.int32).reshape(-1, 3)[:, [2, 0, 1]].ravel()
    return twin[incoming]


def _vertices_of_several_fans(corner_vertex: IntArray, count: int, successor: IntArray) -> IntArray:
    """Walk one fan of every vertex; return those where it doesn't reach every corner.

    A fan of more corners than the walk has steps is returned too: labelling settles it.
    """
    corners = np.arange(len(corner_vertex), dtype=np.int32)
    has_predecessor = np.zeros(len(corners), np.bool_)
    has_predecessor[successor[successor >= 0]] = True
    start = np.full(count, -1, np.int32)
    start[corner_vertex] = corners
    fronts = corners[~has_predecessor]
    start[corner_vertex[fronts]] = fronts
    reached = (start >= 0).astype(np.int32)
    vertex = np.flatnonzero(start >= 0)
    at = start[vertex]
    for _ in range(_MAX_STEPS):
        at = successor[at]
        goes_on = (at >= 0) & (at != start[vertex])
        vertex, at = vertex[goes_on], at[goes_on]
        if not vertex.size:
            break
        reached[vertex] += 1
    return np.flatnonzero(reached != np.bincount(corner_vertex, minlength=count)).astype(np.int32)
