"""Unfolding: folded quads are freed, borders left only where they must be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import check_grad

from loopwright.fit.fold_barrier import Barrier
from loopwright.fit.measure_quality import corner_sines
from loopwright.fit.relax import RelaxOptions, relax
from loopwright.fit.relax_state import RelaxState
from loopwright.fit.unfold import count_folded, is_folded, loosen, put_back, snapshot, unfold
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Curve, FloatArray, QuadMesh

Maker = Callable[..., QuadMesh]


def scramble(mesh: QuadMesh, seed: int, reach: float) -> QuadMesh:
    """Move every free vertex anywhere within ``reach``."""
    shift = np.random.default_rng(seed).uniform(-reach, reach, mesh.positions.shape)
    shift[mesh.is_fixed | (mesh.vertex_curve >= 0)] = 0.0
    return replace(mesh, positions=mesh.positions + shift)


def least_sine(positions: FloatArray, mesh: QuadMesh) -> float:
    return float(corner_sines(positions, mesh.quads).min())


@pytest.mark.parametrize("seed", range(4))
def test_a_scrambled_square_is_free_of_folds(make_square: Maker, plane_sculpt: SurfaceProjector, seed: int) -> None:
    mesh = scramble(make_square(8, 8), seed, 0.6)
    state = RelaxState(mesh, plane_sculpt, RelaxOptions())
    assert count_folded(state)[0] > 5
    assert unfold(state)
    assert count_folded(state)[0] == 0
    assert least_sine(state.positions, mesh) > 0.0
    assert np.array_equal(state.positions[mesh.is_fixed], mesh.positions[mesh.is_fixed])


def test_a_scrambled_patch_of_a_sphere_is_free_of_folds(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    mesh = make_sphere(12)
    cap = mesh.positions[:, 2] > 0.6
    shift = np.where(cap[:, None], np.random.default_rng(1).uniform(-0.25, 0.25, mesh.positions.shape), 0.0)
    moved = mesh.positions + shift
    mesh = replace(mesh, positions=moved / np.linalg.norm(moved, axis=1, keepdims=True))
    state = RelaxState(mesh, sphere_sculpt, RelaxOptions())
    assert count_folded(state)[0] > 3
    unfold(state)
    assert count_folded(state)[0] == 0
    assert np.abs(np.linalg.norm(state.positions, axis=1) - 1.0).max() < 1e-3


def test_nothing_moves_where_nothing_is_folded(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    mesh = scramble(make_square(8, 8), 0, 0.02)
    state = RelaxState(mesh, plane_sculpt, RelaxOptions())
    before = state.positions.copy()
    assert not unfold(state)
    assert np.array_equal(state.positions, before)


def test_the_gradient_is_that_of_the_energy(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    # held against finite differences (scipy.optimize.check_grad)
    mesh = scramble(make_square(5, 5), 3, 0.3)
    state = RelaxState(mesh, plane_sculpt, RelaxOptions())
    bases, _ = state.bases(np.ones(len(mesh.positions)))
    chosen = np.flatnonzero(state.is_free)
    state.let_off[chosen[:4]] = True
    held = state.let_off[chosen]
    energy = Barrier(state.positions, state.normals, mesh.quads, chosen, bases[chosen], state.home[chosen], held)
    step = np.random.default_rng(0).normal(0, 0.05, 2 * len(chosen))
    energy.soften(step)
    error = check_grad(lambda x: energy(x)[0], lambda x: energy(x)[1], step, epsilon=1e-7)
    assert error < 1e-4 * np.linalg.norm(energy(step)[1])


def bent_back(make_square: Maker) -> QuadMesh:
    """A square whose lower border turns back on itself at a vertex where one quad should have its corner."""
    mesh = make_square(7, 7)
    corner = int(np.abs(mesh.positions - [-1.0, -1.0, 0.0]).sum(axis=1).argmin())
    positions = mesh.positions.copy()
    positions[corner] = [0.3, 0.3, 0.0]
    curves = []
    for old in mesh.curves:
        points = old.points.copy()
        points[np.abs(points - [-1.0, -1.0, 0.0]).sum(axis=1) < 1e-9] = positions[corner]
        curves.append(Curve(points, False))
    curve = mesh.vertex_curve.copy()
    curve[corner] = 0
    return replace(mesh, positions=positions, curves=tuple(curves), vertex_curve=curve)


def test_a_corner_that_is_no_corner_is_let_off(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    mesh = bent_back(make_square)
    state = RelaxState(mesh, plane_sculpt, RelaxOptions())
    unfold(state)
    assert count_folded(state)[0] > 0, "the corner must be folded as long as it is held"
    made = relax(mesh, plane_sculpt)
    assert least_sine(made.positions, mesh) > 0.0
    off = (mesh.vertex_curve >= 0) & (made.vertex_curve < 0)
    assert 1 <= off.sum() <= 8
    far = np.asarray((mesh.positions == 1.0).any(axis=1))
    assert not off[far].any(), "borders elsewhere are kept"


def test_a_pinned_vertex_is_not_let_off(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    mesh = bent_back(make_square)
    pinned = int(np.abs(mesh.positions - [-1.0, -1.0 / 3, 0.0]).sum(axis=1).argmin())
    held = mesh.is_fixed.copy()
    held[pinned] = True
    mesh = replace(mesh, is_fixed=held)
    state = RelaxState(mesh, plane_sculpt, RelaxOptions())
    loosen(state)
    assert not state.let_off[pinned]
    assert np.array_equal(state.positions[pinned], mesh.positions[pinned])


def test_vertices_put_back_are_where_they_were(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    state = RelaxState(scramble(make_square(12, 9), 3, 0.9), plane_sculpt, RelaxOptions())
    before = snapshot(state)
    state.advance(0.3)
    after = state.positions.copy()
    chosen = np.arange(len(after)) % 3 == 0
    put_back(state, before, chosen)
    assert np.array_equal(state.positions[chosen], before[0][chosen])
    assert np.array_equal(state.positions[~chosen], after[~chosen])
    assert (after[chosen] != before[0][chosen]).any()


def test_the_count_of_folded_quads_is_that_of_the_marked_ones(
    make_square: Maker, plane_sculpt: SurfaceProjector
) -> None:
    state = RelaxState(scramble(make_square(12, 9), 5, 0.9), plane_sculpt, RelaxOptions())
    assert is_folded(state).sum() == count_folded(state)[0] > 0
    unfold(state)
    assert not is_folded(state).any()
