"""Evening out: the laws that hold on every mesh, and known best places."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from loopwright.errors import Cancelled
from loopwright.fit.fit_limit import fit_limit
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.mend_worst import face_quality
from loopwright.fit.reflect import reflect_half
from loopwright.fit.relax import RelaxOptions, _freed, relax, take_back_poor
from loopwright.fit.relax_state import RelaxState
from loopwright.fit.unfold import count_folded, is_folded, lack, snapshot
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Curve, FloatArray, MirrorPlane, QuadMesh

Maker = Callable[..., QuadMesh]


def jitter(mesh: QuadMesh, amount: float, seed: int = 0) -> QuadMesh:
    """Move every vertex that is not fixed by up to ``amount`` in each coordinate."""
    shift = np.random.default_rng(seed).uniform(-amount, amount, mesh.positions.shape)
    shift[mesh.is_fixed] = 0.0
    moved = mesh.positions + shift
    if mesh.mirror is not None:
        moved[~mesh.on_mirror, 0] = np.maximum(moved[~mesh.on_mirror, 0], 1e-4)
    return replace(mesh, positions=moved)


def test_jittered_grid_on_a_square_becomes_even_again(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    # Known best: all quads equal squares.
    mesh = make_square(12, 12)
    relaxed = relax(jitter(mesh, 0.4 / 6 * 0.9), plane_sculpt)
    assert measure_quality(relaxed.positions, relaxed.quads).scaled_jacobian.min() > 0.995
    assert np.abs(relaxed.positions - mesh.positions).max() < 0.25 / 6
    assert np.array_equal(relaxed.positions[mesh.is_fixed], mesh.positions[mesh.is_fixed])


def test_rectangles_may_stay_rectangles(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    # Aspect follows from the counts: 20 x 8 on a square must not be bent towards squares.
    mesh = make_square(20, 8)
    relaxed = relax(mesh, plane_sculpt)
    assert measure_quality(relaxed.positions, relaxed.quads).scaled_jacobian.min() > 0.99


def test_curve_vertices_stay_on_their_curve_and_in_order(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    mesh = make_square(12, 9)
    relaxed = relax(jitter(mesh, 0.08, seed=5), plane_sculpt)
    for index, axis in ((0, 1), (1, 0), (2, 1), (3, 0)):
        side = np.flatnonzero(mesh.vertex_curve == index)
        level = mesh.positions[side][0, axis]
        assert np.abs(relaxed.positions[side, axis] - level).max() < 1e-12
        before, after = mesh.positions[side, 1 - axis], relaxed.positions[side, 1 - axis]
        assert np.array_equal(np.argsort(before), np.argsort(after))


def test_vertices_that_lie_out_of_order_on_a_closed_curve_are_sorted(plane_sculpt: SurfaceProjector) -> None:
    # A ring of quads between two circles, the outer vertices shuffled a little past one another.
    n = 24
    turn = 2 * np.pi * np.arange(n) / n
    outer = turn + np.random.default_rng(2).uniform(-0.2, 0.2, n)
    rings = [np.stack([r * np.cos(t), r * np.sin(t), 0 * t], axis=1) for r, t in ((1.5, outer), (1.0, turn))]
    ids = np.arange(n)
    onward = (ids + 1) % n
    quads = np.stack([ids, onward, onward + n, ids + n], axis=1).astype(np.int32)
    fine = 2 * np.pi * np.arange(500) / 500
    circles = tuple(Curve(np.stack([r * np.cos(fine), r * np.sin(fine), 0 * fine], axis=1), True) for r in (1.5, 1.0))
    mesh = QuadMesh(
        np.vstack(rings),
        quads,
        np.zeros(n, np.int32),
        (),
        np.repeat([0, 1], n).astype(np.int32),
        circles,
        np.zeros(2 * n, bool),
        np.zeros(2 * n, bool),
    )
    relaxed = relax(mesh, plane_sculpt)
    angle = np.unwrap(np.arctan2(relaxed.positions[:n, 1], relaxed.positions[:n, 0]))
    step = np.diff(angle)
    assert (step > 0.0).all()
    assert step.max() / step.min() < 1.5
    assert np.allclose(np.linalg.norm(relaxed.positions[:n], axis=1), 1.5, atol=1e-4)


@pytest.mark.parametrize("seed", range(3))
def test_badly_placed_sphere_recovers(make_sphere: Maker, sphere_sculpt: SurfaceProjector, seed: int) -> None:
    mesh = make_sphere(10)
    edge = np.pi / 2 / 10
    messy = jitter(mesh, 0.4 * edge, seed)
    before = measure_quality(messy.positions, messy.quads)
    relaxed = relax(messy, sphere_sculpt)
    after = measure_quality(relaxed.positions, relaxed.quads)
    assert before.scaled_jacobian.mean() < 0.93
    # Three equal angles of 120 degrees at a pole of valence three: the best a quad there can have is sin 120.
    assert after.scaled_jacobian.mean() > 0.95
    assert after.scaled_jacobian.min() > 0.7
    assert np.abs(np.linalg.norm(relaxed.positions, axis=1) - 1.0).max() < 2e-4


def test_poles_spread_their_angles(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    mesh = make_sphere(10)
    relaxed = relax(jitter(mesh, 0.05, 1), sphere_sculpt)
    valence = np.bincount(mesh.quads.ravel())
    for pole in np.flatnonzero(valence == 3):
        rows, columns = np.nonzero(mesh.quads == pole)
        a = relaxed.positions[mesh.quads[rows, (columns + 1) % 4]] - relaxed.positions[pole]
        b = relaxed.positions[mesh.quads[rows, (columns + 3) % 4]] - relaxed.positions[pole]
        cosine = np.einsum("ij,ij->i", a, b) / np.linalg.norm(a, axis=1) / np.linalg.norm(b, axis=1)
        assert np.abs(np.degrees(np.arccos(cosine)) - 120.0).max() < 8.0


def test_folded_quads_unfold(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    mesh = make_square(8, 8)
    moved = mesh.positions.copy()
    inner = np.flatnonzero((np.abs(moved[:, :2]) < 0.9).all(axis=1))
    moved[inner[20]] += [0.6, 0.4, 0.0]  # more than two quads over
    messy = replace(mesh, positions=moved)
    assert measure_quality(messy.positions, messy.quads).scaled_jacobian.min() < 0.0
    relaxed = relax(messy, plane_sculpt)
    up = np.tile([0.0, 0.0, 1.0], (len(moved), 1))
    assert face_quality(relaxed.positions, relaxed.quads, up).min() > 0.9


def test_half_stays_half_and_its_whole_is_smooth_across(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    half = make_sphere(10, half=True)
    relaxed = relax(jitter(half, 0.03), sphere_sculpt)
    assert (relaxed.positions[half.on_mirror, 0] == 0.0).all()
    assert (relaxed.positions[~half.on_mirror, 0] > 0.0).all()
    whole = reflect_half(relaxed)
    report = measure_quality(whole.positions, whole.quads)
    near = (np.abs(whole.positions[whole.quads][:, :, 0]) < 1e-12).any(axis=1)
    assert report.scaled_jacobian[near].min() > 0.8
    assert np.abs(np.linalg.norm(whole.positions, axis=1) - 1.0).max() < 2e-4


def test_turning_scaling_and_shifting_change_nothing(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    mesh = jitter(make_sphere(6), 0.05)
    turn = np.linalg.qr(np.random.default_rng(7).normal(size=(3, 3)))[0]
    turn *= 20.0 * np.sign(np.linalg.det(turn))

    def place(points: FloatArray) -> FloatArray:
        placed: FloatArray = points @ turn + [5.0, -3.0, 40.0]
        return placed

    moved_sculpt = SurfaceProjector(place(sphere_sculpt.positions), sphere_sculpt.triangles)
    here = relax(mesh, sphere_sculpt).positions
    there = relax(replace(mesh, positions=place(mesh.positions)), moved_sculpt).positions
    assert np.abs(there - place(here)).max() < 20.0 * 1e-3


def test_it_is_deterministic_and_leaves_its_input_alone(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    mesh = jitter(make_sphere(6, half=True), 0.05)
    before = mesh.positions.copy()
    assert np.array_equal(relax(mesh, sphere_sculpt).positions, relax(mesh, sphere_sculpt).positions)
    assert np.array_equal(mesh.positions, before)


def test_progress_runs_to_one_and_may_cancel(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    told: list[float] = []
    relax(make_sphere(4), sphere_sculpt, options=RelaxOptions(rounds=5), progress=lambda _, done: told.append(done))
    assert told == sorted(told)
    assert told[-1] == 1.0

    def stop(stage: str, done: float) -> None:
        raise Cancelled(stage)

    with pytest.raises(Cancelled):
        relax(make_sphere(4), sphere_sculpt, progress=stop)


def test_an_empty_mesh_comes_back(sphere_sculpt: SurfaceProjector) -> None:
    nothing = QuadMesh(
        np.zeros((0, 3)),
        np.zeros((0, 4), np.int32),
        np.zeros(0, np.int32),
        (),
        np.zeros(0, np.int32),
        (),
        np.zeros(0, bool),
        np.zeros(0, bool),
        MirrorPlane(np.array([1.0, 0, 0]), 0.0),
    )
    assert len(relax(nothing, sphere_sculpt).quads) == 0


def odd_meshes(mesh: QuadMesh, half: QuadMesh) -> dict[str, QuadMesh]:
    """Return meshes that the stages before should not make, but might."""
    n = len(mesh.positions)
    one = Curve(mesh.positions[:1], True)
    turn = np.linspace(0, 2 * np.pi, 100, endpoint=False)
    meridian = Curve(np.stack([0 * turn, np.cos(turn), np.sin(turn)], axis=1), True)
    first = np.where(np.arange(n) == 0, 0, -1).astype(np.int32)
    return {
        "one quad, the other vertices unused": replace(mesh, quads=mesh.quads[:1], quad_region=mesh.quad_region[:1]),
        "curve of one point": replace(mesh, curves=(one,), vertex_curve=first),
        "all in one point": replace(mesh, positions=np.tile(mesh.positions[:1], (n, 1))),
        "vertices jumbled": replace(mesh, positions=np.random.default_rng(0).permutation(mesh.positions)),
        "all fixed": replace(mesh, is_fixed=np.ones(n, bool)),
        "curve in the mirror plane": replace(
            half, curves=(meridian,), vertex_curve=np.where(half.on_mirror, 0, -1).astype(np.int32)
        ),
    }


@pytest.mark.parametrize(
    "name",
    [
        "one quad, the other vertices unused",
        "curve of one point",
        "all in one point",
        "vertices jumbled",
        "all fixed",
        "curve in the mirror plane",
    ],
)
def test_odd_meshes_come_back_finite(make_sphere: Maker, sphere_sculpt: SurfaceProjector, name: str) -> None:
    mesh = odd_meshes(make_sphere(4), make_sphere(4, half=True))[name]
    relaxed = relax(mesh, sphere_sculpt, options=RelaxOptions(rounds=6))
    fitted, report = fit_limit(relaxed, sphere_sculpt)
    assert np.isfinite(fitted.positions).all()
    assert report.after.rms <= report.before.rms + 1e-12
    if mesh.mirror is not None:
        assert (fitted.positions[mesh.on_mirror, 0] == 0.0).all()


def test_a_mended_border_vertex_stays_where_it_was_put(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    mesh = make_square(6, 6)
    state = RelaxState(mesh, plane_sculpt, RelaxOptions())
    row = int(np.flatnonzero((state.slide.curve == 0) & (np.abs(state.slide.positions()[:, 0]) < 0.4))[1])
    state.slide.along[row] = state.slide.along[row - 1] + 0.02
    vertex = state.slide.vertices[row]
    state.positions[vertex] = state.slide.positions()[row]
    before = state.least_quality()
    state.mend()
    assert state.least_quality() > before + 0.1
    riders = state.slide.vertices
    assert np.abs(state.positions[riders] - state.slide.positions()).max() < 1e-12


def test_poor_quads_go_back_to_where_they_were_better(
    make_square: Maker, plane_sculpt: SurfaceProjector, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(RelaxState, "mend", lambda *_: None)  # what putting back does alone
    state = RelaxState(make_square(16, 16), plane_sculpt, RelaxOptions())
    start = snapshot(state)
    x, y, _ = state.positions.T
    state.positions = state.positions.copy()
    state.positions[:, 0] -= state.is_free * (1 - y**2) * np.sin(np.pi * x) / np.pi
    pressed = lack(state, 0.3)
    assert is_folded(state, 0.2).any()
    assert count_folded(state)[0] == 0
    take_back_poor(state, start)
    assert lack(state, 0.3) < 0.1 * pressed
    assert count_folded(state)[0] == 0


def test_good_quads_stay_where_they_are(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    mesh = make_square(8, 8)
    state = RelaxState(jitter(mesh, 0.02), plane_sculpt, RelaxOptions())
    kept = state.positions.copy()
    take_back_poor(state, snapshot(RelaxState(mesh, plane_sculpt, RelaxOptions())))
    assert np.array_equal(state.positions, kept)


def meeting(make_square: Maker, *, are_junctions: bool) -> tuple[QuadMesh, list[int]]:
    """A square with a line across, on which two neighbours are fixed and all but meet: the quads between are flat."""
    square = make_square(8, 8)
    row = np.flatnonzero(np.abs(square.positions[:, 1]) < 1e-9)
    row = row[np.argsort(square.positions[row, 0])]
    first, second = row[3], row[4]
    positions, curve, fixed = square.positions.copy(), square.vertex_curve.copy(), square.is_fixed.copy()
    positions[second] = positions[first] + (1e-5, 0.0, 0.0)
    parts = [row[:4], row[3:5], row[4:]] if are_junctions else [row]
    curve[row], fixed[[first, second]] = len(square.curves), True
    if are_junctions:
        curve[row[5:]] += 2
    curves = (*square.curves, *(Curve(positions[part], False) for part in parts))
    mesh = replace(square, positions=positions, curves=curves, vertex_curve=curve, is_fixed=fixed)
    return mesh, [int(first), int(second)]


def test_junctions_that_fold_quads_leave_their_curves_in_the_end(
    make_square: Maker, plane_sculpt: SurfaceProjector
) -> None:
    mesh, pair = meeting(make_square, are_junctions=True)
    folded = RelaxState(mesh, plane_sculpt, RelaxOptions())
    assert count_folded(folded)[0] > 0
    freed = _freed(folded, 1, lambda stage, done: None)
    assert count_folded(freed)[0] == 0
    assert freed.let_off[pair].all()
    others = mesh.is_fixed.copy()
    others[pair] = False
    assert np.array_equal(freed.positions[others], mesh.positions[others])


def test_held_places_stay_even_where_they_fold_quads(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    mesh, pair = meeting(make_square, are_junctions=False)  # no curve ends there
    relaxed = relax(mesh, plane_sculpt)
    assert np.array_equal(relaxed.positions[pair], mesh.positions[pair])
    assert (relaxed.vertex_curve[pair] >= 0).all()
