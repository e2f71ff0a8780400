"""Badly shaped quads are drawn towards rectangles while the limit surface is laid on the sculpt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from tests.fit.conftest import grid_quads, quad_mesh

from loopwright.fit.fit_limit import FitOptions, fit_limit
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.shape_energy import build_shape_energy
from loopwright.fit.shape_pull import ShapePull, build_shape_pull
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import FloatArray, QuadMesh

Maker = Callable[..., QuadMesh]


def square(count: int) -> QuadMesh:
    line = np.linspace(-1.0, 1.0, count + 1)
    x, y = np.meshgrid(line, line)
    return quad_mesh(np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)]), grid_quads(count + 1, count + 1))


def pull_on(mesh: QuadMesh, normals: FloatArray) -> ShapePull:
    fold = fold_mirror(mesh)
    energy = build_shape_energy(mesh, fold)
    strength = np.ones(len(mesh.quads))
    return build_shape_pull(energy, mesh.positions, fold.unfold_points(mesh.positions), normals, strength)


def sheared(mesh: QuadMesh, amount: float) -> QuadMesh:
    positions = mesh.positions.copy()
    positions[:, 0] += amount * positions[:, 1]
    return replace(mesh, positions=positions)


def upward(mesh: QuadMesh) -> FloatArray:
    return np.tile([0.0, 0.0, 1.0], (len(mesh.positions), 1))


def test_rectangles_are_not_drawn() -> None:
    mesh = square(6)
    pull = pull_on(mesh, upward(mesh))
    assert np.abs(pull.force(mesh.positions)).max() < 1e-12
    assert pull.weights.max() < 1e-12


def test_the_pull_grows_with_the_square_of_the_lack() -> None:
    # A parallelogram sheared by t has a scaled Jacobian of 1 / sqrt(1 + t^2) (from the definition).
    mesh = square(6)
    for shear in (0.1, 0.3, 0.6):
        bad = sheared(mesh, shear)
        lack = 1.0 - 1.0 / np.hypot(1.0, shear)
        assert pull_on(bad, upward(bad)).weights == pytest.approx((lack / 0.3) ** 2)


def test_long_quads_are_drawn_towards_squares() -> None:
    mesh = square(6)
    for stretch, weight in ((1.9, 0.0), (2.5, 0.25), (3.0, 1.0), (5.0, 1.0)):  # from 2 to 3, by the square
        long = replace(mesh, positions=mesh.positions * [stretch, 1.0, 1.0])
        pull = pull_on(long, upward(long))
        assert pull.weights == pytest.approx(weight, abs=1e-9)
    targets = np.linalg.norm(pull.targets[: 2 * len(mesh.quads)], axis=1).reshape(2, -1)
    # of sides 5 and 1 half of the way, as a logarithm
    assert targets[0] / targets[1] == pytest.approx(np.sqrt(5.0))


def test_a_quad_that_is_skew_and_long_has_both() -> None:
    # sheared by t: by their definitions a scaled Jacobian of 1 / sqrt(1 + t^2) and an aspect of 3 / sqrt(1 + t^2)
    mesh = square(6)
    both = sheared(replace(mesh, positions=mesh.positions * [3.0, 1.0, 1.0]), 0.5)
    slant = np.hypot(1.0, 0.5)
    lack = (1.0 - 1.0 / slant) / 0.3 + (3.0 / slant - 2.0)
    assert pull_on(both, upward(both)).weights == pytest.approx(lack**2)


def test_an_edge_without_length_does_no_harm() -> None:
    mesh = square(4)
    positions = mesh.positions.copy()
    positions[mesh.quads[5][1]] = positions[mesh.quads[5][0]]
    pull = pull_on(replace(mesh, positions=positions), upward(mesh))
    assert np.isfinite(pull.weights).all() and np.isfinite(pull.force(positions)).all()


def test_force_and_stiffness_are_those_of_the_energy() -> None:
    mesh = sheared(square(4), 0.5)
    pull = pull_on(mesh, upward(mesh))

    def energy(points: FloatArray) -> float:
        return 0.5 * float((pull.weights[:, None] * (pull.rows @ points - pull.targets) ** 2).sum())

    rng = np.random.default_rng(0)
    move = 1e-3 * rng.normal(size=mesh.positions.shape)
    there = mesh.positions + move
    change = energy(there) - energy(mesh.positions)
    force, image = pull.force(mesh.positions), pull.apply(move)
    assert change == pytest.approx(float(-(force * move).sum() + 0.5 * (image * move).sum()), rel=1e-9)
    one = np.zeros_like(move)
    one[7, 1] = 1.0
    assert pull.apply(one)[7, 1] == pytest.approx(pull.stiffness()[7])


def test_a_fit_mends_shapes_and_stays_on_the_sphere(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    mesh = make_sphere(10)
    rng = np.random.default_rng(1)
    shaken = unit(mesh.positions + 0.02 * rng.normal(size=mesh.positions.shape))
    given = replace(mesh, positions=shaken)
    none = np.zeros(len(mesh.quads), bool)
    options = FitOptions(shape=5.0)
    drawn, report = fit_limit(given, sphere_sculpt, options=options)
    plain, other = fit_limit(given, sphere_sculpt, options=options, shaped=none)
    off, _ = fit_limit(given, sphere_sculpt)
    assert np.array_equal(plain.positions, off.positions)
    best, worst = (np.quantile(measure_quality(m.positions, m.quads).scaled_jacobian, 0.05) for m in (drawn, plain))
    assert best > worst + 0.02
    assert report.after.rms < 1.1 * other.after.rms
