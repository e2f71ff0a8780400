"""The colour that the index gives is that of the nearest vertex, or the nearest triangle's, by comparing with all."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from tests.conftest import globe

from loopwright.fit.paint_index import PaintIndex
from loopwright.types import FloatArray, Paint

SEED = 7


def nearest_colors(points: FloatArray, vertices: FloatArray, paint: Paint) -> list[int]:
    distance = ((points[:, None] - vertices[None]) ** 2).sum(axis=2)
    found: list[int] = paint.color[distance.argmin(axis=1)].tolist()
    return found


@pytest.mark.parametrize("stretch", [(1.0, 1.0, 1.0), (9.0, 1.0, 0.2), (1.0, 1.0, 0.0)])
@pytest.mark.parametrize("colors", [2, 5, 40])
def test_it_gives_the_nearest_vertex_s_colour(stretch: tuple[float, float, float], colors: int) -> None:
    rng = np.random.default_rng(SEED)
    vertices = globe(20)[0] * np.array(stretch) + np.array([3.0, -1.0, 0.0])
    if stretch[2] == 0.0:
        vertices = np.unique(vertices, axis=0)
    stripe = np.floor((vertices[:, 0] - vertices[:, 0].min()) / np.ptp(vertices[:, 0]) * (colors - 1e-9))
    paint = Paint(np.zeros((colors, 3), np.uint8), np.where(stripe == 1, -1, stripe).astype(np.int32))
    near = vertices[rng.integers(0, len(vertices), 600)] + rng.normal(0.0, 0.02, (600, 3))
    far = rng.uniform(-30.0, 30.0, (50, 3))
    for points in (near, far):
        assert PaintIndex(vertices, paint).colors_at(points).tolist() == nearest_colors(points, vertices, paint)


def test_most_points_far_from_a_border_need_no_search() -> None:
    vertices = globe(40)[0]
    index = PaintIndex(vertices, Paint(np.zeros((2, 3), np.uint8), (vertices[:, 2] > 0).astype(np.int32)))
    cell, _ = index._cells(vertices)
    assert (index._only[cell] >= 0).mean() > 0.5


def test_with_triangles_it_is_the_colour_of_the_nearest_triangle_s_nearest_corner() -> None:
    """Against ``trimesh.triangles.closest_point``, which follows C. Ericson, Real-Time Collision Detection, 2005."""
    rng = np.random.default_rng(SEED)
    vertices, triangles = globe(16)[:2]
    vertices = vertices * np.array([1.0, 3.0, 0.5])  # long triangles, with nearest vertices that are no corners
    paint = Paint(np.zeros((3, 3), np.uint8), rng.integers(0, 3, len(vertices)).astype(np.int32))
    corners = rng.dirichlet(np.ones(3), 400)
    points = np.einsum("kj,kji->ki", corners, vertices[triangles[rng.integers(0, len(triangles), 400)]])
    points += rng.normal(0.0, 0.004, points.shape)
    index = PaintIndex(vertices, paint, triangles.astype(np.int32))
    expected = []
    for point in points:
        landed = trimesh.triangles.closest_point(vertices[triangles], np.tile(point, (len(triangles), 1)))
        nearest = int(((landed - point) ** 2).sum(axis=1).argmin())
        corner = ((vertices[triangles[nearest]] - landed[nearest]) ** 2).sum(axis=1).argmin()
        expected.append(int(paint.color[triangles[nearest][corner]]))
    found = index.colors_at(points).tolist()
    assert found == expected
    assert found != PaintIndex(vertices, paint).colors_at(points).tolist()
    assert index.colors_at(points[:1]).tolist() == expected[:1]
