"""Aligning as a whole."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from loopwright.reuse.align import Similarity, align_shapes, fit_similarity
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray

NONE = np.zeros((0, 3))


def random_similarity(seed: int, angle: float = 3.0) -> Similarity:
    rng = np.random.default_rng(seed)
    turn = Rotation.from_rotvec(angle * np.array([0.6, -0.48, 0.64])).as_matrix()
    return Similarity(float(rng.uniform(0.5, 2.0)), turn, rng.normal(size=3))


@pytest.mark.parametrize("seed", range(4))
def test_a_similarity_is_found_exactly(seed: int) -> None:
    points = np.random.default_rng(seed).normal(size=(3 + seed, 3))
    truth = random_similarity(seed)
    found = fit_similarity(points, truth.apply(points))
    assert found is not None
    assert found.scale == pytest.approx(truth.scale, rel=1e-12)
    assert np.allclose(found.rotation, truth.rotation, atol=1e-12)
    assert np.linalg.det(found.rotation) == pytest.approx(1.0)


def test_scipy_finds_the_same_rotation() -> None:
    """Independent: scipy's solution of the same problem without scale (Wahba's problem)."""
    rng = np.random.default_rng(5)
    a, b = rng.normal(size=(2, 9, 3))
    a, b = a - a.mean(axis=0), b - b.mean(axis=0)
    found = fit_similarity(a, b)
    assert found is not None
    assert np.allclose(found.rotation, Rotation.align_vectors(b, a)[0].as_matrix(), atol=1e-9)


def test_landmarks_in_a_line_decide_nothing() -> None:
    line = np.outer(np.arange(5.0), [1.0, 2.0, 3.0])
    assert fit_similarity(line, line) is None
    assert fit_similarity(line[:2], line[:2]) is None


def test_closest_points_undo_a_small_similarity(lump_sculpt: SurfaceProjector) -> None:
    points, normals = lump_sculpt.positions[::7], lump_sculpt.vertex_normals[::7]
    turn = Rotation.from_rotvec([0.05, -0.1, 0.04]).as_matrix()
    there = Similarity(1.05, turn, np.array([0.05, 0.02, -0.04]))
    found = align_shapes(there.apply(points), there.turn(normals), lump_sculpt, NONE, NONE)
    left = found.apply(there.apply(points)) - points
    assert np.abs(left).max() <= 1e-3 * lump_sculpt.diagonal


def test_far_off_and_other_units_are_brought_over(lump_sculpt: SurfaceProjector) -> None:
    points, normals = lump_sculpt.positions[::7], lump_sculpt.vertex_normals[::7]
    found = align_shapes(100.0 * points + 700.0, normals, lump_sculpt, NONE, NONE)
    assert np.abs(found.apply(100.0 * points + 700.0) - points).max() <= 1e-3 * lump_sculpt.diagonal


def test_what_lies_right_stays(lump_sculpt: SurfaceProjector) -> None:
    found = align_shapes(lump_sculpt.positions, lump_sculpt.vertex_normals, lump_sculpt, NONE, NONE)
    assert np.abs(found.apply(lump_sculpt.positions) - lump_sculpt.positions).max() <= 1e-6


def test_one_landmark_shifts(lump_sculpt: SurfaceProjector) -> None:
    points, normals = lump_sculpt.positions[::7], lump_sculpt.vertex_normals[::7]
    shift: FloatArray = np.array([[5.0, 1.0, -2.0]])
    found = align_shapes(points + shift, normals, lump_sculpt, points[:1] + shift, points[:1])
    assert np.abs(found.apply(points + shift) - points).max() <= 1e-3 * lump_sculpt.diagonal
