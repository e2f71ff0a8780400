"""The angle between edges and strain, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from loopwright.rehearse.measure_strain import RANDOM_ANGLE, measure_strain
from loopwright.types import FloatArray, IntArray


def sheet(n: int, degrees: float) -> tuple[FloatArray, IntArray]:
    """An n x n grid of unit quads in the plane, turned."""
    x, y = (a.ravel() for a in np.meshgrid(np.arange(n + 1.0), np.arange(n + 1.0)))
    ids = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    quads = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
    turn = Rotation.from_euler("z", degrees, degrees=True).as_matrix()
    return (np.stack([x, y, 0 * x], axis=1) - [n / 2, n / 2, 0]) @ turn.T, quads.astype(np.int32)


def bent_tube(plane: FloatArray, radius: float, bend: float, size: float) -> tuple[FloatArray, FloatArray]:
    """Roll a sheet up to a tube along z (the rest), and bend the tube's axis to a circle (the pose)."""
    angle, z = plane[:, 0] / size, plane[:, 1] / size * radius
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    rest = np.stack([x, y, z], axis=1)
    posed = np.stack([(bend + x) * np.cos(z / bend) - bend, y, (bend + x) * np.sin(z / bend)], axis=1)
    return rest, posed


@pytest.mark.parametrize(("degrees", "expected"), [(0, 0), (10, 10), (30, 30), (45, 45), (60, 30), (80, 10), (90, 0)])
def test_a_stretched_sheet(degrees: float, expected: float) -> None:
    """Stretching along x has principal directions x and y: edges at p degrees are off by p modulo 90, folded."""
    rest, quads = sheet(5, degrees)
    strain = measure_strain(rest, rest * [1.3, 1.0, 1.0], quads)
    assert strain.angle == pytest.approx(np.full(25, expected), abs=1e-6)
    assert strain.stretches == pytest.approx(np.tile([1.3, 1.0], (25, 1)))
    assert strain.mean_angle == pytest.approx(expected, abs=1e-6)


def test_simple_shear() -> None:
    """F = [[1, g], [0, 1]] has stretches s, 1/s with s - 1/s = g and principal direction at atan(2 / g) / 2.

    Ogden, Non-linear Elastic Deformations, 1984, section 2.2 (from memory).
    """
    g = 0.5
    rest, quads = sheet(3, 0.0)
    strain = measure_strain(rest, rest @ np.array([[1.0, 0, 0], [g, 1, 0], [0, 0, 1]]), quads)
    s = (g + np.sqrt(g**2 + 4)) / 2
    assert strain.stretches == pytest.approx(np.tile([s, 1 / s], (9, 1)))
    direction = np.degrees(np.arctan(2 / g)) / 2
    assert strain.mean_angle == pytest.approx(min(direction, 90 - direction))


def test_a_bent_tube_whose_edges_follow_it() -> None:
    """Bending a tube stretches it along its axis alone: edges along and around follow the strain."""
    plane, quads = sheet(40, 0.0)
    rest, posed = bent_tube(plane, 1.0, 4.0, 8.0)
    assert measure_strain(rest, posed, quads).mean_angle <= 0.5


def test_a_bent_tube_whose_edges_run_askew() -> None:
    plane, quads = sheet(40, 45.0)
    rest, posed = bent_tube(plane, 1.0, 4.0, 8.0)
    assert measure_strain(rest, posed, quads).mean_angle >= 44.0


def test_random_directions_are_off_by_half_of_45() -> None:
    """Even angles modulo 90 fold to even ones between 0 and 45: the mean is 22.5 (derived)."""
    rng = np.random.default_rng(0)
    parts = [sheet(1, degrees)[0] + [3.0 * i, 0, 0] for i, degrees in enumerate(rng.uniform(0, 360, 4000))]
    quads = (sheet(1, 0.0)[1] + 4 * np.arange(4000)[:, None]).astype(np.int32)
    rest = np.vstack(parts)
    strain = measure_strain(rest, rest * [1.0, 1.4, 1.0], quads)
    assert strain.mean_angle == pytest.approx(RANDOM_ANGLE, abs=4 * 13.0 / np.sqrt(4000))  # 13 = 45 / sqrt(12)


def test_turning_and_growing_is_no_strain() -> None:
    rest, quads = sheet(4, 20.0)
    turn = Rotation.from_rotvec([0.5, 1.0, -0.3]).as_matrix()
    strain = measure_strain(rest, 2.0 * rest @ turn.T + 1.0, quads)
    assert (strain.weight == 0.0).all()
    assert np.isnan(strain.mean_angle)


def test_a_flat_quad_without_area_does_no_harm() -> None:
    rest, quads = sheet(2, 0.0)
    rest[quads[0]] = rest[quads[0][0]]
    strain = measure_strain(rest, 1.5 * rest, quads)
    assert np.isfinite(strain.angle).all() and strain.weight[0] == 0.0
