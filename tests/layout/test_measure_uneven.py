"""What is no place for a grid: rings are judged by their mean width, and bays that no line reaches are found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import compact, grid_net, rectangle

from loopwright.layout.measure_uneven import UnevenOptions, is_stray, ring_width, unevenness
from loopwright.layout.piece import Piece
from loopwright.layout.ring_bays import BayOptions
from loopwright.layout.size_steps import fill_scale
from loopwright.types import FloatArray, IntArray

SIZE = 0.25
AROUND, ACROSS = 160, 24


def ring(seam: float, *, shift: float = 0.0) -> tuple[Piece, FloatArray]:
    """A flat ring from the unit circle to one of radius 2, its middle ``shift`` away, cut open at an angle."""
    angle = seam + np.linspace(0.0, 2 * np.pi, AROUND + 1)
    away = np.linspace(0.0, 1.0, ACROSS + 1)
    way = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    far = 2.0 * way + np.array([shift, 0.0, 0.0])
    points, triangles = grid_net((1 - away)[None, :, None] * way[:, None] + away[None, :, None] * far[:, None])
    triangles = np.ascontiguousarray(triangles[:, ::-1])
    ids = np.arange(len(points)).reshape(-1, ACROSS + 1)
    quadrants = np.zeros(len(points), np.int32)
    quadrants[np.concatenate([ids[0], ids[-1], ids[:, 0], ids[:, -1]])] = 2
    quadrants[[ids[0, 0], ids[0, -1], ids[-1, 0], ids[-1, -1]]] = 1
    return Piece(triangles, np.arange(len(points), dtype=np.int32), quadrants, 0, is_ring=True), points


@pytest.mark.parametrize("shift", [0.0, 0.5])
def test_where_a_ring_was_cut_open_does_not_count(shift: float) -> None:
    values = [unevenness(*ring(seam, shift=shift), SIZE) for seam in (0.0, np.pi / 2, np.pi)]
    assert max(values) - min(values) < 1e-6
    # both loops' lengths, 4 pi and 2 pi, differ by log 2, which a ring may
    assert max(values) < 0.05


def unrolled(points: FloatArray, triangles: IntArray) -> tuple[Piece, FloatArray]:
    """A ring of length 12, cut open and laid flat."""
    quadrants = np.zeros(len(points), np.int32)
    piece = Piece(triangles, np.arange(len(points), dtype=np.int32), quadrants, 0)
    (rim,) = piece.loops
    quadrants[rim] = 2
    at_end = np.isin(points[:, 0], [0.0, 12.0])
    for side in (0.0, 12.0):
        seam = np.flatnonzero(at_end & (points[:, 0] == side))
        quadrants[[seam[points[seam, 1].argmin()], seam[points[seam, 1].argmax()]]] = 1
    return replace(piece, quadrants=quadrants, is_ring=True), points


def test_a_bay_that_no_line_reaches_is_none_of_a_ring() -> None:
    # both are about four times as wide in the middle as at the ends; water seeps into a bay of depth d and width w as
    # exp(-pi d / w) (separation of variables), here exp(-pi 3 / 1.2)
    points, triangles = rectangle(120, 40, 12.0, 4.0)
    x, y, _ = points[triangles].mean(axis=1).T
    bay = unrolled(*compact(points, triangles, (y < 1.0) | (np.abs(x - 6.0) < 0.6)))
    points, triangles = rectangle(120, 20, 12.0, 1.0)
    points[:, 1] *= 1.0 + 1.5 * (1.0 - np.cos(np.pi * points[:, 0] / 6.0))
    bulge = unrolled(points, triangles)
    opt = UnevenOptions()
    assert is_stray(*bay, unevenness(*bay, SIZE), opt)
    assert not is_stray(*bulge, unevenness(*bulge, SIZE), opt)
    # it is what seeps in that counts, not how wide the ring is
    assert not is_stray(*bay, unevenness(*bay, SIZE), UnevenOptions(bays=BayOptions(slack=99.0)))


def test_loops_of_a_ring_may_draw_together_more_than_rows_of_a_strip() -> None:
    points, triangles = rectangle(120, 20, 12.0, 1.0)
    points[:, 1] *= 1.0 + 3.5 * (1.0 - np.cos(np.pi * points[:, 0] / 6.0))  # 1 to 8 wide
    piece, points = unrolled(points, triangles)
    assert not is_stray(piece, points, unevenness(piece, points, SIZE), UnevenOptions())
    strip = replace(piece, is_ring=False)
    assert is_stray(strip, points, unevenness(strip, points, SIZE), UnevenOptions())


def test_jagged_loops_make_no_ring_narrower() -> None:
    along = np.linspace(0.0, 12.0, 241)
    jag = 0.05 * (-1.0) ** np.arange(241)  # the loops are more than twice as long as the ring
    near, far = (np.stack([along, side + jag, 0 * along], axis=1) for side in (0.0, 1.0))
    assert ring_width(12.0, near, far) == pytest.approx(1.0, rel=0.06)
    straight = [np.stack([along, side + 0 * along, 0 * along], axis=1) for side in (0.0, 1.0)]
    assert ring_width(18.0, *straight) == pytest.approx(1.5)  # a roll: its skin is wider than its loops are apart


@pytest.mark.parametrize("depth", [1.5, 20.0])
def test_a_ring_may_be_longer_than_its_loops(depth: float) -> None:
    # loops of 2 and 8 differ by log 4, of which a ring may 0.8; its area is what its sides enclose (derived)
    along, across = np.meshgrid(np.linspace(-0.5, 0.5, 25), np.linspace(0.0, 1.0, 25), indexing="ij")
    points, triangles = grid_net(np.stack([along * (2.0 + 6.0 * across), depth * across, 0 * along], axis=-1))
    ids = np.arange(625, dtype=np.int32).reshape(25, 25)
    quadrants = np.zeros(625, np.int32)
    quadrants[np.concatenate([ids[0], ids[-1], ids[:, 0], ids[:, -1]])] = 2
    quadrants[[ids[0, 0], ids[0, -1], ids[-1, 0], ids[-1, -1]]] = 1
    origin = ids.copy()
    origin[-1] = ids[0]  # where it was cut open
    piece = Piece(triangles, origin.reshape(-1), quadrants, 0, is_ring=True)
    assert unevenness(piece, points, SIZE) == pytest.approx(np.log(4.0) - 0.8, abs=1e-6)
    assert not is_stray(piece, points, unevenness(piece, points, SIZE), UnevenOptions())


def square(scale: FloatArray) -> tuple[Piece, FloatArray, FloatArray]:
    """A square of side 6 with four corners; the scale goes from the first value on its left to the second."""
    points, triangles = rectangle(24, 24, 6.0, 6.0)
    quadrants = np.zeros(len(points), np.int32)
    (rim,) = Piece(triangles, np.arange(len(points), dtype=np.int32), quadrants, 0).loops
    quadrants[rim] = 2
    ends = np.isin(points[:, :2], [0.0, 6.0]).all(axis=1)
    quadrants[ends] = 1
    piece = Piece(triangles, np.arange(len(points), dtype=np.int32), quadrants, 0)
    return piece, points, np.interp(points[:, 0], [0.0, 6.0], scale)


def test_sides_are_as_long_as_they_wish_for_segments() -> None:
    piece, points, scale = square(np.array([1.0, 3.0]))
    assert unevenness(piece, points, SIZE) == pytest.approx(0.0, abs=1e-9)
    assert unevenness(piece, points, SIZE, np.full(len(points), 1.7)) == pytest.approx(0.0, abs=1e-9)
    # three times as many on the right as on the left (derived)
    assert unevenness(piece, points, SIZE, scale) == pytest.approx(np.log(3.0), abs=1e-9)
    of_ring, places, finer = *ring(0.0), np.linspace(1.0, 3.0, (AROUND + 1) * (ACROSS + 1))
    assert unevenness(of_ring, places, SIZE, finer) == unevenness(of_ring, places, SIZE)


def test_fresh_vertices_wish_for_what_those_beside_them_do() -> None:
    triangles = np.array([[0, 1, 2], [2, 1, 3], [3, 1, 4]], np.int32)
    found = fill_scale(np.array([1.0, 2.0, 4.0]), np.array([0, 1, -1, 2, 7], np.int32), triangles)
    # the third is met by triangles whose others have 1 and 2, and 2 and 4; the last one by 2 and 4 (derived)
    assert found.tolist() == [1.0, 2.0, pytest.approx((1.5 + 3.0) / 2), 4.0, 3.0]
    assert (
        fill_scale(np.ones(1), np.array([-1, -2, -3], np.int32), np.array([[0, 1, 2]], np.int32)).tolist() == [1.0] * 3
    )
