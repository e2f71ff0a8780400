"""The last touch wins quads for their paint and mends poor ones, and breaks nothing by it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from tests.fit.painted_board import Maker, bulge, painted, slip, two_regions

from loopwright.fit import touch_up as last
from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.paint_index import PaintIndex
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.reach_tips import find_tips
from loopwright.fit.search_places import LOST
from loopwright.fit.slide_curves import lay_curves
from loopwright.fit.touch_up import touch_up, undo_crossings
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, Curve, FloatArray, MirrorPlane, Paint, QuadMesh

SEED = 11
LEAST = 0.3  # the quality that no quad falls below by the last touch


BoardMaker = Callable[[float, float], SurfaceProjector]
Stroke = Callable[[FloatArray], BoolArray]


@pytest.fixture(scope="module")
def board(make_board: BoardMaker) -> SurfaceProjector:
    return make_board(1.2, 1.2)


def sampler_of(mesh: QuadMesh, board: SurfaceProjector, paint: Paint) -> PaintSampler:
    return PaintSampler(mesh, paint, PaintIndex(board.positions, paint, board.triangles))


def lost_quads(mesh: QuadMesh, sampler: PaintSampler) -> BoolArray:
    lost: BoolArray = sampler.lead(mesh.positions)[0] < LOST
    return lost


def shaken(mesh: QuadMesh, share: float) -> QuadMesh:
    """Return a grid with its free vertices moved at random, those on curves along them, by a share of an edge."""
    rng = np.random.default_rng(SEED)
    edge = 2.0 / np.sqrt(len(mesh.quads))
    step = share * edge * rng.uniform(-1.0, 1.0, mesh.positions.shape)
    step[:, 2] = 0.0
    lines = lay_curves(mesh.curves)
    for index in range(len(mesh.curves)):
        on = mesh.vertex_curve == index
        start, end = (lines.position(np.array([index]), np.array([at]))[0] for at in (0.0, lines.length[index]))
        along = (end - start) / np.linalg.norm(end - start)
        step[on] = (step[on] @ along)[:, None] * along
    step[mesh.is_fixed] = 0.0
    return replace(mesh, positions=mesh.positions + step)


def quality(mesh: QuadMesh) -> FloatArray:
    return measure_quality(mesh.positions, mesh.quads).scaled_jacobian


def on_rim(mesh: QuadMesh) -> BoolArray:
    found: BoolArray = np.abs(mesh.positions[:, :2]).max(axis=1) == 1.0
    return found


@pytest.mark.parametrize("stray", [slip, bulge])
def test_lost_quads_are_won_and_no_other_is_lost(make_square: Maker, board: SurfaceProjector, stray: Stroke) -> None:
    mesh = two_regions(make_square, 20)
    sampler = sampler_of(mesh, board, painted(board, stray, 2 if stray is slip else 0))
    assert lost_quads(mesh, sampler).any()
    out = touch_up(mesh, board, sampler)
    assert not lost_quads(out, sampler).any()
    assert quality(out).min() > LEAST
    assert np.array_equal(out.quads, mesh.quads)
    assert np.abs(out.positions[:, 2]).max() < 1e-9  # on the board still


@pytest.mark.parametrize("stray", [slip, bulge])
def test_what_is_won_is_won_surely(make_square: Maker, board: SurfaceProjector, stray: Stroke) -> None:
    mesh = two_regions(make_square, 16)
    sampler = sampler_of(mesh, board, painted(board, stray, 2 if stray is slip else 0))
    assert sampler.lead(mesh.positions)[0].min() < LOST
    assert sampler.lead(touch_up(mesh, board, sampler).positions)[0].min() > 0.2


def test_what_is_held_stays_even_where_a_quad_beside_it_is_lost(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 20)
    sampler = sampler_of(mesh, board, painted(board, slip, 2))
    free = touch_up(mesh, board, sampler)
    moved = (free.positions != mesh.positions).any(axis=1)
    held = np.zeros(len(mesh.positions), bool)
    held[np.flatnonzero(moved)[0]] = True
    out = touch_up(replace(mesh, is_fixed=mesh.is_fixed | held), board, sampler, held)
    assert np.array_equal(out.positions[held], mesh.positions[held])
    assert (out.positions != mesh.positions).any()


def test_where_quads_lie_over_an_opening_their_rim_draws_back(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 20)
    sampler = sampler_of(mesh, board, painted(board, lambda p: (p[:, 0] > 0.9) & (np.abs(p[:, 1]) < 0.1), 2))
    assert sampler.are_over_openings(mesh.positions).sum() == 2
    out = touch_up(mesh, board, sampler)
    assert not sampler.are_over_openings(out.positions).any() and not lost_quads(out, sampler).any()
    left = on_rim(mesh) & ~on_rim(out)
    assert left.any() and (np.abs(mesh.positions[left] - [1.0, 0.0, 0.0]) < [0.01, 0.25, 0.01]).all()


def test_quads_that_cannot_be_won_stay_as_they_are(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 8)
    everywhere = painted(board, lambda p: np.ones(len(p), np.bool_), 2)
    out = touch_up(mesh, board, sampler_of(mesh, board, everywhere))
    assert np.array_equal(out.positions, mesh.positions)


def test_poor_quads_are_mended_and_sound_meshes_left_alone(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 16)
    assert np.array_equal(touch_up(mesh, board).positions, mesh.positions)
    poor = shaken(mesh, 0.45)
    out = touch_up(poor, board)
    before, after = quality(poor), quality(out)
    assert np.percentile(before, 5) < 0.65
    assert np.percentile(after, 5) > np.percentile(before, 5) + 0.1
    assert after.min() >= min(before.min(), LEAST)
    aspect = [np.percentile(measure_quality(m.positions, m.quads).aspect, 95) for m in (poor, out)]
    assert aspect[1] < aspect[0]


def test_bad_quads_are_mended_by_what_lies_on_borders_too(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 16)
    corner = int(np.linalg.norm(mesh.positions - [0.0, 0.125, 0.0], axis=1).argmin())
    positions, is_fixed = mesh.positions.copy(), mesh.is_fixed.copy()
    positions[corner, :2] += [0.119, 0.119]  # all but into the opposite corner of one quad
    is_fixed[np.linalg.norm(mesh.positions - mesh.positions[corner], axis=1) < 0.3] = True
    bad = replace(mesh, positions=positions, is_fixed=is_fixed)
    sampler = sampler_of(bad, board, painted(board, lambda p: np.zeros(len(p), np.bool_), 0))
    assert quality(bad).min() < LEAST
    out = touch_up(bad, board, sampler)  # though all round it are fixed
    assert quality(out).min() > 0.5
    assert not lost_quads(out, sampler).any()
    held = np.arange(len(positions)) == corner
    assert np.array_equal(touch_up(bad, board, sampler, held).positions[corner], positions[corner])
    assert np.array_equal(touch_up(bad, board).positions[is_fixed], positions[is_fixed])  # without paint they stay


def test_what_it_tells_of_its_progress_never_falls(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = shaken(two_regions(make_square, 20), 0.3)
    told: list[float] = []
    sampler = sampler_of(mesh, board, painted(board, slip, 2))
    touch_up(mesh, board, sampler, None, lambda stage, done: told.append(done))
    assert len(told) > 10
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_long_quads_are_evened_out_more_where_there_are_many(
    make_square: Maker, board: SurfaceProjector, monkeypatch: pytest.MonkeyPatch
) -> None:
    square, flat = shaken(two_regions(make_square, 16), 0.3), [1.0, 0.46, 1.0]
    curves = tuple(Curve(curve.points * flat, curve.closed) for curve in square.curves)
    uneven = replace(square, positions=square.positions * flat, curves=curves)

    def long(made: QuadMesh) -> float:
        return float((measure_quality(made.positions, made.quads).aspect > 2.5).mean())

    out = touch_up(uneven, board)
    monkeypatch.setattr(last, "MOST_LONG", 1.0)
    usual = touch_up(uneven, board)
    assert long(uneven) > 0.3
    assert long(out) < long(usual)
    assert quality(out).min() > LEAST


def test_meshes_with_much_other_paint_give_more_for_their_own(
    make_square: Maker, board: SurfaceProjector, monkeypatch: pytest.MonkeyPatch
) -> None:
    mesh = two_regions(make_square, 16)
    paint = painted(board, lambda p: np.zeros(len(p), np.bool_), 0)
    wavy = board.positions[:, 0] > 0.09 * np.sin(9.0 * board.positions[:, 1])
    sampler = sampler_of(mesh, board, replace(paint, color=wavy.astype(np.int32)))
    out = touch_up(mesh, board, sampler)
    monkeypatch.setattr(last, "_IMPURE", 1.0)
    usual = touch_up(mesh, board, sampler)
    before, less, more = (float(sampler.lead(made.positions)[0].mean()) for made in (mesh, usual, out))
    assert before < 0.96
    assert before < less < more - 0.002
    assert quality(out).min() > LEAST


def test_vertices_keep_to_curves_plane_and_places(make_square: Maker, board: SurfaceProjector) -> None:
    whole = shaken(two_regions(make_square, 16), 0.45)
    mirror = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)
    chosen = whole.positions[whole.quads].mean(axis=1)[:, 0] > 0
    used, local = np.unique(whole.quads[chosen], return_inverse=True)
    in_plane = whole.vertex_curve[used] == len(whole.curves) - 1
    half = replace(
        whole,
        positions=np.where(in_plane[:, None], whole.positions[used] * [0, 1, 1], whole.positions[used]),
        quads=local.reshape(-1, 4).astype(np.int32),
        quad_region=whole.quad_region[chosen],
        vertex_curve=np.where(in_plane, -1, whole.vertex_curve[used]).astype(np.int32),
        is_fixed=whole.is_fixed[used],
        on_mirror=in_plane,
        mirror=mirror,
    )
    for mesh in (whole, half):
        out = touch_up(mesh, board)
        moved = (out.positions != mesh.positions).any(axis=1)
        assert moved.any()
        assert not (moved & mesh.is_fixed).any()
        curves = lay_curves(mesh.curves)
        for index in np.unique(mesh.vertex_curve[mesh.vertex_curve >= 0]).tolist():
            assert curves.locate(index, out.positions[mesh.vertex_curve == index])[1].max() < 1e-9
        assert np.abs(out.positions[mesh.on_mirror, 0]).max(initial=0.0) < 1e-12
        assert np.array_equal(on_rim(out), on_rim(mesh))


def test_moves_through_other_quads_are_undone_there_alone(make_square: Maker, board: SurfaceProjector) -> None:
    low = make_square(12, 12)
    count = len(low.positions)
    both = replace(
        low,
        positions=np.vstack([low.positions, low.positions + [0.03, 0.02, 0.02]]),
        quads=np.vstack([low.quads, low.quads + count]).astype(np.int32),
        quad_region=np.tile(low.quad_region, 2),
        vertex_curve=np.tile(low.vertex_curve, 2),
        is_fixed=np.tile(low.is_fixed, 2),
        on_mirror=np.tile(low.on_mirror, 2),
    )
    away = np.abs(low.positions[:, :2] - [[0.5, 0.5]]).sum(axis=1)
    through, aside = int(away.argmin()), int(np.abs(low.positions[:, :2] + [[0.5, 0.5]]).sum(axis=1).argmin())
    moved = both.positions.copy()
    moved[through, 2] += 0.05
    moved[aside, 0] += 0.01
    assert len(CrossingFinder(fold_mirror(both)).find(both.positions)) == 0
    assert len(CrossingFinder(fold_mirror(both)).find(moved)) > 0
    out = undo_crossings(both, moved, board.project(both.positions).normals, board)
    assert np.array_equal(out[through], both.positions[through])
    assert np.array_equal(out[aside], moved[aside])
    assert len(CrossingFinder(fold_mirror(both)).find(out)) == 0


def test_a_tip_that_is_reached_stays_reached(make_square: Maker) -> None:
    """A thin spike: its quads are long, and mending them down its flank would cut it off."""
    rings, sectors = np.meshgrid(np.linspace(0.0, 1.2, 240) ** 1.5, np.linspace(0, 2 * np.pi, 120, endpoint=False))
    x, y = (rings * np.cos(sectors)).ravel(), (rings * np.sin(sectors)).ravel()
    points = np.stack([x, y, spike(x, y)], axis=1)
    ids = np.arange(120 * 240).reshape(120, 240)
    a, b, c, d = (p.ravel() for p in (ids[:, :-1], ids[:, 1:], np.roll(ids, -1, 0)[:, 1:], np.roll(ids, -1, 0)[:, :-1]))
    triangles = np.vstack([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]).astype(np.int32)
    sculpt = SurfaceProjector(points, triangles)
    flat = make_square(12, 12)
    x, y, _ = 0.8 * flat.positions.T
    mesh = replace(flat, positions=np.stack([x, y, spike(x, y)], axis=1))
    assert not find_tips(mesh, points[np.hypot(points[:, 0], points[:, 1]) < 0.7])
    out = touch_up(mesh, sculpt)
    assert out.positions[:, 2].max() == mesh.positions[:, 2].max()
    assert not find_tips(out, points[np.hypot(points[:, 0], points[:, 1]) < 0.7])


def spike(x: FloatArray, y: FloatArray) -> FloatArray:
    height: FloatArray = 0.6 * np.maximum(1.0 - np.hypot(x, y) / 0.2, 0.0)
    return height


def test_a_thin_wall_is_mended_on_its_own_side(make_square: Maker, make_board: BoardMaker) -> None:
    """Two sheets of a wall, the mesh of the one so far off it that the other is nearer; each quad stays sound."""
    front = make_board(1.2, 1.2)
    count, thin = len(front.positions), 0.02
    back = front.positions - [0, 0, thin]
    wall = SurfaceProjector(
        np.vstack([front.positions, back]), np.vstack([front.triangles, front.triangles[:, ::-1] + count])
    )
    poor = shaken(two_regions(make_square, 16), 0.3)
    mesh = replace(poor, positions=poor.positions - [0, 0, 0.7 * thin])
    out = touch_up(mesh, wall)
    assert (out.positions != mesh.positions).any()
    assert np.percentile(quality(out), 5) > np.percentile(quality(mesh), 5)
    assert quality(out).min() >= min(quality(mesh).min(), 0.5) - 1e-9
    assert np.ptp(out.positions[:, 2]) < 1e-9


def test_what_lies_on_a_drawn_line_stays_there_though_a_quad_is_lost(
    make_square: Maker, board: SurfaceProjector
) -> None:
    mesh = two_regions(make_square, 20)
    on_line = (np.abs(mesh.positions[:, 1] - 0.1) < 1e-9) & (mesh.vertex_curve < 0) & ~mesh.is_fixed
    line = Curve(np.array([[-1.0, 0.1, 0.0], [1.0, 0.1, 0.0]]), False)
    mesh = replace(
        mesh,
        curves=(*mesh.curves, line),
        vertex_curve=np.where(on_line, len(mesh.curves), mesh.vertex_curve).astype(np.int32),
    )
    sampler = sampler_of(mesh, board, painted(board, slip, 2))
    assert lost_quads(mesh, sampler).any()
    free, held = touch_up(mesh, board, sampler), touch_up(mesh, board, sampler, on_line)
    assert np.abs(free.positions[on_line, 1] - 0.1).max() > 0.0  # else this would show nothing
    assert np.array_equal(held.positions[on_line], mesh.positions[on_line])
