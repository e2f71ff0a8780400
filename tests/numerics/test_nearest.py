"""Nearest points for many at once."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from loopwright.numerics.nearest import nearest


@pytest.mark.parametrize("count", [0, 1, 399, 400, 5000])
def test_the_nearest_points_are_those_of_all_distances(count: int) -> None:
    rng = np.random.default_rng(count)
    known, asked = rng.normal(size=(300, 3)), rng.normal(size=(count, 3))
    distance, index = nearest(cKDTree(known), asked)
    every = np.linalg.norm(asked[:, None] - known[None], axis=2)  # by the definition of the Euclidean distance
    assert index.tolist() == every.argmin(axis=1).tolist()
    assert distance == pytest.approx(every.min(axis=1), abs=1e-12)
