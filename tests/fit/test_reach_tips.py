"""A mesh is brought out to the tips of its sculpt, and told where it ends short of them."""

from __future__ import annotations

import numpy as np
import pytest
from tests.fit.conftest import grid_quads, quad_mesh

from loopwright.fit.measure_quality import corner_sines
from loopwright.fit.reach_tips import find_tips, reach_tips, tell_tips
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, QuadMesh


def spike(points: FloatArray, at: tuple[float, float]) -> FloatArray:
    """Heights of a spike of height 0.6 on a plane."""
    away = np.linalg.norm(points[:, :2] - at, axis=1)
    return np.column_stack([points[:, :2], 0.6 * np.maximum(0.0, 1.0 - away / 0.45)])


def plane(count: int) -> tuple[FloatArray, IntArray]:
    line = np.linspace(-1.0, 1.0, count)
    x, y = np.meshgrid(line, line)
    return np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)]), grid_quads(count, count)


@pytest.fixture
def sculpt() -> SurfaceProjector:
    points, quads = plane(121)
    return SurfaceProjector(spike(points, (0.1, 0.05)), np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))


def flat_topped(count: int = 11) -> QuadMesh:
    """A mesh on the foot of the spike alone: its top is cut off at a tenth of the height."""
    points, quads = plane(count)
    rim = np.flatnonzero(np.abs(points[:, :2]).max(axis=1) > 0.99).tolist()
    heights = np.minimum(spike(points, (0.1, 0.05))[:, 2], 0.12)
    return quad_mesh(np.column_stack([points[:, :2], heights]), quads, fixed=rim)


def test_the_tip_is_found_where_it_is(sculpt: SurfaceProjector) -> None:
    (tip,) = find_tips(flat_topped(), sculpt.positions)
    top = sculpt.positions[sculpt.positions[:, 2].argmax()]
    assert np.allclose(tip.place, top)
    assert tip.gap == pytest.approx(top[2] - 0.12, rel=0.02)
    assert tip.edges == pytest.approx(tip.gap / 0.2, rel=0.15)


def test_the_mesh_comes_out_to_the_tip(sculpt: SurfaceProjector) -> None:
    mesh = flat_topped()
    out = reach_tips(mesh, sculpt.positions, sculpt)
    assert mesh.positions[:, 2].max() < 0.13
    assert out.positions[:, 2].max() > 0.5
    assert find_tips(out, sculpt.positions) == []
    assert (corner_sines(out.positions, out.quads).min(axis=1) > 0.0).all()
    assert np.array_equal(out.is_fixed, mesh.is_fixed)  # what was put on the tip is free again
    assert np.array_equal(out.positions[mesh.is_fixed], mesh.positions[mesh.is_fixed])
    assert np.array_equal(out.quads, mesh.quads)


def test_a_mesh_that_reaches_everything_is_left_alone(sculpt: SurfaceProjector) -> None:
    points, quads = plane(21)
    flat = SurfaceProjector(*_triangles(points, quads))
    mesh = quad_mesh(points, quads)
    assert reach_tips(mesh, points, flat) is mesh
    assert tell_tips(mesh, points) == []


def test_what_is_not_reached_is_told_with_its_place(sculpt: SurfaceProjector) -> None:
    (finding,) = tell_tips(flat_topped(), sculpt.positions)
    assert finding.kind == "short"
    assert "(0.1, 0.05" in finding.text
    assert "in one place" in finding.text


def _triangles(points: FloatArray, quads: IntArray) -> tuple[FloatArray, IntArray]:
    return points, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
