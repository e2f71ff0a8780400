"""The limit surface on the sculpt: against the closed form of the shrink that it must undo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from loopwright.fit.fit_limit import FitOptions, LimitFit, fit_limit
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.reflect import reflect_half
from loopwright.fit.relax import relax
from loopwright.numerics.catmull_clark import subdivide
from loopwright.numerics.limit_surface import limit_matrix
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, QuadMesh

Maker = Callable[..., QuadMesh]


def limit_points(mesh: QuadMesh, levels: int = 3) -> FloatArray:
    """Return limit points at a level that the fit does not sample."""
    points, quads = subdivide(mesh.positions, mesh.quads, levels)
    limit: FloatArray = limit_matrix(quads, len(points)) @ points
    return limit


def torus_distance(points: FloatArray) -> FloatArray:
    ring = np.hypot(points[:, 0], points[:, 1]) - 1.0
    distance: FloatArray = np.hypot(ring, points[:, 2]) - 0.4
    return distance


@pytest.mark.parametrize("n", [6, 10])
def test_fitted_sphere_beats_the_shrink_tenfold(make_sphere: Maker, sphere_sculpt: SurfaceProjector, n: int) -> None:
    # Control points on a sphere of radius R leave the limit h^2 / (3 R) inside (recomputed).
    mesh = make_sphere(n)
    h = float(np.sqrt(4.0 * np.pi / len(mesh.quads)))
    before = 1.0 - np.linalg.norm(limit_points(mesh), axis=1)
    assert before.mean() == pytest.approx(h * h / 3.0, rel=0.1)
    fitted, report = fit_limit(mesh, sphere_sculpt)
    after = np.linalg.norm(limit_points(fitted), axis=1) - 1.0
    assert np.sqrt((after**2).mean()) < 0.1 * h * h / 3.0
    assert report.after.rms < 0.1 * report.before.rms
    assert report.before.rms == pytest.approx(float(np.sqrt((before**2).mean())), rel=0.1)


def test_fitted_torus_beats_the_shrink_tenfold(make_torus: Maker, torus_sculpt: SurfaceProjector) -> None:
    mesh = make_torus(40, 16)
    h = 2 * np.pi * 0.4 / 16
    fitted, _ = fit_limit(mesh, torus_sculpt)
    before, after = torus_distance(limit_points(mesh)), torus_distance(limit_points(fitted))
    assert np.sqrt((before**2).mean()) > 0.5 * h * h / (3 * 0.4)
    assert np.sqrt((after**2).mean()) < 0.1 * h * h / (3 * 0.4)


def test_error_falls_with_refinement(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    # Kang, Xu 2024, arXiv 2404.18102: the mean-square error falls by 8 and more per halving of h.
    errors = []
    for n in (3, 6):
        fitted, _ = fit_limit(make_sphere(n), sphere_sculpt)
        errors.append(float(((np.linalg.norm(limit_points(fitted), axis=1) - 1.0) ** 2).mean()))
    assert errors[0] / errors[1] > 8.0


def test_half_fits_as_its_whole_and_closes(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    half = make_sphere(8, half=True)
    fitted, _ = fit_limit(half, sphere_sculpt)
    assert (fitted.positions[half.on_mirror, 0] == 0.0).all()
    whole = reflect_half(fitted)
    assert np.abs(np.linalg.norm(limit_points(whole), axis=1) - 1.0).max() < 1.5e-3
    both, _ = fit_limit(replace(reflect_half(half), mirror=None), sphere_sculpt)
    assert np.abs(both.positions - whole.positions).max() < 1e-4


def test_borders_keep_to_their_curves(make_square: Maker, plane_sculpt: SurfaceProjector) -> None:
    mesh = make_square(8, 8)
    fitted, _ = fit_limit(mesh, plane_sculpt)
    assert np.abs(fitted.positions[:, 2]).max() < 1e-9
    limit = limit_matrix(fitted.quads, len(fitted.positions)) @ fitted.positions
    for index, axis in ((0, 1), (1, 0), (2, 1), (3, 0)):
        side = mesh.vertex_curve == index
        assert np.abs(limit[side, axis] - mesh.positions[side, axis]).max() < 5e-3
    assert np.abs(limit[mesh.is_fixed] - mesh.positions[mesh.is_fixed]).max() < 0.02


def test_quality_hardly_changes_and_nothing_folds(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    mesh = make_sphere(8)
    rough = mesh.positions + np.random.default_rng(0).uniform(-0.05, 0.05, mesh.positions.shape)
    relaxed = relax(replace(mesh, positions=rough), sphere_sculpt)
    fitted, report = fit_limit(relaxed, sphere_sculpt)
    before = measure_quality(relaxed.positions, relaxed.quads).scaled_jacobian
    after = measure_quality(fitted.positions, fitted.quads).scaled_jacobian
    assert after.mean() > before.mean() - 0.01
    assert after.min() > before.min() - 0.1
    assert report.held == 0


def test_it_is_deterministic_and_leaves_its_input_alone(make_sphere: Maker, sphere_sculpt: SurfaceProjector) -> None:
    mesh = make_sphere(5)
    before = mesh.positions.copy()
    first, second = (fit_limit(mesh, sphere_sculpt, options=FitOptions(rounds=3))[0] for _ in range(2))
    assert np.array_equal(first.positions, second.positions)
    assert np.array_equal(mesh.positions, before)


@pytest.mark.parametrize("half", [False, True])
def test_laid_anew_in_one_place_it_is_as_near_there_and_untouched_elsewhere(
    make_sphere: Maker, sphere_sculpt: SurfaceProjector, half: bool
) -> None:
    mesh = make_sphere(12, half=half)
    fit = LimitFit(sphere_sculpt)
    fitted, report = fit.lay(mesh)
    moved = mesh.positions @ np.array([0.0, 0.6, 0.8]) > 0.97
    assert 4 < moved.sum() < 60
    step = np.where(moved[:, None], 0.02 * np.array([[0.0, 1.0, -0.8]]), 0.0)
    elsewhere = mesh.positions + step
    elsewhere /= np.linalg.norm(elsewhere, axis=1)[:, None]
    shifted = replace(mesh, positions=np.where(moved[:, None], elsewhere, mesh.positions))
    again, report_again = fit.lay_again(shifted, fitted, moved, report)
    far = mesh.positions @ np.array([0.0, 0.6, 0.8]) < 0.3
    assert np.array_equal(again.positions[far], fitted.positions[far])
    assert np.linalg.norm(again.positions[moved] - fitted.positions[moved], axis=1).min() > 0.01
    assert report_again.after.rms < 1.2 * fit.lay(shifted)[1].after.rms
    whole = reflect_half(again) if half else again
    h = float(np.sqrt(4.0 * np.pi / len(whole.quads)))
    off = np.linalg.norm(limit_points(whole), axis=1) - 1.0
    assert np.sqrt((off**2).mean()) < 0.1 * h * h / 3.0  # as near as a fit of all of it, see above


def test_the_limit_surface_runs_through_a_held_vertex_beside_long_quads(
    make_sphere: Maker, sphere_sculpt: SurfaceProjector
) -> None:
    mesh = make_sphere(8)
    held = int((mesh.positions @ np.array([0.1, 0.2, 1.0])).argmax())
    neighbours = mesh.quads[(mesh.quads == held).any(axis=1)]
    edge = float(np.linalg.norm(mesh.positions[neighbours] - mesh.positions[held], axis=2).max(axis=1).mean()) / 2**0.5
    positions = mesh.positions.copy()
    positions[held] += [0.5 * edge, 0.0, 0.0]
    positions[held] /= np.linalg.norm(positions[held])
    given = replace(mesh, positions=positions, is_fixed=np.arange(len(positions)) == held)
    assert measure_quality(positions, neighbours).aspect.max() > 2.0
    fitted, _ = fit_limit(given, sphere_sculpt)
    limit = limit_matrix(fitted.quads, len(positions))[[held]] @ fitted.positions
    assert np.linalg.norm(limit - positions[held]) < 0.12 * edge
    assert measure_quality(fitted.positions, neighbours).scaled_jacobian.min() > 0.3
