"""Sculpts and meshes of known shape for the tests of this folder."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from loopwright.surface.project import SurfaceProjector
from loopwright.types import Curve, FloatArray, IntArray, MirrorPlane, QuadMesh, Region

MeshMaker = Callable[..., QuadMesh]


def quad_mesh(
    positions: FloatArray,
    quads: IntArray,
    *,
    curves: tuple[Curve, ...] = (),
    vertex_curve: IntArray | None = None,
    fixed: list[int] | None = None,
    mirror: MirrorPlane | None = None,
) -> QuadMesh:
    n = len(positions)
    is_fixed = np.zeros(n, bool)
    is_fixed[fixed or []] = True
    on_mirror = np.zeros(n, bool) if mirror is None else np.abs(mirror.signed_distance(positions)) < 1e-9
    return QuadMesh(
        positions=np.ascontiguousarray(positions, np.float64),
        quads=np.ascontiguousarray(quads, np.int32),
        quad_region=np.zeros(len(quads), np.int32),
        regions=(Region("all", (200, 200, 200)),),
        vertex_curve=np.full(n, -1, np.int32) if vertex_curve is None else vertex_curve.astype(np.int32),
        curves=curves,
        is_fixed=is_fixed,
        on_mirror=on_mirror,
        mirror=mirror,
    )


def grid_quads(rows: int, columns: int) -> IntArray:
    """Quads of a rows x columns grid of vertices, counter-clockwise where x runs along a row and y across."""
    ids = np.arange(rows * columns).reshape(rows, columns)
    corners = [ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]]
    return np.stack(corners, axis=-1).reshape(-1, 4).astype(np.int32)


def weld(positions: FloatArray, quads: IntArray) -> tuple[FloatArray, IntArray]:
    _, first, inverse = np.unique(np.round(positions, 9), axis=0, return_index=True, return_inverse=True)
    return positions[first], inverse.ravel()[quads].astype(np.int32)


def cube_sphere(n: int, *, half: bool = False) -> tuple[FloatArray, IntArray]:
    """A unit sphere of 6 n^2 quads with eight poles of valence three; its half x >= 0 for even n."""
    line = np.tan(np.linspace(-np.pi / 4, np.pi / 4, n + 1))
    line[n // 2] = 0.0 if n % 2 == 0 else line[n // 2]
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
    points, quads = weld(np.vstack(sheets), np.vstack([local + k * len(u) for k in range(6)]))
    if half:
        quads = quads[points[quads].mean(axis=1)[:, 0] > 0.0]
        used, inverse = np.unique(quads, return_inverse=True)
        points, quads = points[used], inverse.reshape(-1, 4).astype(np.int32)
    return points / np.linalg.norm(points, axis=1, keepdims=True), quads


def torus(columns: int, rows: int, major: float = 1.0, minor: float = 0.4) -> tuple[FloatArray, IntArray]:
    around, across = np.meshgrid(2 * np.pi * np.arange(columns) / columns, 2 * np.pi * np.arange(rows) / rows)
    u, v = around.ravel(), across.ravel()
    radius = major + minor * np.cos(v)
    points = np.stack([radius * np.cos(u), radius * np.sin(u), minor * np.sin(v)], axis=1)
    ids = np.arange(columns * rows).reshape(rows, columns)
    right, up = np.roll(ids, -1, axis=1), np.roll(ids, -1, axis=0)
    return points, np.stack([ids, right, np.roll(up, -1, axis=1), up], axis=-1).reshape(-1, 4).astype(np.int32)


def split(quads: IntArray) -> IntArray:
    return np.ascontiguousarray(np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]), np.int32)


@pytest.fixture(scope="session")
def sphere_sculpt() -> SurfaceProjector:
    points, quads = cube_sphere(120)
    return SurfaceProjector(points, split(quads))


@pytest.fixture(scope="session")
def torus_sculpt() -> SurfaceProjector:
    points, quads = torus(500, 220)
    return SurfaceProjector(points, split(quads))


@pytest.fixture(scope="session")
def plane_sculpt() -> SurfaceProjector:
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-2, 2, 81), np.linspace(-2, 2, 81)))
    return SurfaceProjector(np.stack([x, y, 0 * x], axis=1), split(grid_quads(81, 81)))


@pytest.fixture(scope="session")
def make_sphere() -> MeshMaker:
    """``make_sphere(n, half=False)``: a cube-like mesh on the unit sphere."""

    def make(n: int, half: bool = False) -> QuadMesh:
        points, quads = cube_sphere(n, half=half)
        return quad_mesh(points, quads, mirror=MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0) if half else None)

    return make


@pytest.fixture(scope="session")
def make_torus() -> MeshMaker:
    """``make_torus(columns, rows)``: a regular mesh on the torus of radii 1 and 0.4."""

    def make(columns: int, rows: int) -> QuadMesh:
        return quad_mesh(*torus(columns, rows))

    return make


@pytest.fixture(scope="session")
def make_square() -> MeshMaker:
    """``make_square(n, m)``: a grid on the square [-1, 1]^2, its sides four curves, its corners fixed."""

    def make(n: int, m: int) -> QuadMesh:
        x, y = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, n + 1), np.linspace(-1, 1, m + 1)))
        sides = [y == -1, x == 1, y == 1, x == -1]
        corners = np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
        curve = np.full(len(x), -1)
        for index, side in enumerate(sides):
            curve[side] = index
        fixed = np.flatnonzero((np.abs(x) == 1) & (np.abs(y) == 1))
        curve[fixed] = -1
        curves = tuple(Curve(corners[[k, (k + 1) % 4]], False) for k in range(4))
        points = np.stack([x, y, 0 * x], axis=1)
        return quad_mesh(points, grid_quads(m + 1, n + 1), curves=curves, vertex_curve=curve, fixed=fixed.tolist())

    return make


@pytest.fixture(scope="session")
def make_board() -> Callable[[float, float], SurfaceProjector]:
    """``make_board(x, y)``: a flat board from -x to x and from -y to y, of squares with sides of 0.01."""

    def make(x_reach: float, y_reach: float) -> SurfaceProjector:
        columns, rows = (int(round(200 * reach)) + 1 for reach in (x_reach, y_reach))
        x, y = np.meshgrid(np.linspace(-x_reach, x_reach, columns), np.linspace(-y_reach, y_reach, rows))
        ids = np.arange(columns * rows).reshape(rows, columns)
        a, b, c, d = (part.ravel() for part in (ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]))
        triangles = np.vstack([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]).astype(np.int32)
        return SurfaceProjector(np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1), triangles)

    return make
