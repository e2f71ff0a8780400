"""Quads that lie nearer to another part of the sculpt are drawn back to their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from tests.fit.conftest import grid_quads, quad_mesh

from loopwright.fit.draw_home import draw_home
from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.part_crossings import quads_astray
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh

GAP = 0.04


def sheet(count: int, height: float) -> tuple[FloatArray, IntArray]:
    line = np.linspace(-1.0, 1.0, count + 1)
    x, y = np.meshgrid(line, line)
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, height)]), grid_quads(count + 1, count + 1)


def two_lips() -> SurfaceProjector:
    """One sheet that faces up, and close above it one that faces down, as two lips that nearly touch."""
    lower, quads = sheet(40, 0.0)
    upper, _ = sheet(40, GAP)
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return SurfaceProjector(np.vstack([lower, upper]), np.vstack([triangles, triangles[:, ::-1] + len(lower)]))


def lifted(pushed: list[int]) -> QuadMesh:
    """A mesh on the lower lip with some inner vertices so high that quads round them lie nearer to the upper."""
    points, quads = sheet(8, 0.0)
    points[pushed, 2] = 0.9 * GAP
    rim = np.flatnonzero(np.abs(points[:, :2]).max(axis=1) > 0.99).tolist()
    return quad_mesh(points, quads, fixed=rim)


def no_harm(mesh: QuadMesh) -> BoolArray:
    return np.zeros(len(mesh.quads), bool)


def test_a_quad_comes_home_to_its_own_lip() -> None:
    lips, mesh = two_lips(), lifted([40, 41, 49, 50])
    fold = fold_mirror(mesh)
    assert quads_astray(mesh.positions, mesh.quads, lips).sum() == 1
    home = draw_home(mesh, fold, CrossingFinder(fold), mesh.positions, lips, lambda _: no_harm(mesh))
    assert not quads_astray(home, mesh.quads, lips).any()
    assert np.array_equal(home[mesh.is_fixed], mesh.positions[mesh.is_fixed])
    assert (np.abs(home - mesh.positions).max(axis=1) > 0).sum() <= 4


def test_nothing_moves_where_every_move_does_harm() -> None:
    lips, mesh = two_lips(), lifted([40, 41, 49, 50])
    fold = fold_mirror(mesh)
    home = draw_home(mesh, fold, CrossingFinder(fold), mesh.positions, lips, lambda _: ~no_harm(mesh))
    assert np.array_equal(home, mesh.positions)


def test_fixed_vertices_stay() -> None:
    lips, mesh = two_lips(), lifted([40, 41, 49, 50])
    held = replace(mesh, is_fixed=np.ones(len(mesh.positions), bool))
    fold = fold_mirror(held)
    home = draw_home(held, fold, CrossingFinder(fold), held.positions, lips, lambda _: no_harm(held))
    assert np.array_equal(home, held.positions)
