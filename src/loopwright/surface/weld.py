"""Find vertices that lie exactly on one another."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.types import IntArray

_MIX = np.uint64(0x9E3779B97F4A7C15)
_SHIFT = np.uint64(29)


def weld_exact(points: NDArray[Any]) -> tuple[IntArray, IntArray]:
    """Group equal points; 0 and -0 are equal.

    Parameters
    ----------
    points : (n, 3) float32 or float64, finite.

    Returns
    -------
    kept : (k,) int32, the first point of every group, ascending.
    group : (n,) int32, index into ``kept`` of every point.
    """
    count = len(points)
    if count == 0:
        return np.zeros(0, np.int32), np.zeros(0, np.int32)
    order = _order_of_equals(points)
    ordered = points[order]
    is_first = np.ones(count, np.bool_)
    is_first[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    starts = np.flatnonzero(is_first)
    leader = np.minimum.reduceat(order, starts)
    label = np.empty(count, np.int32)
    label[order] = np.repeat(leader, np.diff(np.append(starts, count)))
    kept = np.sort(leader).astype(np.int32)
    rank = np.zeros(count, np.int32)
    rank[kept] = np.arange(len(kept), dtype=np.int32)
    return kept, rank[label]


def _order_of_equals(points: NDArray[Any]) -> NDArray[np.int64]:
    """Return an order in which equal rows are neighbours, by a hash where it has no collision."""
    key = np.zeros(len(points), np.uint64)
    for column in range(points.shape[1]):
        bits = (points[:, column] + points.dtype.type(0.0)).astype(np.float64, copy=False).view(np.uint64)
        key ^= bits
        key *= _MIX
        key ^= key >> _SHIFT
        key *= _MIX
    order = np.argsort(key)
    sorted_key = key[order]
    same_key = np.flatnonzero(sorted_key[1:] == sorted_key[:-1])
    if (points[order[same_key]] != points[order[same_key + 1]]).any():
        return np.lexsort(points.T)
    return order
