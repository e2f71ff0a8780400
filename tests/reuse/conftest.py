"""A lump with a nose, a mesh of it, and other lumps of the same kind whose true places are known."""

from __future__ import annotations

import numpy as np
import pytest

from loopwright.reuse.register import RegisterOptions
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, QuadMesh, Region

LIGHT = RegisterOptions(node_counts=(80,), bend_rounds=9)
"""Registration in a second or two, for tests of what does not depend on its accuracy."""


def grid_quads(rows: int, columns: int) -> IntArray:
    ids = np.arange(rows * columns).reshape(rows, columns)
    corners = [ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]]
    return np.stack(corners, axis=-1).reshape(-1, 4).astype(np.int32)


def cube_sphere(n: int) -> tuple[FloatArray, IntArray]:
    """A unit sphere of 6 n^2 quads."""
    line = np.tan(np.linspace(-np.pi / 4, np.pi / 4, n + 1))
    across, up = np.meshgrid(line, line)
    u, v = across.ravel(), up.ravel()
    sheets = []
    for axis in range(3):
        for sign in (-1.0, 1.0):
            sheet = np.empty((len(u), 3))
            sheet[:, axis] = sign
            sheet[:, (axis + 1) % 3], sheet[:, (axis + 2) % 3] = (u, v) if sign > 0 else (v, u)
            sheets.append(sheet)
    local = grid_quads(n + 1, n + 1)
    points = np.vstack(sheets)
    quads = np.vstack([local + k * len(u) for k in range(6)])
    _, first, inverse = np.unique(np.round(points, 9), axis=0, return_index=True, return_inverse=True)
    points = points[first]
    points[np.abs(points) < 1e-12] = 0.0
    return points / np.linalg.norm(points, axis=1, keepdims=True), inverse.ravel()[quads].astype(np.int32)


def lump(directions: FloatArray) -> FloatArray:
    """A head-like lump, symmetric to x = 0: longer than wide, with a nose along z and two ears."""
    radius = 1.0 + 0.25 * np.exp(-((directions - [0, 0, 1]) ** 2).sum(axis=1) / 0.08)
    for side in (-1.0, 1.0):
        radius += 0.15 * np.exp(-((directions - [side, 0, 0]) ** 2).sum(axis=1) / 0.06)
    points: FloatArray = radius[:, None] * directions * np.array([0.8, 1.2, 1.0])
    return points


def warp(points: FloatArray) -> FloatArray:
    """A smooth change of several percent of the diagonal, symmetric to x = 0."""
    x, y, z = points.T
    moved = [x * (1 + 0.08 * np.sin(1.5 * y)), y + 0.1 * np.cos(2 * z) * x**2, z + 0.12 * np.sin(1.2 * y) + 0.06 * y]
    return np.stack(moved, axis=1)


def split(quads: IntArray) -> IntArray:
    return np.ascontiguousarray(np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]), np.int32)


def quad_mesh(positions: FloatArray, quads: IntArray) -> QuadMesh:
    n = len(positions)
    return QuadMesh(
        positions=np.ascontiguousarray(positions),
        quads=quads,
        quad_region=np.zeros(len(quads), np.int32),
        regions=(Region("all", (200, 200, 200)),),
        vertex_curve=np.full(n, -1, np.int32),
        curves=(),
        is_fixed=np.zeros(n, bool),
        on_mirror=np.zeros(n, bool),
    )


@pytest.fixture(scope="session")
def lump_mesh() -> QuadMesh:
    directions, quads = cube_sphere(12)
    return quad_mesh(lump(directions), quads)


@pytest.fixture(scope="session")
def lump_sculpt() -> SurfaceProjector:
    directions, quads = cube_sphere(40)
    return SurfaceProjector(lump(directions), split(quads))


@pytest.fixture(scope="session")
def warped_sculpt(lump_sculpt: SurfaceProjector) -> SurfaceProjector:
    return SurfaceProjector(warp(lump_sculpt.positions), lump_sculpt.triangles)
