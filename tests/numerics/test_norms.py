"""Lengths of vectors are those of the reference library, to the bit."""

from __future__ import annotations

import numpy as np
import pytest

from loopwright.numerics.norms import norms


@pytest.mark.parametrize("shape", [(1000, 3), (50, 4, 3), (30, 2), (0, 3), (3,)])
def test_they_are_those_of_numpy(shape: tuple[int, ...]) -> None:
    rng = np.random.default_rng(len(shape))
    vectors = rng.normal(size=shape) * np.exp(rng.normal(size=shape) * 20.0)
    for each in (vectors, vectors[::-1], np.asfortranarray(vectors)):
        np.testing.assert_array_equal(norms(each), np.linalg.norm(each, axis=-1))
