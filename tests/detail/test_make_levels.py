"""Levels: the sculpt's detail laid on the cage's limit surface."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from loopwright.detail.level_surface import level_surface
from loopwright.detail.make_levels import make_levels
from loopwright.detail.mend_folds import find_folds
from loopwright.detail.rebuild_level import rebuild_level
from loopwright.detail.types import Creases, Levels
from loopwright.errors import InputError
from loopwright.fit.measure_quality import measure_quality
from loopwright.numerics.catmull_clark import subdivide, unique_edges
from loopwright.numerics.limit_surface import limit_matrix
from loopwright.surface.project import SurfaceProjector
from loopwright.types import IntArray, QuadMesh

Maker = Callable[..., QuadMesh]
SculptMaker = Callable[..., SurfaceProjector]


@pytest.fixture(scope="module")
def bumpy_sculpt(sculpt_sphere: SculptMaker) -> SurfaceProjector:
    return sculpt_sphere(bumps=0.05)


@pytest.fixture(scope="module")
def bumpy_levels(make_sphere: Maker, bumpy_sculpt: SurfaceProjector) -> Levels:
    return make_levels(make_sphere(6), bumpy_sculpt, 3)


def edge_faces(quads: IntArray) -> IntArray:
    pairs = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    counts: IntArray = np.unique(pairs, axis=0, return_counts=True)[1].astype(np.int32)
    return counts


def test_each_level_halves_its_edges_and_quarters_its_error(bumpy_levels: Levels) -> None:
    # A smooth surface is h^2 / 8 times its curvature off a chord (derived): the error falls by 4 as edges halve.
    rms = np.array([report.level_rms for report in bumpy_levels.reports])
    back = np.array([report.sculpt_rms for report in bumpy_levels.reports])
    assert (rms[1:-1] / rms[2:] > 3.0).all()
    assert (back[1:-1] / back[2:] > 2.8).all()
    assert [report.faces for report in bumpy_levels.reports] == [216 * 4**k for k in range(4)]
    assert all(report.covered > 0.999 for report in bumpy_levels.reports)
    assert bumpy_levels.filled == 0


def test_vertices_lie_on_the_sculpt(bumpy_levels: Levels, bumpy_sculpt: SurfaceProjector) -> None:
    for level in range(4):
        mesh = rebuild_level(bumpy_levels, level)
        distance = np.linalg.norm(bumpy_sculpt.project(mesh.positions).points - mesh.positions, axis=1)
        assert np.quantile(distance, 0.99) < 1e-9


def test_coarser_levels_are_the_first_vertices_of_the_finest(bumpy_levels: Levels) -> None:
    finest = rebuild_level(bumpy_levels, 3)
    for level in range(3):
        mesh = rebuild_level(bumpy_levels, level)
        assert np.allclose(mesh.positions, finest.positions[: len(mesh.positions)], atol=1e-12)


def test_connectivity_is_that_of_plain_subdivision(bumpy_levels: Levels) -> None:
    cage = bumpy_levels.cage
    _, quads = subdivide(cage.positions, cage.quads, 2)
    assert np.array_equal(rebuild_level(bumpy_levels, 2).quads, quads)


def test_frames_are_right_handed_and_look_outward(make_sphere: Maker) -> None:
    surface = level_surface(make_sphere(5), 2)
    assert np.allclose(surface.frames @ np.swapaxes(surface.frames, 1, 2), np.eye(3), atol=1e-12)
    assert np.allclose(np.linalg.det(surface.frames), 1.0)
    outward = surface.mesh.positions / np.linalg.norm(surface.mesh.positions, axis=1, keepdims=True)
    assert np.einsum("ij,ij->i", surface.frames[:, 2], outward).min() > 0.99


def test_smooth_surface_is_the_limit_also_across_the_seam_of_a_half(make_sphere: Maker) -> None:
    whole, half = make_sphere(6), make_sphere(6, half=True)
    points, quads = subdivide(whole.positions, whole.quads, 2)
    limit = limit_matrix(quads, len(points)) @ points
    shown = level_surface(half, 2).mesh
    distance = np.linalg.norm(shown.positions[:, None] - limit[None], axis=2).min(axis=1)
    assert distance.max() < 1e-12
    assert (shown.positions[shown.on_mirror, 0] == 0.0).all()


def test_a_half_is_mirrored_after_and_closes(make_sphere: Maker, sculpt_sphere: SculptMaker) -> None:
    levels = make_levels(make_sphere(6, half=True), sculpt_sphere(bumps=0.04), 2)
    for level in range(3):
        mesh = rebuild_level(levels, level)
        assert (edge_faces(mesh.quads) == 2).all()
        assert len(mesh.positions) - len(unique_edges(mesh.quads)) + len(mesh.quads) == 2  # Euler: a sphere
        image = mesh.positions * [-1.0, 1.0, 1.0]
        order, other = (points[np.lexsort(points.T)] for points in (mesh.positions + 0.0, image + 0.0))
        assert np.array_equal(order, other)
        assert len(rebuild_level(levels, level, whole=False).quads) * 2 == len(mesh.quads)


def test_detail_follows_a_moved_cage(bumpy_levels: Levels) -> None:
    turn, _ = np.linalg.qr(np.random.default_rng(0).normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    moved = replace(bumpy_levels.cage, positions=bumpy_levels.cage.positions @ turn.T + 3.0)
    there = rebuild_level(replace(bumpy_levels, cage=moved), 2)
    here = rebuild_level(bumpy_levels, 2)
    assert np.allclose(there.positions, here.positions @ turn.T + 3.0, atol=1e-10)


def slab(gap: float, n: int = 121) -> SurfaceProjector:
    """Two sheets, one above the other, that face away from each other, like lips or a lid and what lies under it."""
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-1.5, 1.5, n), np.linspace(-1.5, 1.5, n)))
    ids = np.arange(n * n).reshape(n, n)
    up = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
    quads = np.vstack([up, up[:, ::-1] + n * n])
    points = np.vstack([np.c_[x, y, 0 * x + gap / 2 + 0.01 * np.sin(6 * x)], np.c_[x, y, 0 * x - gap / 2]])
    return SurfaceProjector(points, np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32))


def test_no_vertex_jumps_to_a_sheet_that_faces_elsewhere(make_sheet: Maker) -> None:
    # The cage lies nearer to the lower sheet, but faces up like the upper one.
    gap = 0.05
    levels = make_levels(make_sheet(9, -0.02), slab(gap), 2)
    for level in range(3):
        height = rebuild_level(levels, level).positions[:, 2]
        assert (height > gap / 2 - 0.011).all()
    assert levels.filled == 0


def test_where_there_is_no_sculpt_detail_is_filled_in_and_told(make_sphere: Maker, sculpt_sphere: SculptMaker) -> None:
    whole = sculpt_sphere()
    kept = whole.positions[whole.triangles].mean(axis=1)[:, 2] < 0.8
    holed = SurfaceProjector(whole.positions, whole.triangles[kept])
    levels = make_levels(make_sphere(10), holed, 1)
    mesh = rebuild_level(levels, 1)
    assert levels.reports[1].folded == 0
    cap = mesh.positions[:, 2] > 0.8
    assert np.isfinite(mesh.positions).all() and cap.any()
    assert np.linalg.norm(mesh.positions[~cap], axis=1).min() > 0.99


def test_faces_do_not_fold_on_a_rough_sculpt(make_sphere: Maker, sculpt_sphere: SculptMaker) -> None:
    levels = make_levels(make_sphere(8), sculpt_sphere(noise=0.01), 3)
    assert [report.folded for report in levels.reports] == [0, 0, 0, 0]
    for level in range(4):
        mesh, smooth = rebuild_level(levels, level), level_surface(levels.cage, level)
        assert not find_folds(mesh.positions, mesh.quads, smooth.frames[:, 2]).any()
        assert measure_quality(mesh.positions, mesh.quads).scaled_jacobian.min() > 0.0


def test_faces_do_not_fold_in_a_pit_or_on_a_cage_that_folds(make_sheet: Maker) -> None:
    # A pit narrower than a face, and vertices of the cage pulled over their neighbours.
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 161), np.linspace(-1, 1, 161)))
    ids = np.arange(161 * 161).reshape(161, 161)
    quads = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
    height = -0.35 * np.exp(-((x - 0.05) ** 2 + y**2) / 0.004) + 0.3 * np.exp(-((x + 0.5) ** 2) / 0.003)
    triangles = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32)
    sculpt = SurfaceProjector(np.stack([x, y, height], axis=1), triangles)
    sheet = make_sheet(13, 0.0)
    moved = sheet.positions.copy()
    inner = np.flatnonzero(np.abs(moved[:, :2]).max(axis=1) < 0.7)
    moved[inner[10]] += (0.28, 0.05, 0.0)
    for cage in (sheet, replace(sheet, positions=moved)):
        levels = make_levels(cage, sculpt, 3)
        for level in range(4):
            mesh = rebuild_level(levels, level)
            assert measure_quality(mesh.positions, mesh.quads).scaled_jacobian.min() > 0.0
        assert [report.folded for report in levels.reports] == [0, 0, 0, 0]


def test_creases_are_part_of_the_smooth_surface(make_box: Maker) -> None:
    mesh = make_box(0.1, 4)
    edges = unique_edges(mesh.quads)[:7].astype(np.int32)
    creases = Creases(edges, np.full(7, 2.0))
    points, quads = subdivide(mesh.positions, mesh.quads, 2, creases.as_sharpness())
    shown = level_surface(mesh, 2, creases.as_sharpness()).mesh.positions
    assert np.allclose(shown, limit_matrix(quads, len(points)) @ points)  # nothing is sharp after two levels


def test_the_same_input_gives_the_same_bits_and_stays_as_it_was(
    make_sphere: Maker, bumpy_sculpt: SurfaceProjector, bumpy_levels: Levels
) -> None:
    mesh = make_sphere(6)
    before = mesh.positions.copy()
    again = make_levels(mesh, bumpy_sculpt, 3)
    assert np.array_equal(again.offsets, bumpy_levels.offsets)
    assert np.array_equal(mesh.positions, before)


@pytest.mark.parametrize("levels", [-1, 8])
def test_levels_out_of_range_are_refused(make_sphere: Maker, bumpy_sculpt: SurfaceProjector, levels: int) -> None:
    with pytest.raises(InputError, match="levels cannot be made"):
        make_levels(make_sphere(3), bumpy_sculpt, levels)


def test_a_level_that_is_not_there_is_refused(bumpy_levels: Levels) -> None:
    with pytest.raises(InputError, match="levels 0 to 3"):
        rebuild_level(bumpy_levels, 4)
