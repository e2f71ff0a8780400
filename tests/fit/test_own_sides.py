"""Each side of a mirrored mesh follows its own paint; parts cut from a mesh hang together by edges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from loopwright.fit.curve_shifts import CurveShifts
from loopwright.fit.cut_part import close_fans, cut_part
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.own_borders import draw_own_borders
from loopwright.fit.own_sides import OwnPaint, own_sides
from loopwright.fit.paint_index import PaintIndex
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.reflect import reflect_half
from loopwright.fit.slide_curves import lay_curves
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, Curve, FloatArray, MirrorPlane, Paint, QuadMesh, Region

Maker = Callable[..., QuadMesh]
COLORS = ((200, 60, 60), (60, 60, 200), (20, 20, 20))
PLANE = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)


@pytest.fixture(scope="module")
def board(make_board: Callable[[float, float], SurfaceProjector]) -> SurfaceProjector:
    return make_board(3.0, 2.0)


def half(make_square: Maker) -> QuadMesh:
    """A grid from x = 0 to 2, y = -1 to 1, of edge 0.2, with a border along x = 1 and a junction in its middle."""
    mesh = make_square(10, 10)
    points = mesh.positions + [1.0, 0.0, 0.0]
    on_border = np.abs(points[:, 0] - 1.0) < 1e-9
    is_corner = on_border & (np.abs(np.abs(points[:, 1]) - 1.0) < 1e-9)
    junction = on_border & (np.abs(points[:, 1]) < 1e-9)
    curves = tuple(Curve(curve.points + [1.0, 0.0, 0.0], False) for curve in mesh.curves)
    lines = [Curve(np.array([[1.0, a, 0.0], [1.0, b, 0.0]]), False) for a, b in ((-1.0, 0.0), (0.0, 1.0))]
    curve = np.where(on_border & ~is_corner & ~junction, len(curves) + (points[:, 1] > 0), mesh.vertex_curve)
    in_plane = points[:, 0] < 1e-9
    return replace(
        mesh,
        positions=points,
        quad_region=(points[mesh.quads].mean(axis=1)[:, 0] > 1.0).astype(np.int32),
        regions=(Region("inner", COLORS[0]), Region("outer", COLORS[1])),
        vertex_curve=np.where(in_plane, -1, curve).astype(np.int32),
        curves=(*curves, *lines),
        is_fixed=(mesh.is_fixed | is_corner | junction) & ~in_plane,
        on_mirror=in_plane,
        mirror=PLANE,
    )


def painted(board: SurfaceProjector, border: Callable[[FloatArray], FloatArray], *, rim: float = 9.0) -> OwnPaint:
    """Red up to the border's x on the right, up to -1 on the left, then blue; left open beyond ``rim`` on the left."""
    x, y, _ = board.positions.T
    labels = np.where(x > 0, x > border(y), x < -1.0).astype(np.int32)
    labels[x < -rim] = 2
    paint = Paint(np.array(COLORS, np.uint8), labels)
    return OwnPaint(paint, PaintIndex(board.positions, paint), np.array([False, False, True]), np.zeros((0, 3)))


def border_of(mesh: QuadMesh, side: float) -> FloatArray:
    """Return the vertices between the two regions on one side."""
    shared = np.unique(mesh.quads[mesh.quad_region == 0]), np.unique(mesh.quads[mesh.quad_region == 1])
    both = mesh.positions[np.intersect1d(*shared)]
    return np.asarray(both[side * both[:, 0] > 0])


def test_borders_and_junctions_follow_the_paint_of_their_own_side(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = half(make_square)
    own = own_sides(mesh, board, paint=painted(board, lambda y: 1.25 + 0.05 * y))
    right, left = border_of(own, 1.0), border_of(own, -1.0)
    inner = np.abs(right[:, 1]) < 0.95
    quarter = 0.25 * 0.2  # of an edge: nearer the paint does not draw when it has done so once
    assert right[inner, 0] == pytest.approx(1.25 + 0.05 * right[inner, 1], abs=quarter)
    assert left[:, 0] == pytest.approx(-1.0, abs=0.03)
    without = own_sides(mesh, board)
    assert border_of(without, 1.0)[:, 0] == pytest.approx(1.0, abs=1e-6)
    np.testing.assert_array_equal(own.quads, without.quads)
    assert measure_quality(own.positions, own.quads).scaled_jacobian.min() > 0.9


def test_a_painted_opening_is_followed_and_the_end_of_the_sculpt_is_not(
    make_square: Maker, board: SurfaceProjector
) -> None:
    mesh = half(make_square)
    own = own_sides(mesh, board, paint=painted(board, lambda y: 1.0 + 0 * y, rim=1.85))
    sides = np.abs(own.positions[:, 1]) < 0.9
    assert own.positions[sides, 0].min() == pytest.approx(-1.85, abs=0.03)
    assert own.positions[sides, 0].max() == pytest.approx(2.0, abs=1e-6)


def test_a_rim_without_an_opening_in_sight_is_not_dragged_by_borders_that_meet_it(
    make_square: Maker, board: SurfaceProjector
) -> None:
    own = own_sides(half(make_square), board, paint=painted(board, lambda y: 1.2 + 0.5 * (y > 0.3) * (y - 0.3)))
    at_top = np.unique(own.quads[own.positions[own.quads][..., 1].max(axis=1) > 0.9])
    top = own.positions[at_top][own.positions[at_top, 1] > 0.9]
    assert top[:, 1] == pytest.approx(1.0, abs=0.02) and len(top) == 21


def banded(make_square: Maker) -> QuadMesh:
    """The half with a third region to the right of x = 1, between y = -0.4 and 0.4: of four edges there."""
    mesh = half(make_square)
    points, middles = mesh.positions, mesh.positions[mesh.quads].mean(axis=1)
    junction = (np.abs(points[:, 0] - 1.0) < 1e-9) & (np.abs(np.abs(points[:, 1]) - 0.4) < 1e-9)
    rim = (np.abs(points[:, 0] - 2.0) < 1e-9) & (np.abs(np.abs(points[:, 1]) - 0.4) < 1e-9)
    lines = [np.array([[1.0, y, 0.0], [2.0, y, 0.0]]) for y in (-0.4, 0.4)]
    lines += [np.array([[1.0, a, 0.0], [1.0, b, 0.0]]) for a, b in ((-1.0, -0.4), (-0.4, 0.4), (0.4, 1.0))]
    first, curve = len(mesh.curves) - 2, np.where(mesh.vertex_curve >= len(mesh.curves) - 2, -1, mesh.vertex_curve)
    on_border = (np.abs(points[:, 0] - 1.0) < 1e-9) & (np.abs(points[:, 1]) < 0.9) & ~junction
    curve[on_border] = first + 2 + np.searchsorted([-0.4, 0.4], points[on_border, 1])
    for k, y in enumerate((-0.4, 0.4)):
        curve[(np.abs(points[:, 1] - y) < 1e-9) & (points[:, 0] > 1.1) & ~rim] = first + k
    is_band = (middles[:, 0] > 1.0) & (np.abs(middles[:, 1]) < 0.4)
    corners = mesh.is_fixed & ~((np.abs(points[:, 1]) < 1e-9) & (np.abs(points[:, 0] - 1.0) < 1e-9))
    return replace(
        mesh,
        quad_region=np.where(is_band, 2, mesh.quad_region).astype(np.int32),
        regions=(*mesh.regions, Region("band", (60, 200, 60))),
        vertex_curve=curve.astype(np.int32),
        curves=(*mesh.curves[:first], *(Curve(line, False) for line in lines)),
        is_fixed=corners | junction | rim,
    )


def test_borders_are_pressed_together_less_where_they_are_much_shorter(
    make_square: Maker, board: SurfaceProjector, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A band that is four edges wide here begins with a tenth of that on the other side."""
    mesh = banded(make_square)
    x, y, _ = board.positions.T
    width = np.where(x > 0, 0.4, np.clip(0.04 + 0.4 * (np.abs(x) - 1.0), 0.04, 0.4))
    labels = np.where(np.abs(x) < 1.0, 0, np.where(np.abs(y) < width, 2, 1)).astype(np.int32)
    paint = Paint(np.array([*COLORS[:2], (60, 200, 60)], np.uint8), labels)
    index = PaintIndex(board.positions, paint)
    whole = replace(reflect_half(mesh), mirror=None, on_mirror=np.zeros(2 * len(mesh.positions) - 11, bool))
    stays = np.zeros(len(whole.positions), np.bool_)

    def shortest() -> float:
        sampler = PaintSampler(whole, paint, index)
        drawn = draw_own_borders(whole, board, sampler, np.zeros(3, bool), stays)
        at = np.flatnonzero((np.abs(whole.positions[:, 0] + 1.0) < 1e-9) & (np.abs(whole.positions[:, 1]) < 0.5))
        row = drawn.positions[at[np.argsort(whole.positions[at, 1])]]
        assert len(row) == 5
        return float(np.linalg.norm(np.diff(row, axis=0), axis=1).min())

    kept = shortest()
    monkeypatch.setattr("loopwright.fit.own_borders._EASINGS", 0)
    pressed = shortest()
    assert pressed < 0.25 * 0.2 < kept < 0.2  # the edges are of 0.2


def test_borders_are_drawn_less_where_quads_would_be_folded(
    make_square: Maker, board: SurfaceProjector, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The band begins aslant on the other side, and runs aslant there."""
    mesh = banded(make_square)
    x, y, _ = board.positions.T
    begin, middle = np.where(x < 0, -x - 1.0 - 0.7 * y, x - 1.0), np.where(x < 0, 0.7 * (-x - 1.5), 0.0)
    labels = np.where(begin < 0, 0, np.where(np.abs(y - middle) < 0.4, 2, 1)).astype(np.int32)
    paint = Paint(np.array([*COLORS[:2], (60, 200, 60)], np.uint8), labels)
    index = PaintIndex(board.positions, paint)
    whole = replace(reflect_half(mesh), mirror=None, on_mirror=np.zeros(2 * len(mesh.positions) - 11, bool))
    stays = np.zeros(len(whole.positions), np.bool_)

    def drawn() -> tuple[FloatArray, int]:
        made = draw_own_borders(whole, board, PaintSampler(whole, paint, index), np.zeros(3, bool), stays)
        lost = int((PaintSampler(made, paint, index).lead(made.positions)[0] <= 0.0).sum())
        return measure_quality(made.positions, made.quads).scaled_jacobian, lost

    eased, still_lost = drawn()
    monkeypatch.setattr("loopwright.fit.own_borders._LEAST_SINE", -2.0)
    assert drawn()[0].min() < -0.2
    assert eased.min() > 0.2
    before = PaintSampler(whole, paint, index).lead(whole.positions)[0]
    assert still_lost < 0.5 * (before <= 0.0).sum()  # the others still go to the paint


@pytest.mark.parametrize("row", [0.2, 0.4])
def test_borders_stop_short_of_held_vertices(make_square: Maker, board: SurfaceProjector, row: float) -> None:
    """All vertices one or two edges behind the border are held; the paint is 1.25 edges behind it."""
    paint = painted(board, lambda y: 1.25 + 0 * y)
    mesh = half(make_square)
    whole = replace(reflect_half(mesh), mirror=None, on_mirror=np.zeros(2 * len(mesh.positions) - 11, bool))
    stays = np.abs(whole.positions[:, 0] - 1.0 - row) < 1e-9
    assert stays.sum() == 11
    made = draw_own_borders(whole, board, PaintSampler(whole, paint.paint, paint.index), paint.is_open, stays)
    assert made.positions[stays] == pytest.approx(whole.positions[stays], abs=1e-12)
    corners = made.positions[made.quads]
    up = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])[:, 2]
    assert (up > 0.0).all() and measure_quality(made.positions, made.quads).scaled_jacobian.min() > 0.3
    assert border_of(made, 1.0)[:, 0].min() > 1.02


def test_held_vertices_stay(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = half(make_square)
    junction = int(np.flatnonzero((np.abs(mesh.positions - [1.0, 0.0, 0.0]) < 1e-9).all(axis=1))[0])
    paint = painted(board, lambda y: 1.2 + 0 * y)
    assert own_sides(mesh, board, paint=paint).positions[junction, 0] == pytest.approx(1.2, abs=0.03)
    held = own_sides(mesh, board, paint=replace(paint, held=mesh.positions[[junction]]))
    assert held.positions[junction] == pytest.approx([1.0, 0.0, 0.0], abs=1e-6)


def test_a_piece_without_curves_keeps_its_place(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = half(make_square)
    loose = np.array([[2.2, 1.2, 0.0], [2.4, 1.2, 0.0], [2.4, 1.4, 0.0], [2.2, 1.4, 0.0]])
    count = len(mesh.positions)
    both = replace(
        mesh,
        positions=np.vstack([mesh.positions, loose]),
        quads=np.vstack([mesh.quads, count + np.arange(4)]).astype(np.int32),
        quad_region=np.append(mesh.quad_region, 1).astype(np.int32),
        vertex_curve=np.append(mesh.vertex_curve, [-1] * 4).astype(np.int32),
        is_fixed=np.append(mesh.is_fixed, [False] * 4),
        on_mirror=np.append(mesh.on_mirror, [False] * 4),
    )
    own = own_sides(both, board, paint=painted(board, lambda y: 1.2 + 0 * y))
    assert own.positions[count : count + 4] == pytest.approx(loose, abs=0.02)
    assert border_of(own, 1.0)[:, 0] == pytest.approx(1.2, abs=0.06)


def test_a_curve_that_ends_where_it_begins_stays_closed() -> None:
    ring = Curve(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 0]]), False)
    shifts = CurveShifts(lay_curves((ring,)), np.array([0.1]))
    first: NDArray[np.int64] = np.arange(10)
    ties = shifts.tie(np.zeros((1, 3)), np.array([1e-6]), to_rest=False)
    moved = shifts.solve(first, np.tile([0.0, 1.0, 0.0], (10, 1)), np.full(10, 0.3), np.ones(10), ties)
    assert moved[0] == pytest.approx(moved[-1], abs=1e-3) and abs(moved[0, 1]) > 0.1


def test_shifts_follow_a_smooth_wish_and_keep_curves_together_where_they_meet() -> None:
    first = Curve(np.array([[0.0, 0, 0], [4, 0, 0]]), False)
    second = Curve(np.array([[4.0, 0, 0], [4, 4, 0]]), False)
    loop = Curve(np.array([[8.0, 0, 0], [12, 0, 0], [12, 4, 0], [8, 4, 0]]), True)
    shifts = CurveShifts(lay_curves((first, second, loop)), np.full(3, 0.1))
    on_first: NDArray[np.int64] = np.flatnonzero(shifts.curve == 0)
    up = np.tile([0.0, 1.0, 0.0], (len(on_first), 1))
    spots = np.array([[4.0, 0.0, 0.0]])
    ties = shifts.tie(spots, np.full(3, 1e-6), to_rest=False)
    moved = shifts.solve(on_first, up, np.full(len(on_first), 0.3), np.ones(len(on_first)), ties)
    assert moved[on_first, 1] == pytest.approx(0.3, abs=0.02)  # what hangs on them pulls a little
    ends = [shifts.weights(np.array([k]), np.array([at])) @ moved for k, at in ((0, 4.0), (1, 0.0))]
    assert ends[0] == pytest.approx(ends[1], abs=1e-3)
    assert np.abs(moved[shifts.curve == 2]).max() < 1e-9
    at_rest = shifts.tie(spots, np.full(3, 1e-6), to_rest=True)
    resting = shifts.solve(on_first, up, np.full(len(on_first), 0.3), np.ones(len(on_first)), at_rest)
    assert np.abs(shifts.weights(np.array([0]), np.array([4.0])) @ resting).max() < 0.01


def test_weights_are_linear_between_stations_and_go_round_a_closed_curve() -> None:
    square = Curve(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]), True)
    shifts = CurveShifts(lay_curves((square,)), np.array([0.5]))
    assert len(shifts.along) == 8
    at = np.array([0.25, 3.75, 4.25])
    weights = shifts.weights(np.zeros(3, np.int64), at).toarray()
    assert weights[0, :2] == pytest.approx([0.5, 0.5]) and weights[1, [7, 0]] == pytest.approx([0.5, 0.5])
    assert weights[2] == pytest.approx(weights[0]) and weights.sum(axis=1) == pytest.approx(1.0)


def fans(quads: NDArray[np.int32]) -> BoolArray:
    """Tell at which vertices the quads are one fan: at most two of its edges belong to one quad alone."""
    sides = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    edges, uses = np.unique(sides, axis=0, return_counts=True)
    return np.asarray(np.bincount(edges[uses == 1].ravel()) <= 2, np.bool_)


def test_a_part_that_hangs_together_by_a_vertex_gets_the_quads_round_it(make_square: Maker) -> None:
    mesh = make_square(6, 6)
    faces = np.array([7, 14, 21])  # on a diagonal
    assert not fans(cut_part(mesh, faces)[0].quads).all()
    closed = close_fans(mesh.quads, faces)
    assert set(faces.tolist()) < set(closed.tolist()) and len(closed) < len(mesh.quads)
    part, _ = cut_part(mesh, closed)
    assert fans(part.quads).all()
    np.testing.assert_array_equal(close_fans(mesh.quads, np.array([7, 8, 13])), [7, 8, 13])
