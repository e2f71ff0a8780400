"""The directed edges of a triangulation, and lengths along polylines."""

from __future__ import annotations

import numpy as np

from loopwright.errors import InternalError
from loopwright.types import FloatArray, IntArray


def directed_edges(triangles: IntArray) -> IntArray:
    """Return the (3m, 2) directed edges, triangle by triangle: corners 0-1, 1-2, 2-0."""
    return np.ascontiguousarray(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2))


def edge_keys(edges: IntArray, vertex_count: int) -> np.ndarray:
    """Return one int64 per undirected edge."""
    ordered = np.sort(edges, axis=1).astype(np.int64)
    keys: np.ndarray = ordered[:, 0] * np.int64(vertex_count) + ordered[:, 1]
    return keys


def twin_corners(triangles: IntArray) -> IntArray:
    """Return for each directed edge 3t+i the directed edge on its other side, or -1."""
    edges = directed_edges(triangles)
    count = int(triangles.max()) + 1 if len(triangles) else 0
    forward = edges[:, 0].astype(np.int64) * count + edges[:, 1]
    backward = edges[:, 1].astype(np.int64) * count + edges[:, 0]
    order = np.argsort(forward, kind="stable")
    if np.any(forward[order][1:] == forward[order][:-1]):
        raise InternalError("The surface is not an oriented manifold: two triangles run along an edge the same way.")
    place = np.searchsorted(forward[order], backward)
    place = np.minimum(place, len(order) - 1)
    found = forward[order][place] == backward
    return np.where(found, order[place], -1).astype(np.int32)


def arc_length(points: FloatArray) -> FloatArray:
    """Return the running length along a polyline, starting with zero."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
