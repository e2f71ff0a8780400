"""Which choices of corners make a poor patch of a disc."""

from __future__ import annotations

import numpy as np
import pytest

from loopwright.layout.measure_uneven import skewness
from loopwright.layout.uneven_corners import DiscSides, uneven_choices

# a strip, 10 by 2, with a place half way along one of its long sides
STRIP = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [10.0, 2.0, 0.0], [5.0, 2.0, 0.0], [0.0, 2.0, 0.0]])


def disc(points: np.ndarray) -> DiscSides:
    lengths = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    return DiscSides(np.arange(len(points), dtype=np.int32), lengths, points)


def chosen(angles: list[float], fair: float = 0.7) -> dict[tuple[int, ...], float]:
    found = uneven_choices(disc(STRIP), np.radians(angles), fair)
    return {tuple(np.flatnonzero(corners).tolist()): uneven for corners, uneven in found}


def test_a_corner_amid_a_long_side_is_poor_and_one_at_its_end_is_not() -> None:
    found = chosen([90.0, 90.0, 140.0, 140.0, 90.0])
    assert (0, 1, 2, 4) not in found
    # sides 10, 7, 5, 2: the worst pair of opposite ones is 7 and 2; its grid is skewed, which counts more
    assert found[0, 1, 3, 4] >= np.log(7 / 2)


def test_what_the_angles_leave_no_doubt_of_is_not_asked() -> None:
    assert chosen([90.0, 90.0, 90.0, 90.0, 90.0]) == {}
    assert chosen([90.0, 90.0, 100.0, 175.0, 90.0]) == {}
    assert all({0, 1, 4} <= set(corners) for corners in chosen([90.0, 90.0, 140.0, 140.0, 90.0]))


def test_only_what_is_poorer_than_fair_is_told() -> None:
    angles = [90.0, 90.0, 140.0, 140.0, 90.0]
    everything = chosen(angles, fair=-1.0)
    for fair in (0.7, 1.0, 1.3):
        assert chosen(angles, fair=fair) == {c: uneven for c, uneven in everything.items() if uneven > fair}
    assert len(chosen(angles, fair=0.7)) > len(chosen(angles, fair=1.0)) > len(chosen(angles, fair=1.3)) > 0


@pytest.mark.parametrize("degrees", [90.0, 60.0, 45.0, 120.0])
@pytest.mark.parametrize("long", [1.0, 4.0])
def test_the_skewness_of_a_parallelogram_is_that_of_its_angle(degrees: float, long: float) -> None:
    way = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees)), 0.0])
    along = np.array([long, 0.0, 0.0])
    corners = np.array([np.zeros(3), along, along + way, way])
    assert skewness(corners) == pytest.approx(-np.log(np.sin(np.radians(degrees))), abs=1e-12)
    assert skewness(np.roll(corners, 1, axis=0)) == pytest.approx(skewness(corners), abs=1e-12)
