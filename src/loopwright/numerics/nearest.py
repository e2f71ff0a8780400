"""Nearest points of a tree for many points at once, on all cores."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from loopwright.types import FloatArray

_WORTH_THREADS = 400  # points: for fewer, starting threads costs more than they save


def nearest(tree: cKDTree, points: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return (k,) distances from (k, d) points to the tree's points nearest to them, and (k,) which those are."""
    distance, index = tree.query(points, workers=-1 if len(points) >= _WORTH_THREADS else 1)
    return distance, index
