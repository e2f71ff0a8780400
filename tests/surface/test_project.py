"""Putting points on the sculpt: against a general library and on sheets that lie back to back."""

from __future__ import annotations

import igl
import numpy as np
import pytest

from loopwright.errors import InputError, InternalError
from loopwright.surface.project import SurfaceProjector, closest_barycentric, smooth_vertex_normals
from loopwright.types import FloatArray, IntArray


def sphere(rings: int = 60) -> tuple[FloatArray, IntArray]:
    around = 2 * rings
    polar = np.pi * (np.arange(rings) + 1) / (rings + 1)
    turn = 2 * np.pi * np.arange(around) / around
    body = np.stack(
        [
            np.outer(np.sin(polar), np.cos(turn)),
            np.outer(np.sin(polar), np.sin(turn)),
            np.outer(np.cos(polar), np.ones(around)),
        ],
        axis=-1,
    ).reshape(-1, 3)
    ids = np.arange(rings * around).reshape(rings, around)
    right = np.roll(ids, -1, axis=1)
    quads = np.stack([ids[:-1], ids[1:], right[1:], right[:-1]], axis=-1).reshape(-1, 4)
    north, south = rings * around, rings * around + 1
    caps = [
        np.stack([np.full(around, north), ids[0], right[0]], axis=-1),
        np.stack([np.full(around, south), right[-1], ids[-1]], axis=-1),
    ]
    triangles = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]], *caps]).astype(np.int32)
    return np.vstack([body, [[0, 0, 1.0], [0, 0, -1.0]]]), triangles


def thin_plate(thickness: float, n: int = 60) -> tuple[FloatArray, IntArray]:
    """Two parallel sheets that face away from each other, like a lip against its inside."""
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 1, n), np.linspace(0, 1, n)))
    ids = np.arange(n * n).reshape(n, n)
    corners = [ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]]
    quads = np.stack(corners, axis=-1).reshape(-1, 4)
    top = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    points = np.vstack([np.stack([x, y, 0 * x + z], axis=1) for z in (thickness, 0.0)])
    return points, np.vstack([top, top[:, ::-1] + n * n]).astype(np.int32)


def test_closest_points_are_those_of_libigl() -> None:
    # Outside reference: igl.point_mesh_squared_distance, double precision; the triangle is chosen in single.
    points, triangles = sphere()
    rng = np.random.default_rng(0)
    asked = rng.normal(size=(2000, 3)) * rng.uniform(0.2, 2.0, (2000, 1)) + [0.0, 0.0, 0.1]
    landed = SurfaceProjector(points, triangles).project(asked)
    squared, _, _ = igl.point_mesh_squared_distance(asked, points, triangles.astype(np.int64))
    assert np.abs(np.linalg.norm(landed.points - asked, axis=1) - np.sqrt(squared)).max() < 1e-6


def test_far_from_the_origin_it_is_as_exact() -> None:
    points, triangles = sphere(30)
    asked = np.random.default_rng(1).normal(size=(300, 3))
    near = SurfaceProjector(points, triangles).project(asked).points
    far = SurfaceProjector(points + 1e4, triangles).project(asked + 1e4).points
    assert np.abs(far - 1e4 - near).max() < 1e-5


def test_landed_points_lie_in_their_triangle() -> None:
    points, triangles = sphere(20)
    projector = SurfaceProjector(points, triangles)
    landed = projector.project(np.random.default_rng(2).normal(size=(500, 3)))
    corner = points[triangles[landed.triangles]]
    weights = closest_barycentric(landed.points, corner[:, 0], corner[:, 1], corner[:, 2])
    assert np.allclose(np.einsum("ij,ijk->ik", weights, corner), landed.points, atol=1e-12)
    assert np.allclose(np.linalg.norm(landed.normals, axis=1), 1.0)


@pytest.mark.parametrize("thickness", [0.002, 0.01, 0.03])
def test_a_point_keeps_to_the_sheet_that_faces_its_way(thickness: float) -> None:
    points, triangles = thin_plate(thickness)
    projector = SurfaceProjector(points, triangles)
    rng = np.random.default_rng(3)
    asked = np.column_stack([rng.uniform(0.1, 0.9, (400, 2)), rng.uniform(-0.5, 1.5, 400) * thickness])
    up = np.tile([0.0, 0.0, 1.0], (400, 1))
    above = projector.project(asked, up)
    below = projector.project(asked, -up)
    assert np.allclose(above.points, np.column_stack([asked[:, :2], np.full(400, thickness)]), atol=1e-12)
    assert np.allclose(below.points, np.column_stack([asked[:, :2], np.zeros(400)]), atol=1e-12)
    plain = projector.project(asked)
    assert (np.abs(plain.points[:, 2] - above.points[:, 2]) > 0.0).any()


def test_a_normal_that_nothing_agrees_with_leaves_the_closest_point() -> None:
    x, y = (a.ravel() for a in np.meshgrid([0.0, 0.5, 1.0], [0.0, 0.5, 1.0]))
    ids = np.arange(9).reshape(3, 3)
    quads = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
    triangles = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32)
    projector = SurfaceProjector(np.stack([x, y, 0 * x], axis=1), triangles)
    landed = projector.project(np.array([[0.3, 0.4, 0.2]]), np.array([[0.0, 0.0, -1.0]]))
    assert np.allclose(landed.points, [[0.3, 0.4, 0.0]])


def test_smoothed_normals_of_a_sphere_point_outward() -> None:
    points, triangles = sphere(40)
    assert np.einsum("ij,ij->i", smooth_vertex_normals(points, triangles), points).min() > 0.999


def test_unused_vertices_and_triangles_without_area_do_no_harm() -> None:
    points, triangles = sphere(20)
    points = np.vstack([points, [[9.0, 9.0, 9.0]]])
    triangles = np.vstack([triangles, [[3, 3, 4], [5, 5, 5]]]).astype(np.int32)
    projector = SurfaceProjector(points, triangles)
    asked = points[:50] * 1.1
    landed = projector.project(asked, -points[:50], min_cosine=0.9)  # astray all of them
    assert np.isfinite(landed.points).all()
    assert len(projector.project(np.zeros((0, 3))).points) == 0


def test_what_cannot_be_used_is_refused() -> None:
    points, triangles = sphere(5)
    with pytest.raises(InputError, match="no triangles"):
        SurfaceProjector(points, np.zeros((0, 3), np.int32))
    with pytest.raises(InputError, match="finite"):
        SurfaceProjector(np.full_like(points, np.nan), triangles)
    with pytest.raises(InternalError, match="finite"):
        SurfaceProjector(points, triangles).project(np.array([[np.nan, 0.0, 0.0]]))


def test_a_sketch_lands_about_where_the_closest_point_is() -> None:
    points, triangles = sphere(120)
    projector = SurfaceProjector(points, triangles)
    rng = np.random.default_rng(5)
    way = rng.normal(size=(400, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    asked = way * rng.uniform(0.99, 1.01, (400, 1))
    landed, normals = projector.sketch(asked, way, np.full(400, 0.1))
    exact = projector.project(asked, way)
    step = np.pi / 120  # between vertices of the unit sphere, whose curvature is 1
    assert np.abs(np.linalg.norm(landed, axis=1) - 1.0).max() < step**2
    assert np.linalg.norm(landed - exact.points, axis=1).max() < 0.02 * step
    assert np.einsum("ij,ij->i", normals, way).min() > np.cos(step)


def test_a_sketch_is_exact_where_no_vertex_is_within_reach_or_faces_the_right_way() -> None:
    points, triangles = sphere(20)
    projector = SurfaceProjector(points, triangles)
    rng = np.random.default_rng(6)
    asked = rng.uniform(-0.9, 0.9, (50, 3))
    away = -asked / np.linalg.norm(asked, axis=1, keepdims=True)
    for normals, reach in ((np.zeros((50, 3)), 0.0), (away, 5.0)):
        landed, facing = projector.sketch(asked, normals, np.full(50, reach))
        exact = projector.project(asked, normals)
        assert (landed == exact.points).all() and (facing == exact.normals).all()
