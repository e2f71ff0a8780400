"""Sixty random painted sculpts end in a sound mesh or an explanation; the seed is in each test's name."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchmarks.campaign import Ending, run_case  # noqa: E402

FIRST = 1000
SEEDS = range(FIRST, FIRST + 60)


@cache
def ending(seed: int) -> Ending:
    """Return how the quick case of a seed ends."""
    return run_case(seed, is_quick=True)


@pytest.mark.parametrize("seed", SEEDS[:8])
def test_ends_in_a_sound_mesh(seed: int) -> None:
    end = ending(seed)
    assert end.kind in ("valid", "explained"), end.line()


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS[8:])
def test_ends_in_a_sound_mesh_too(seed: int) -> None:
    end = ending(seed)
    assert end.kind in ("valid", "explained"), end.line()
