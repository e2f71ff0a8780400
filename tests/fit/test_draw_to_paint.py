"""Borders are drawn to the paint, and keep a vertex in their bends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from tests.fit.conftest import grid_quads, quad_mesh

from loopwright.fit.border_sides import NO_QUAD, SAME_COLOR, BorderSides, colors_beyond, find_border_sides
from loopwright.fit.draw_to_paint import _STIFFNESS, _smooth, draw_to_paint
from loopwright.fit.hold_bends import hold_bends
from loopwright.fit.keep_paint import keep_paint, paint_lead
from loopwright.fit.slide_curves import lay_curves
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Curve, FloatArray, IntArray, Paint, QuadMesh, Region

EDGE = 0.1
PALETTE = np.array([(200, 60, 60), (60, 60, 200)], np.uint8)
REGIONS = (Region("left", (200, 60, 60)), Region("right", (60, 60, 200)))


@pytest.fixture(scope="module")
def board(make_board: Callable[[float, float], SurfaceProjector]) -> SurfaceProjector:
    return make_board(1.2, 1.2)


def two_halves(reverse: bool = False) -> QuadMesh:
    """A board of 20 x 20 quads with a border along x = 0, from y = -1 to 1 or back."""
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 21), np.linspace(-1, 1, 21)))
    line = np.stack([np.zeros(41), np.linspace(-1, 1, 41), np.zeros(41)], axis=1)
    points = np.stack([x, y, 0 * x], axis=1)
    rim = np.flatnonzero(np.maximum(np.abs(x), np.abs(y)) > 1 - 1e-9).tolist()
    on_border = (np.abs(x) < 1e-9) & (np.abs(y) < 1 - 1e-9)
    curve = Curve(line[::-1].copy() if reverse else line, False)
    quads = grid_quads(21, 21)
    made = quad_mesh(points, quads, curves=(curve,), vertex_curve=np.where(on_border, 0, -1), fixed=rim)
    region = (points[quads].mean(axis=1)[:, 0] > 0).astype(np.int32)
    return replace(made, quad_region=region, regions=REGIONS)


def paint_border(y: FloatArray) -> FloatArray:
    """Where the paint ends: a bump to the right, as deep as most of a quad, between y = -0.3 and 0.3."""
    return np.asarray(0.08 * np.exp(-((np.abs(y) / 0.25) ** 6)), np.float64)


def color_at(points: FloatArray) -> list[IntArray]:
    return [(points[:, 0] > paint_border(points[:, 1])).astype(np.int32)]


def sides_of(mesh: QuadMesh) -> BorderSides:
    own = mesh.quad_region.astype(np.int64)
    near = np.ones(len(mesh.positions), np.bool_)
    return find_border_sides(mesh, near, own, colors_beyond(mesh.quads, own), lay_curves(mesh.curves))


def test_colors_beyond_are_those_of_the_quads_that_share_the_side() -> None:
    mesh = two_halves()
    own = np.random.default_rng(3).integers(0, 3, len(mesh.quads))
    beyond = colors_beyond(mesh.quads, own)
    owner: dict[tuple[int, int], int] = {}
    for quad, corners in enumerate(mesh.quads.tolist()):
        for k in range(4):
            owner[corners[k], corners[(k + 1) % 4]] = quad
    for quad, corners in enumerate(mesh.quads.tolist()):
        for k in range(4):
            other = owner.get((corners[(k + 1) % 4], corners[k]))
            same = other is not None and own[other] == own[quad]
            expected = NO_QUAD if other is None else SAME_COLOR if same else own[other]
            assert beyond[quad, k] == expected


@pytest.mark.parametrize("reverse", [False, True])
def test_sides_know_what_is_left_and_right_of_the_curve(reverse: bool) -> None:
    sides = sides_of(two_halves(reverse))
    assert len(sides.curve) == 20
    assert (sides.colors == ([1, 0] if reverse else [0, 1])).all()
    np.testing.assert_allclose(sides.along[:, 1] - sides.along[:, 0], EDGE)
    np.testing.assert_allclose(sides.depths, EDGE)


@pytest.mark.parametrize("reverse", [False, True])
def test_a_border_is_drawn_to_the_paint_and_only_there(board: SurfaceProjector, reverse: bool) -> None:
    mesh = two_halves(reverse)
    (drawn,) = draw_to_paint(mesh, sides_of(mesh), lay_curves(mesh.curves), color_at, board)
    x, y = drawn.points[:, 0], drawn.points[:, 1]
    inside, outside = np.abs(y) < 0.15, np.abs(y) > 0.45
    assert inside.sum() > 5
    assert np.abs(x[inside] - 0.08).max() < 0.35 * EDGE  # it was off by 0.8 of an edge
    assert np.abs(x[outside]).max() < 0.05 * EDGE
    assert np.array_equal(drawn.points[[0, -1]], mesh.curves[0].points[[0, -1]])
    assert (np.diff(y) * (-1 if reverse else 1) > 0).all()


def test_a_border_in_its_paint_stays_as_it_is(board: SurfaceProjector) -> None:
    mesh = two_halves()

    def nearly(points: FloatArray) -> list[IntArray]:
        return [(points[:, 0] > 0.08 * EDGE * np.sin(9 * points[:, 1])).astype(np.int32)]

    (drawn,) = draw_to_paint(mesh, sides_of(mesh), lay_curves(mesh.curves), nearly, board)
    assert drawn is mesh.curves[0]


def test_quads_get_their_paint_without_growing_far(board: SurfaceProjector) -> None:
    mesh = two_halves()
    paint = Paint(PALETTE, color_at(board.positions)[0])
    assert (paint_lead(mesh, board, paint) < 0).sum() >= 4
    kept = keep_paint(mesh, board, paint).mesh
    assert (paint_lead(kept, board, paint) > 0).all()
    corners = kept.positions[kept.quads]
    edges = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    assert (edges.max(axis=1) / edges.min(axis=1)).max() < 2.0
    assert np.array_equal(kept.is_fixed, mesh.is_fixed)


def test_a_vertex_is_held_in_a_sharp_bend_and_none_where_the_border_is_straight() -> None:
    mesh = two_halves()
    apex = np.array([0.06, 0.03, 0.0])  # where it turns by a right angle
    fine = np.concatenate([np.linspace(-1, -0.1, 10), np.linspace(-0.09, 0.15, 25), np.linspace(0.2, 1, 9)])
    bent = np.stack([np.maximum(0.0, 0.06 - np.abs(fine - 0.03)), fine, 0 * fine], axis=1)
    crooked = replace(mesh, curves=(Curve(bent, False),))
    positions, held = hold_bends(crooked, sides_of(crooked), lay_curves(crooked.curves))
    assert np.linalg.norm(positions[held] - apex, axis=1).min() < 0.15 * EDGE
    assert held.sum() <= 3  # the two ends of the bump bend as well
    assert (mesh.vertex_curve[held] == 0).all()
    _, held = hold_bends(mesh, sides_of(mesh), lay_curves(mesh.curves))
    assert not held.any()


def test_a_closed_border_is_drawn_across_its_first_point(board: SurfaceProjector) -> None:
    turn, radius = np.meshgrid(np.arange(24) * 2 * np.pi / 24, np.linspace(0.3, 0.7, 5))
    ids = np.arange(24 * 5).reshape(5, 24)
    after = np.roll(ids, -1, axis=1)
    quads = np.stack([ids[:-1], ids[1:], after[1:], after[:-1]], axis=-1).reshape(-1, 4)
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn), 0 * turn], axis=-1).reshape(-1, 3)
    around = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    ring = 0.5 * np.stack([np.cos(around), np.sin(around), 0 * around], axis=1)
    slides = np.abs(np.linalg.norm(points, axis=1) - 0.5) < 1e-9
    made = quad_mesh(points, quads.astype(np.int32), curves=(Curve(ring, True),), vertex_curve=np.where(slides, 0, -1))
    region = (np.linalg.norm(points[quads].mean(axis=1), axis=1) > 0.5).astype(np.int32)
    mesh = replace(made, quad_region=region, regions=REGIONS)

    def colors(spots: FloatArray) -> list[IntArray]:
        angle = np.arctan2(spots[:, 1], spots[:, 0])
        return [(np.linalg.norm(spots, axis=1) > np.where(np.abs(angle) < 0.6, 0.58, 0.5)).astype(np.int32)]

    (drawn,) = draw_to_paint(mesh, sides_of(mesh), lay_curves(mesh.curves), colors, board)
    assert drawn.closed
    angle = np.arctan2(drawn.points[:, 1], drawn.points[:, 0])
    far = np.linalg.norm(drawn.points, axis=1)
    assert far[np.abs(angle) < 0.35].min() > 0.54  # across the first point, at angle 0
    assert np.abs(far[np.abs(angle) > 1.0] - 0.5).max() < 0.01
    steps = np.linalg.norm(np.roll(drawn.points, -1, axis=0) - drawn.points, axis=1)
    assert steps.max() < 0.1


@pytest.mark.parametrize("is_closed", [False, True])
def test_shifts_are_smoothed_as_the_dense_equations_say(is_closed: bool) -> None:
    target = np.random.default_rng(5).normal(size=60)
    bend = -2.0 * np.eye(60) + np.eye(60, k=1) + np.eye(60, k=-1)
    if is_closed:
        bend[0, -1] = bend[-1, 0] = 1.0
    dense = np.linalg.solve(np.eye(60) + _STIFFNESS * bend.T @ bend, target)
    np.testing.assert_allclose(_smooth(target, is_closed), dense, atol=1e-4)
    weight = np.where(np.arange(60) % 7 < 3, 10.0, 1.0)
    dense = np.linalg.solve(np.diag(weight) + _STIFFNESS * bend.T @ bend, weight * target)
    np.testing.assert_allclose(_smooth(target, is_closed, weight), dense, atol=1e-4)


def test_edges_at_junctions_count_whatever_curve_the_junction_has_the_number_of() -> None:
    mesh = two_halves()
    middle = int(np.linalg.norm(mesh.positions, axis=1).argmin())
    across = Curve(np.array([[0.0, 0, 0], [1, 0, 0]]), False)  # ends at the border, where a vertex has its number
    curve = mesh.vertex_curve.copy()
    curve[middle] = 1
    joined = replace(
        mesh,
        curves=(*mesh.curves, across),
        vertex_curve=curve,
        is_fixed=mesh.is_fixed | (np.arange(len(curve)) == middle),
    )
    sides = sides_of(joined)
    assert len(sides.curve) == len(sides_of(mesh).curve) == 20
    assert (sides.curve == 0).all()


def test_a_vertex_held_on_a_border_keeps_the_border_to_it(board: SurfaceProjector) -> None:
    mesh = two_halves()
    middle = int(np.linalg.norm(mesh.positions, axis=1).argmin())
    held = replace(mesh, is_fixed=mesh.is_fixed | (np.arange(len(mesh.positions)) == middle))
    curves = lay_curves(mesh.curves)
    (free,) = draw_to_paint(mesh, sides_of(mesh), curves, color_at, board)
    (drawn,) = draw_to_paint(held, sides_of(held), curves, color_at, board)
    gap = [float(lay_curves((c,)).locate(0, np.zeros((1, 3)))[1][0]) for c in (free, drawn)]
    assert gap[0] > 0.3 * EDGE
    assert gap[1] < 0.1 * EDGE
    assert np.abs(drawn.points[:, 0]).max() > 0.3 * EDGE  # beyond an edge from it the border follows the paint
