from __future__ import annotations

import igl
import numpy as np
import pytest

from loopwright.demo.blend_fields import Field, Points
from loopwright.demo.make_noise import make_noise
from loopwright.demo.polygonise_field import polygonise_field
from loopwright.demo.relax_surface import relax_surface
from loopwright.errors import InternalError
from loopwright.types import FloatArray, IntArray

LOWER, UPPER = np.array([-2.0, -2.0, -2.0]), np.array([2.0, 2.0, 2.0])


def ball(p: Points) -> Field:
    distance: Field = np.sqrt(p.x**2 + p.y**2 + p.z**2) - 1.3
    return distance


def torus(p: Points) -> Field:
    distance: Field = np.sqrt((np.sqrt(p.x**2 + p.y**2) - 1.1) ** 2 + p.z**2) - 0.45
    return distance


def rubble(p: Points) -> Field:
    """Return a ball with bumps finer than the grid: every ambiguous kind of cell turns up."""
    place = np.stack(p, axis=1).astype(np.float64)
    bumps = make_noise(place, wavelength=0.3, channels=1, generator=np.random.default_rng(5))[:, 0]
    field: Field = ball(p) + 0.12 * bumps
    return field


def area_and_volume(positions: FloatArray, triangles: IntArray) -> tuple[float, float]:
    a, b, c = (positions[triangles[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2.0
    return float(area), float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def test_ball_has_its_area_and_volume() -> None:
    errors = []
    for step in (0.1, 0.05):
        positions, triangles = polygonise_field(ball, LOWER, UPPER, step)
        positions, normals = relax_surface(ball, positions, triangles)
        assert len(positions) - len(triangles) // 2 == 2
        area, volume = area_and_volume(positions, triangles)
        # 4 pi r^2 and 4/3 pi r^3; the inscribed mesh falls short by O(step^2).
        errors.append((1.0 - area / (4.0 * np.pi * 1.3**2), 1.0 - volume / (4.0 / 3.0 * np.pi * 1.3**3)))
        assert np.abs(np.linalg.norm(positions, axis=1) - 1.3).max() < 1e-6
        assert np.abs(normals - positions / 1.3).max() < 1e-3
    for coarse, fine in zip(*errors, strict=True):
        assert 0.0 < fine < coarse < 0.01
        assert 3.0 < coarse / fine < 5.5


def test_torus_has_euler_number_zero_and_its_volume() -> None:
    positions, triangles = polygonise_field(torus, LOWER, UPPER, 0.05)
    positions, _ = relax_surface(torus, positions, triangles)
    assert len(positions) - len(triangles) // 2 == 0
    # Pappus: volume 2 pi^2 R r^2.
    assert area_and_volume(positions, triangles)[1] == pytest.approx(2.0 * np.pi**2 * 1.1 * 0.45**2, rel=0.01)


@pytest.mark.parametrize("step", [0.2, 0.13, 0.09, 0.06])
def test_even_rubble_gives_a_closed_oriented_manifold(step: float) -> None:
    positions, triangles = polygonise_field(rubble, LOWER, UPPER, step)
    # Reference: libigl's own checks.
    assert igl.is_edge_manifold(triangles.astype(np.int64))[0]
    assert igl.is_vertex_manifold(triangles.astype(np.int64)).all()
    count = len(positions)
    directed = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]).astype(np.int64)
    key = np.sort(directed[:, 0] * count + directed[:, 1])
    assert (np.diff(key) > 0).all()
    assert (key == np.sort(directed[:, 1] * count + directed[:, 0])).all()
    assert area_and_volume(positions, triangles)[1] > 0.0


def test_body_that_leaves_its_box_is_refused() -> None:
    with pytest.raises(InternalError, match="box"):
        polygonise_field(ball, LOWER / 2.0, UPPER / 2.0, 0.1)
