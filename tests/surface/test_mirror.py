"""The mirror plane of shapes whose plane is known, and exact clipping."""

from __future__ import annotations

import igl
import numpy as np
import pytest

from loopwright.surface.clip import clip_half
from loopwright.surface.edges import build_edges, triangle_normals
from loopwright.surface.mirror import find_mirror, measure_mirror, plane_across, sample_surface, share_alike
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, MirrorPlane

PLANE = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)


def ball(levels: int = 4) -> tuple[FloatArray, IntArray]:
    points, triangles = igl.icosahedron()
    for _ in range(levels):
        points, triangles = igl.upsample(points, triangles, 1)
        points /= np.linalg.norm(points, axis=1, keepdims=True)
    return np.ascontiguousarray(points, np.float64), np.ascontiguousarray(triangles, np.int32)


def lopsided(points: FloatArray) -> FloatArray:
    """A body that is symmetric across x = 0 and across nothing else."""
    bumps = 1 + 0.2 * points[:, 1] ** 3 + 0.15 * points[:, 2] * points[:, 1] + 0.1 * np.cos(3 * points[:, 0])
    return points * bumps[:, None]


def turn(angle: float) -> FloatArray:
    """A rotation about the axis (1, 2, 2)/3 (Rodrigues' formula)."""
    axis = np.array([1.0, 2.0, 2.0]) / 3.0
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.asarray(np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k)


@pytest.mark.parametrize("angle", [0.0, 0.7])
def test_known_plane_is_found(angle: float) -> None:
    points, triangles = ball()
    moved = lopsided(points) @ turn(angle).T + np.array([3.0, -1.0, 2.0])
    fit = find_mirror(SurfaceProjector(moved, triangles))
    assert fit is not None
    normal = turn(angle) @ np.array([1.0, 0.0, 0.0])
    assert abs(fit.plane.normal @ normal) == pytest.approx(1.0, abs=1e-5)
    centre = np.array([3.0, -1.0, 2.0])
    assert fit.plane.signed_distance(centre[None])[0] == pytest.approx(0.0, abs=0.01)
    assert fit.rms < 2e-3


def test_sculpt_a_little_off_symmetry_still_counts() -> None:
    points, triangles = ball()
    rng = np.random.default_rng(0)
    rough = lopsided(points) + rng.normal(0.0, 0.004, points.shape)
    rough[:, 0] += 0.02 * np.maximum(rough[:, 0], 0.0)
    fit = find_mirror(SurfaceProjector(rough, triangles))
    assert fit is not None
    assert np.array_equal(fit.plane.normal, [1.0, 0.0, 0.0]) and fit.plane.offset == 0.0
    assert 0.0 < fit.rms < 0.01 and fit.rms < fit.far < 4.0 * fit.rms


def test_body_without_symmetry_has_none() -> None:
    points, triangles = ball()
    lobes = [((1.0, 0.2, 0.1), 0.9), ((-0.3, 1.0, 0.4), 0.6), ((0.2, -0.5, 1.0), 0.35), ((-0.7, -0.4, -0.6), 0.5)]
    reach = np.ones(len(points))
    for direction, height in lobes:
        axis = np.array(direction) / np.linalg.norm(direction)
        reach += height * np.exp(-((points - axis) ** 2).sum(axis=1) / 0.2)
    skew = points * reach[:, None]
    assert find_mirror(SurfaceProjector(skew, triangles)) is None


def test_paint_decides_between_planes() -> None:
    points, triangles = ball()
    label = (points @ np.array([0.6, 0.0, 0.8]) > 0.2).astype(np.int32)
    fit = find_mirror(SurfaceProjector(points, triangles), vertex_label=label)
    assert fit is not None and fit.label_agreement > 0.99
    assert abs(fit.plane.normal @ np.array([0.6, 0.0, 0.8])) < 0.05


@pytest.mark.parametrize(("moved", "blotch", "is_found"), [(0.08, 0.0, True), (0.3, 0.0, False), (0.0, 0.6, False)])
def test_borders_that_wander_are_mirrored_paint_and_paint_on_one_half_is_not(
    moved: float, blotch: float, is_found: bool
) -> None:
    """Stripes of which all borders are moved on one half: by 2.3 % of the diagonal, or far; or a blotch on one half."""
    points, triangles = ball(5)
    body = lopsided(points)
    height = body[:, 1] + np.where(body[:, 0] > 0, moved, 0.0)
    label = np.floor(height / 0.35).astype(np.int32) + 10
    label[np.linalg.norm(body - [0.7, 0.2, 0.6], axis=1) < blotch] = 40
    projector = SurfaceProjector(body, triangles)
    exactly = measure_mirror(projector, PLANE, sample_surface(body, triangles, 3000), label)
    assert exactly.label_agreement < 0.9  # it takes a tolerance to tell them apart
    fit = find_mirror(projector, vertex_label=label)
    assert (fit is not None) == is_found
    assert share_alike(projector, PLANE, sample_surface(body, triangles, 3000), label) > 0.9 or not is_found


@pytest.mark.parametrize("width", [0.06, 0.1])
def test_stripes_that_change_places_are_not_mirrored(width: float) -> None:
    points, triangles = ball(5)
    body = lopsided(points)
    label = (np.floor(body[:, 1] / width).astype(np.int32) + (body[:, 0] > 0)) % 2
    projector = SurfaceProjector(body, triangles)
    assert share_alike(projector, PLANE, sample_surface(body, triangles, 3000), label) < 0.3
    assert find_mirror(projector, vertex_label=label) is None


@pytest.mark.parametrize("levels", [3, 5])
def test_how_fine_a_sculpt_is_does_not_decide_whether_its_paint_is_mirrored(levels: int) -> None:
    points, triangles = ball(levels)
    body = lopsided(points)
    label = np.floor((body[:, 1] + np.where(body[:, 0] > 0, 0.07, 0.0)) / 0.5).astype(np.int32) + 10
    assert share_alike(SurfaceProjector(body, triangles), PLANE, sample_surface(body, triangles, 3000), label) > 0.9


def test_plane_across_an_axis_goes_through_the_middle_where_the_origin_is_outside() -> None:
    points, triangles = ball(3)
    plane = plane_across("y", SurfaceProjector(points + np.array([0.0, 7.0, 0.0]), triangles))
    assert np.array_equal(plane.normal, [0.0, 1.0, 0.0])
    assert plane.offset == pytest.approx(7.0, abs=0.02)


@pytest.mark.parametrize("offset", [0.0, 0.137, -0.5])
def test_clipping_keeps_the_positive_side_exactly(offset: float) -> None:
    points, triangles = ball()
    normal = np.array([1.0, 0.0, 0.0])
    half = clip_half(points, triangles, MirrorPlane(normal, offset))
    table = build_edges(half.triangles, len(half.positions))
    rim = np.unique(table.edges[table.is_boundary()])
    assert np.array_equal(np.flatnonzero(half.on_plane), rim)
    assert (half.positions[rim, 0] == offset).all()
    assert (half.positions[~half.on_plane, 0] > offset).all()
    assert len(half.positions) - len(table.edges) + len(half.triangles) == 1
    area = np.linalg.norm(triangle_normals(half.positions, half.triangles), axis=1).sum() / 2
    # zone of a sphere: 2 pi R h (Archimedes)
    assert area == pytest.approx(2 * np.pi * (1 - offset), rel=0.01)


def test_clipping_random_planes_stays_a_manifold() -> None:
    points, triangles = ball(3)
    rng = np.random.default_rng(11)
    for _ in range(20):
        normal = rng.normal(size=3)
        plane = MirrorPlane(normal / np.linalg.norm(normal), float(rng.uniform(-0.8, 0.8)))
        half = clip_half(points, triangles, plane)
        table = build_edges(half.triangles, len(half.positions))
        ends = np.bincount(table.edges[table.is_boundary()].ravel(), minlength=len(half.positions))
        assert set(np.unique(ends)) == {0, 2}
        assert np.abs(plane.signed_distance(half.positions[half.on_plane])).max() < 1e-15
