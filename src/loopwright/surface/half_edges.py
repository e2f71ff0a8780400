"""The directed edges of a triangulation, and lengths along polylines."""

from __future__ import annotations

import numpy as np

from loopwright.errors import InternalError
from loopwright.numerics.norms import norms
from loopwright.surface.remember import remembered
from loopwright.surface.sort_pairs import sort_pairs
from loopwright.types import FloatArray, IntArray, RegionSurface


def directed_edges(triangles: IntArray) -> IntArray:
    """Return the (3m, 2) directed edges, triangle by triangle: corners 0-1, 1-2, 2-0."""
    edges = np.empty((len(triangles), 6), triangles.dtype)
    for corner in range(3):
        edges[:, 2 * corner] = edges[:, 2 * corner - 1] = triangles[:, corner]
    return edges.reshape(-1, 2)


def edge_keys(edges: IntArray, vertex_count: int) -> np.ndarray:
    """Return one int64 per undirected edge."""
    a, b = edges[:, 0], edges[:, 1]
    keys: np.ndarray = np.minimum(a, b).astype(np.int64) * np.int64(vertex_count) + np.maximum(a, b)
    return keys


def distinct_edges(triangles: IntArray) -> IntArray:
    """Return the (k, 2) undirected edges of triangles, lower vertex first, in ascending order."""
    count = int(triangles.max()) + 1 if len(triangles) else 1
    ids = triangles.reshape(-1)
    ahead = triangles[:, [1, 2, 0]].reshape(-1)
    keys = np.sort(np.minimum(ids, ahead).astype(np.int64) * count + np.maximum(ids, ahead))
    is_first = np.ones(len(keys), bool)
    is_first[1:] = keys[1:] != keys[:-1]
    keys = keys[is_first]
    return np.stack([keys // count, keys % count], axis=1).astype(triangles.dtype)


def is_among(values: np.ndarray, few: np.ndarray) -> np.ndarray:
    """Return for each value whether it is one of a few: ``np.isin`` for a short second array."""
    if len(few) == 0:
        return np.zeros(values.shape, bool)
    ordered = np.sort(few)
    found: np.ndarray = ordered[np.minimum(np.searchsorted(ordered, values), len(ordered) - 1)] == values
    return found


def twin_corners(triangles: IntArray) -> IntArray:
    """Return for each directed edge 3t+i the directed edge on its other side, or -1."""
    tail, head = triangles.reshape(-1), triangles[:, [1, 2, 0]].reshape(-1)
    count = int(triangles.max()) + 1 if len(triangles) else 0
    low, high = np.minimum(tail, head), np.maximum(tail, head)
    order = sort_pairs(low, high, count)
    low, high, forward = low[order], high[order], (tail < head)[order]
    same = np.flatnonzero((low[1:] == low[:-1]) & (high[1:] == high[:-1]))
    if (forward[same] == forward[same + 1]).any():
        raise InternalError("The surface is not an oriented manifold: two triangles run along an edge the same way.")
    twin = np.full(len(order), -1, np.int32)
    twin[order[same]], twin[order[same + 1]] = order[same + 1], order[same]
    return twin


@remembered
def surface_twins(surface: RegionSurface) -> IntArray:
    """Return the twins of a surface's directed edges; see :func:`twin_corners`."""
    return _locked(twin_corners(surface.triangles))


@remembered
def surface_edges(surface: RegionSurface) -> IntArray:
    """Return the directed edges of a surface; see :func:`directed_edges`."""
    return _locked(directed_edges(surface.triangles))


def _locked(values: IntArray) -> IntArray:
    values.flags.writeable = False
    return values


def arc_length(points: FloatArray, scale: FloatArray | None = None) -> FloatArray:
    """Return the running length along a polyline, starting with zero.

    Parameters
    ----------
    scale : (k,) how much length counts at each of (k, 3) points, linear between them; None for 1.
    """
    step = norms(np.diff(points, axis=0))
    if scale is not None:
        step = step * (0.5 * (scale[:-1] + scale[1:]))
    return np.concatenate([[0.0], np.cumsum(step)])
