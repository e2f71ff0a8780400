"""Quads that touching up leaves to other paint are won by growing them and fitting their part again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from tests.fit.painted_board import Maker, painted, two_regions

from loopwright.fit.fit_limit import FitOptions, FitReport, LimitFit
from loopwright.fit.measure_lack import measure_standing
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.paint_index import PaintIndex
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.search_places import LOST
from loopwright.fit.touch_up import touch_up
from loopwright.fit.win_lost import win_lost
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, QuadMesh

FIT = FitOptions(shape=60.0, slide=0.5, curve_weight=2.0, hold_weight=20.0)  # as new meshes are laid on
Pair = tuple[float, float]
ROWS_MOVED = 16  # about a lost quad: those that grow and what gives way to them, those fitted and touched up again


@pytest.fixture(scope="module")
def board(make_board: Callable[[float, float], SurfaceProjector]) -> SurfaceProjector:
    return make_board(1.2, 1.2)


class Case:
    """A mesh that was fitted and touched up, beside a box painted by a slip of the brush."""

    def __init__(self, mesh: QuadMesh, board: SurfaceProjector, middle: Pair, reach: Pair) -> None:
        def is_in_box(p: FloatArray) -> BoolArray:
            inside: BoolArray = (np.abs(p[:, :2] - np.array(middle)) < np.array(reach)).all(axis=1)
            return inside

        paint = painted(board, is_in_box, 2)
        self.mesh, self.board = mesh, board
        self.sampler = PaintSampler(mesh, paint, PaintIndex(board.positions, paint, board.triangles))
        self.fit = LimitFit(board, options=FIT)
        self.laid: tuple[QuadMesh, FitReport] = self.fit.lay(mesh)
        self.held = np.zeros(len(mesh.positions), np.bool_)
        self.touch()

    def touch(self) -> None:
        touched = touch_up(self.laid[0], self.board, self.sampler, self.held)
        self.touched, self.standing = touched, measure_standing(touched, self.sampler)

    def lost(self, mesh: QuadMesh) -> BoolArray:
        lost: BoolArray = self.sampler.lead(mesh.positions)[0] < LOST
        return lost

    def won(self) -> QuadMesh:
        return win_lost(self.mesh, self.laid, self.standing, self.fit, self.board, self.sampler, self.held).mesh


@pytest.mark.parametrize(
    ("n", "middle", "reach", "left"), [(20, (0.2, -0.2), (0.2, 0.14), 0), (20, (-0.1, 0.17), (0.1, 0.12), 1)]
)
def test_what_touching_up_cannot_win_is_won(
    make_square: Maker, board: SurfaceProjector, n: int, middle: Pair, reach: Pair, left: int
) -> None:
    case = Case(two_regions(make_square, n), board, middle, reach)
    assert case.lost(case.touched).sum() > left, "this case is to leave something to do"
    won = case.won()
    assert case.lost(won).sum() <= left
    quality = measure_quality(won.positions, won.quads).scaled_jacobian
    assert quality.min() > 0.3


def test_what_lies_far_from_lost_quads_is_left_as_it_was_touched_up(
    make_square: Maker, board: SurfaceProjector
) -> None:
    case = Case(two_regions(make_square, 60), board, (0.6, 0.6), (0.045, 0.045))
    lost = case.lost(case.touched)
    assert lost.any()
    moved = (case.won().positions != case.touched.positions).any(axis=1)
    assert moved.any()
    from_lost = (
        case.touched.positions[:, None, :2] - case.touched.positions[case.touched.quads[lost]].mean(axis=1)[:, :2]
    )
    rows = np.abs(from_lost).max(axis=2).min(axis=1) / (2.0 / 60)
    assert rows[moved].max() < ROWS_MOVED


def test_a_mesh_that_has_its_paint_is_the_same(make_square: Maker, board: SurfaceProjector) -> None:
    case = Case(two_regions(make_square, 14), board, (0.6, 0.6), (0.0, 0.0))
    assert case.won() is case.touched


def test_what_is_no_better_is_not_taken(make_square: Maker, board: SurfaceProjector) -> None:
    case = Case(two_regions(make_square, 20), board, (0.2, -0.2), (0.2, 0.14))
    case.standing = replace(case.standing, rank=(0, 0, 0.0))
    assert case.won() is case.touched


def test_held_vertices_stay(make_square: Maker, board: SurfaceProjector) -> None:
    case = Case(two_regions(make_square, 20), board, (0.35, -0.2), (0.14, 0.14))
    case.held = np.abs(case.mesh.positions[:, 0]) < 1e-9
    case.mesh = replace(case.mesh, is_fixed=case.mesh.is_fixed | case.held)
    case.laid = case.fit.lay(case.mesh)
    case.touch()
    won = case.won()
    tenth = 0.1 * 2.0 / 20  # of an edge: it is the surface that is held there, and the cage gives way
    assert np.allclose(won.positions[case.held], case.mesh.positions[case.held], atol=tenth)
