"""A mesh carried to another sculpt, with the true places known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from tests.reuse.conftest import LIGHT, cube_sphere, lump, quad_mesh, split, warp

from loopwright.errors import InfeasibleError, MarksError
from loopwright.fit.fit_limit import fit_limit
from loopwright.reuse.read_landmarks import Landmarks
from loopwright.reuse.refit import RefitOptions, refit
from loopwright.reuse.refit_mesh import own_curve
from loopwright.reuse.rim_curves import open_borders
from loopwright.reuse.template import template_of_quads, trace_rims
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, QuadMesh, Region, RegionSurface

QUICK = RefitOptions(register=LIGHT)


@pytest.fixture(scope="module")
def finished(lump_mesh: QuadMesh, lump_sculpt: SurfaceProjector) -> QuadMesh:
    return fit_limit(lump_mesh, lump_sculpt)[0]


def landmarks_on(mesh: QuadMesh, count: int) -> tuple[IntArray, FloatArray]:
    limit = template_of_quads(mesh.positions, mesh.quads).positions
    chosen = np.linspace(0, len(limit) - 1, count).astype(np.int32)
    return chosen, limit[chosen]


def test_refit_reaches_landmarks_and_surface_and_keeps_the_mesh(
    finished: QuadMesh, warped_sculpt: SurfaceProjector
) -> None:
    chosen, places = landmarks_on(finished, 12)
    names = tuple(f"place {i}" for i in range(len(chosen)))
    result = refit(finished, warped_sculpt, landmarks=Landmarks(names, places, warp(places)))
    assert np.array_equal(result.mesh.quads, finished.quads)
    assert len(result.mesh.positions) == len(finished.positions)
    assert result.newly_inverted == 0
    assert result.landmark_distances.max() <= 0.003 * warped_sculpt.diagonal
    assert result.fit.after.rms <= 6e-4 * warped_sculpt.diagonal
    limit = template_of_quads(finished.positions, finished.quads).positions
    there = template_of_quads(result.mesh.positions, finished.quads).positions
    off = np.linalg.norm(there - warp(limit), axis=1) / warped_sculpt.diagonal
    assert np.sqrt((off**2).mean()) <= 0.008  # a round lump has little to lead


def test_refit_to_its_own_sculpt_moves_nothing_to_speak_of(finished: QuadMesh, lump_sculpt: SurfaceProjector) -> None:
    result = refit(finished, lump_sculpt, options=QUICK)
    moved = np.linalg.norm(result.mesh.positions - finished.positions, axis=1)
    assert np.sqrt((moved**2).mean()) <= 3e-4 * lump_sculpt.diagonal
    assert result.mended == 0


def test_a_turned_and_scaled_sculpt_is_met_by_landmarks(finished: QuadMesh, lump_sculpt: SurfaceProjector) -> None:
    turn = Rotation.from_rotvec([0.4, 2.0, -0.7]).as_matrix()
    there = SurfaceProjector(2.5 * lump_sculpt.positions @ turn.T + 4.0, lump_sculpt.triangles)
    _, places = landmarks_on(finished, 5)
    pairs = Landmarks(tuple("abcde"), places, 2.5 * places @ turn.T + 4.0)
    result = refit(finished, there, landmarks=pairs, options=QUICK)
    expected = 2.5 * finished.positions @ turn.T + 4.0
    off = np.linalg.norm(result.mesh.positions - expected, axis=1)
    assert np.sqrt((off**2).mean()) <= 1e-3 * there.diagonal


def test_the_mirror_is_kept_to_the_bit(finished: QuadMesh, warped_sculpt: SurfaceProjector) -> None:
    even = refit(finished, warped_sculpt, options=RefitOptions(mirror="x", register=LIGHT))
    assert even.mirror_kept
    points = {tuple(p) for p in even.mesh.positions.tolist()}
    assert points == {(-x, y, z) for x, y, z in points}
    assert even.fit.after.rms <= 6e-4 * warped_sculpt.diagonal
    assert even.newly_inverted == 0


def test_a_mirror_that_is_not_there_is_refused(finished: QuadMesh, warped_sculpt: SurfaceProjector) -> None:
    with pytest.raises(InfeasibleError, match="not symmetric across z"):
        refit(finished, warped_sculpt, options=RefitOptions(mirror="z"))


def test_a_landmark_in_the_air_is_refused_by_name(finished: QuadMesh, warped_sculpt: SurfaceProjector) -> None:
    pairs = Landmarks(("chin",), finished.positions[:1], warped_sculpt.positions[:1] + 1.0)
    with pytest.raises(MarksError, match='"chin" at .* lies .* off the sculpt'):
        refit(finished, warped_sculpt, landmarks=pairs)


def cut_lump(n: int, height: float) -> tuple[FloatArray, IntArray]:
    directions, quads = cube_sphere(n)
    quads = quads[directions[quads].mean(axis=1)[:, 1] > height]
    used, inverse = np.unique(quads, return_inverse=True)
    return directions[used], inverse.reshape(-1, 4).astype(np.int32)


def test_rims_go_to_the_open_border_if_there_is_one(warped_sculpt: SurfaceProjector) -> None:
    directions, quads = cut_lump(12, -0.72)
    mesh = quad_mesh(lump(directions), quads)
    border_directions, border_quads = cut_lump(40, -0.66)
    border_surface = RegionSurface(
        warp(lump(border_directions)),
        split(border_quads),
        np.zeros(2 * len(border_quads), np.int32),
        (Region("all", (1, 2, 3)),),
        None,
        np.zeros(len(border_directions), bool),
    )
    borders = open_borders(border_surface)
    assert len(borders) == 1
    result = refit(mesh, warped_sculpt, borders=borders, options=QUICK)
    assert result.rims_on_borders == 1
    limit = template_of_quads(result.mesh.positions, quads).positions
    rim = limit[trace_rims(quads)[0]]
    dense = np.linspace(borders[0].points, np.roll(borders[0].points, -1, axis=0), 20).reshape(-1, 3)
    gap = np.linalg.norm(rim[:, None] - dense[None], axis=2).min(axis=1)
    assert gap.max() <= 3e-3 * warped_sculpt.diagonal
    assert result.newly_inverted == 0
    free = refit(mesh, warped_sculpt, options=QUICK)
    assert free.rims_on_borders == 0
    assert free.fit.after.rms <= 6e-4 * warped_sculpt.diagonal


def test_the_curve_of_a_regular_rim_is_the_spline_circle() -> None:
    """Uniform cubic B-spline of a regular n-gon: limit points at radius (2 + cos(2 pi / n)) / 3 (1/6, 4/6, 1/6)."""
    n = 12
    angle = 2 * np.pi * np.arange(n) / n
    ring = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    square = np.array([[-2.0, -2, 0], [2, -2, 0], [2, 2, 0], [-2, 2, 0]])
    flat = SurfaceProjector(square, np.array([[0, 1, 2], [0, 2, 3]], np.int32))
    radius = np.linalg.norm(own_curve(ring, flat).points, axis=1)
    assert radius[:: len(radius) // n] == pytest.approx((2 + np.cos(2 * np.pi / n)) / 3, abs=1e-6)
    assert np.ptp(radius) <= 2e-3


def test_regions_stay(finished: QuadMesh, warped_sculpt: SurfaceProjector) -> None:
    region = (np.arange(len(finished.quads)) % 2).astype(np.int32)
    two = replace(finished, quad_region=region, regions=(Region("a", (1, 2, 3)), Region("b", (4, 5, 6))))
    result = refit(two, warped_sculpt, options=QUICK)
    assert np.array_equal(result.mesh.quad_region, region)
    assert result.mesh.regions == two.regions
