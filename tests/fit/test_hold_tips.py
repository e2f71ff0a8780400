"""Vertices at tips of regions are held, those at round corners and on jagged borders are not."""

from __future__ import annotations

import numpy as np
import pytest

from loopwright.fit.hold_tips import hold_tips
from loopwright.types import Curve, FloatArray, QuadMesh, Region

TONGUE = [(0, 0), (1, 0), (2, 0), (3, 0), (4, 0), (4.9, 0.3), (4.9, 0.7), (4, 1), (3, 1), (2, 1), (1, 1), (0, 1)]
SPIKE = [(0, 0), (1, 0.1), (2, 0.3), (3, 0.5), (2, 0.7), (1, 0.9), (0, 1.0)]
ROUND = [(0, 0), (1, 0), (1.7, 0.3), (2.0, 1.0), (2.0, 2.0), (2.0, 3.0)]
JAGGED = [(0, 0), (1, 0.6), (2, -0.6), (3, 0.6), (4, -0.6), (5, 0.6)]
TOOTH = [(0, 0), (1, 0), (2, 0), (2.5, 0.5), (3, 0), (4, 0), (5, 0)]


def along(points: list[tuple[float, float]], *, closed: bool = False) -> QuadMesh:
    """Vertices on a curve through them, and no quads; an open one has its ends fixed."""
    places: FloatArray = np.array([(*point, 0.0) for point in points])
    count = len(places)
    is_end = np.zeros(count, bool)
    is_end[[0, -1]] = not closed
    return QuadMesh(
        places,
        np.zeros((0, 4), np.int32),
        np.zeros(0, np.int32),
        (Region("one", (1, 1, 1)),),
        np.zeros(count, np.int32),
        (Curve(places, closed),),
        is_end,
        np.zeros(count, bool),
    )


@pytest.mark.parametrize(
    ("points", "held"),
    [(TONGUE, [5, 6]), (SPIKE, [3]), (ROUND, []), (JAGGED, []), (TOOTH, [])],
    ids=["U", "V", "round", "jagged", "tooth"],
)
def test_tips_are_held(points: list[tuple[float, float]], held: list[int]) -> None:
    mesh = along(points)
    assert np.flatnonzero(hold_tips(mesh).is_fixed).tolist() == sorted([0, *held, len(points) - 1])


@pytest.mark.parametrize("count", [4, 8, 24])
def test_small_loops_have_no_tips(count: int) -> None:
    angle = np.arange(count) / count * 2 * np.pi
    mesh = along([(float(np.cos(a)), float(np.sin(a))) for a in angle], closed=True)
    assert not hold_tips(mesh).is_fixed.any()


def test_what_is_fixed_on_a_curve_counts_as_its_vertex() -> None:
    mesh = along(TONGUE)
    mesh.is_fixed[4] = True
    mesh.vertex_curve[4] = -1
    assert np.flatnonzero(hold_tips(mesh).is_fixed).tolist() == [0, 4, 5, 6, 11]
