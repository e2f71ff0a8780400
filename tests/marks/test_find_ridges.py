"""Ridges: all edges of a box and both of a cylinder are found, also through noise; smooth shapes have none."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from loopwright.marks.find_ridges import add_ridges, find_ridges
from loopwright.surface.half_edges import twin_corners
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, Region, RegionSurface


def make_surface(positions: FloatArray, triangles: IntArray) -> RegionSurface:
    return RegionSurface(
        positions,
        triangles,
        np.zeros(len(triangles), np.int32),
        (Region("all", (200, 200, 200)),),
        None,
        np.zeros(len(positions), bool),
    )


def box(n: int = 16) -> tuple[FloatArray, IntArray]:
    """The cube from -1 to 1 with n by n squares a face, each two triangles."""
    points, faces, first = [], [], 0
    u, v = np.meshgrid(np.linspace(-1, 1, n + 1), np.linspace(-1, 1, n + 1), indexing="ij")
    index = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    for axis in range(3):
        for side in (-1.0, 1.0):
            p = np.full((n + 1, n + 1, 3), side)
            p[..., (axis + 1) % 3], p[..., (axis + 2) % 3] = u, v * side
            points.append(p.reshape(-1, 3))
            for corner in ((a, b, c), (a, c, d)):
                faces.append(first + np.stack(corner, axis=-1).reshape(-1, 3))
            first += (n + 1) ** 2
    merged, inverse = np.unique(np.round(np.concatenate(points), 9), axis=0, return_inverse=True)
    return merged, inverse.reshape(-1)[np.concatenate(faces)].astype(np.int32)


def cylinder(around: int = 64, rows: int = 20, rings: int = 10) -> tuple[FloatArray, IntArray]:
    """A closed cylinder of radius 1 and height 2."""
    t = 2 * np.pi * np.arange(around) / around
    profile = [(k / rings, -1.0) for k in range(1, rings + 1)]
    profile += [(1.0, -1.0 + 2 * k / rows) for k in range(1, rows + 1)]
    profile += [(1.0 - k / rings, 1.0) for k in range(1, rings)]
    rows_of = [np.stack([r * np.cos(t), r * np.sin(t), np.full(around, z)], axis=1) for r, z in profile]
    points = np.concatenate([[[0.0, 0.0, -1.0]], *rows_of, [[0.0, 0.0, 1.0]]])
    i = np.arange(around)
    j = (i + 1) % around
    last = 1 + (len(profile) - 1) * around
    parts = [np.stack([0 * i, 1 + j, 1 + i], axis=1)]
    for k in range(len(profile) - 1):
        low = 1 + k * around
        parts.append(np.stack([low + i, low + j, low + around + j], axis=1))
        parts.append(np.stack([low + i, low + around + j, low + around + i], axis=1))
    parts.append(np.stack([last + i, last + j, 0 * i + len(points) - 1], axis=1))
    return points, np.concatenate(parts).astype(np.int32)


def test_the_shapes_of_these_tests_are_closed() -> None:
    for positions, triangles in (box(), cylinder()):
        assert (twin_corners(triangles) >= 0).all()
        a, b, c = (positions[triangles[:, k]] for k in range(3))
        assert (a * np.cross(b, c)).sum() / 6 == pytest.approx(8.0 if len(positions) == 1538 else 2 * np.pi, rel=0.01)


@pytest.mark.parametrize("noise", [0.0, 0.004])
def test_a_box_has_its_twelve_edges(noise: float) -> None:
    exact, triangles = box()
    positions = exact + noise * np.random.default_rng(3).standard_normal(exact.shape)
    chains = find_ridges(make_surface(positions, triangles), shortest=0.5)
    assert len(chains) == 12
    for chain in chains:
        at_edge = (np.abs(exact[chain]) == 1.0).sum(axis=1)
        assert (at_edge >= 2).all(), "a ridge leaves the edge of the box"
        assert set(at_edge[[0, -1]]) == {3}, "a ridge ends before the corner"
    assert sum(len(chain) - 1 for chain in chains) == 12 * 16


def test_a_cylinder_has_two_closed_rims() -> None:
    positions, triangles = cylinder()
    chains = find_ridges(make_surface(positions, triangles), shortest=0.5)
    assert len(chains) == 2
    for chain in chains:
        assert chain[0] == chain[-1] and len(chain) == 65
        np.testing.assert_allclose(np.hypot(positions[chain, 0], positions[chain, 1]), 1.0)


def test_round_shapes_have_none(tools: Any) -> None:
    assert find_ridges(make_surface(*tools.icosphere(4))) == []
    assert find_ridges(make_surface(*tools.torus())) == []


def test_a_crease_that_fades_out_must_be_twice_as_long_to_count() -> None:
    """A sheet folded along x > 0 only: the fold ends inside, where it gets too weak."""
    n = 40
    x, y = np.meshgrid(np.linspace(-1, 1, n + 1), np.linspace(-1, 1, n + 1), indexing="ij")
    height = np.maximum(x, 0.0) * np.abs(y)
    index = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    triangles = np.concatenate([np.stack(corner, axis=-1).reshape(-1, 3) for corner in ((a, b, c), (a, c, d))])
    positions = np.stack([x, y, height], axis=-1).reshape(-1, 3)
    sheet = make_surface(positions, triangles.astype(np.int32))
    (chain,) = find_ridges(sheet, shortest=0.25)
    length = float(np.abs(np.diff(positions[chain, 0])).sum())
    assert np.abs(positions[chain, 1]).max() < 1e-9 and 0.5 < length < 1.0
    assert find_ridges(sheet, shortest=0.51 * length) == []


def test_a_ridge_that_ends_on_nothing_is_carried_on() -> None:
    """The same sheet: the fold is followed, and no line ends inside."""
    n = 40
    x, y = np.meshgrid(np.linspace(-1, 1, n + 1), np.linspace(-1, 1, n + 1), indexing="ij")
    index = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    triangles = np.concatenate([np.stack(corner, axis=-1).reshape(-1, 3) for corner in ((a, b, c), (a, c, d))])
    positions = np.stack([x, y, np.maximum(x, 0.0) * np.abs(y)], axis=-1).reshape(-1, 3)
    sheet = make_surface(positions, triangles.astype(np.int32))
    after, lines = add_ridges(sheet, SurfaceProjector(sheet.positions, sheet.triangles), reach=0.06)
    assert len(lines) == 1
    ends = np.flatnonzero(np.bincount(after.flow_edges.ravel(), minlength=len(after.positions)) == 1)
    assert len(ends) == 2
    assert (np.abs(after.positions[ends, :2]).max(axis=1) > 1.0 - 1e-9).all()


def test_ridges_are_cut_in_where_the_shape_turns() -> None:
    """A net that cuts the box's edges off by up to half its own edge is drawn back onto them."""
    exact, triangles = box()
    at_edge = (np.abs(exact) == 1.0).sum(axis=1, keepdims=True) >= 2
    surface = make_surface(np.where(at_edge, np.clip(exact, -0.97, 0.97), exact), triangles)
    finer, fine_triangles = box(40)
    after, lines = add_ridges(surface, SurfaceProjector(finer, fine_triangles), reach=0.12)
    assert len(lines) == 12
    degree = np.bincount(after.flow_edges.ravel(), minlength=len(after.positions))
    assert set(degree[degree > 0]) == {2, 3} and (degree == 3).sum() == 8
    on = after.positions[degree > 0]
    off = 1.0 - np.sort(np.abs(on), axis=1)[:, 1]
    assert np.median(np.abs(off)) < 0.012
    ends = after.positions[after.flow_edges]
    # Source: a cube of side 2 has edges of length 24 in all; a jagged chain would be longer
    assert np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1).sum() == pytest.approx(24.0, rel=0.02)
    same, none = add_ridges(surface, SurfaceProjector(finer, fine_triangles), reach=20.0)
    assert none == () and same is surface
