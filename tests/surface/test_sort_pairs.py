"""Sorting by counting gives the stable order that comparing gives."""

from __future__ import annotations

import numpy as np
import pytest

from loopwright.surface.sort_pairs import sort_ids, sort_pairs


@pytest.mark.parametrize("size", [0, 1, 50, 3_999, 4_001, 60_000])
@pytest.mark.parametrize("count", [1, 7, 20_000])
def test_the_order_is_the_stable_one(size: int, count: int) -> None:
    seed = 11
    first, second = np.random.default_rng(seed).integers(0, count, (2, size)).astype(np.int32)
    # Source: numpy's lexsort, which is stable and takes its last key first.
    assert np.array_equal(sort_pairs(first, second, count), np.lexsort((second, first))), f"seed {seed}"
    assert np.array_equal(sort_ids(first, count), np.argsort(first, kind="stable")), f"seed {seed}"
