"""Sculpts and cages of known shape for the tests of this folder."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, MirrorPlane, QuadMesh, Region

MeshMaker = Callable[..., QuadMesh]
SculptMaker = Callable[..., SurfaceProjector]


def quad_mesh(positions: FloatArray, quads: IntArray, mirror: MirrorPlane | None = None) -> QuadMesh:
    n = len(positions)
    return QuadMesh(
        positions=np.ascontiguousarray(positions, np.float64),
        quads=np.ascontiguousarray(quads, np.int32),
        quad_region=np.zeros(len(quads), np.int32),
        regions=(Region("all", (200, 200, 200)),),
        vertex_curve=np.full(n, -1, np.int32),
        curves=(),
        is_fixed=np.zeros(n, bool),
        on_mirror=np.zeros(n, bool) if mirror is None else np.abs(mirror.signed_distance(positions)) < 1e-9,
        mirror=mirror,
    )


def cube_grid(line: FloatArray, *, half: bool = False) -> tuple[FloatArray, IntArray]:
    """The surface of the cube [-1, 1]^3 cut at the values of ``line`` along each axis; its half x >= 0."""
    n = len(line)
    across, up = np.meshgrid(line, line)
    u, v = across.ravel(), up.ravel()
    ids = np.arange(n * n).reshape(n, n)
    local = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
    sheets: list[FloatArray] = []
    quads: list[NDArray[np.integer]] = []
    for axis in range(3):
        for sign in (-1.0, 1.0):
            sheet = np.empty((n * n, 3))
            sheet[:, axis] = sign
            sheet[:, (axis + 1) % 3], sheet[:, (axis + 2) % 3] = (u, v) if sign > 0 else (v, u)
            quads.append(local + len(sheets) * n * n)
            sheets.append(sheet)
    points = np.vstack(sheets)
    corners: NDArray[np.integer] = np.vstack(quads)
    _, first, inverse = np.unique(np.round(points, 9), axis=0, return_index=True, return_inverse=True)
    points, corners = points[first], inverse.ravel()[corners]
    if half:
        corners = corners[points[corners].mean(axis=1)[:, 0] > 0.0]
        used, inverse = np.unique(corners, return_inverse=True)
        points, corners = points[used], inverse.reshape(-1, 4)
    return points, corners.astype(np.int32)


def round_box(points: FloatArray, radius: float) -> FloatArray:
    """Points of the cube's surface on the box [-1, 1]^3 whose edges are rounded with a radius."""
    core = np.clip(points, radius - 1.0, 1.0 - radius)
    way = points - core
    length = np.linalg.norm(way, axis=1, keepdims=True)
    placed: FloatArray = core + radius * way / length
    return placed


def box_distance(points: FloatArray, radius: float) -> FloatArray:
    """Signed distance to that box: exact (the offset of a smaller box, derived)."""
    out = np.abs(points) - (1.0 - radius)
    outside = np.linalg.norm(np.maximum(out, 0.0), axis=1)
    distance: FloatArray = outside + np.minimum(out.max(axis=1), 0.0) - radius
    return distance


def split(quads: IntArray) -> IntArray:
    return np.ascontiguousarray(np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]), np.int32)


def even_line(n: int) -> FloatArray:
    line = np.tan(np.linspace(-np.pi / 4, np.pi / 4, n + 1))
    line[n // 2] = 0.0 if n % 2 == 0 else line[n // 2]
    return line


def box_line(radius: float, flat: int = 40, bent: int = 24) -> FloatArray:
    """Cuts of an axis of the sculpted box: even on the flats, and in the fillet even in angle."""
    angle = np.linspace(0.0, np.pi / 4, bent + 1)[1:]
    fillet = (1.0 - radius) + radius * np.tan(angle)
    side = np.concatenate([np.linspace(0.0, 1.0 - radius, flat), fillet])
    return np.concatenate([-side[:0:-1], side])


MIRROR = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)


@pytest.fixture(scope="session")
def make_sphere() -> MeshMaker:
    """``make_sphere(n, half=False)``: a cage of 6 n^2 quads on the unit sphere."""

    def make(n: int, half: bool = False) -> QuadMesh:
        points, quads = cube_grid(even_line(n), half=half)
        return quad_mesh(points / np.linalg.norm(points, axis=1, keepdims=True), quads, MIRROR if half else None)

    return make


@pytest.fixture(scope="session")
def sculpt_sphere() -> SculptMaker:
    """``sculpt_sphere(noise=0, bumps=0)``: a dense unit sphere with noise at every vertex, or with smooth bumps."""

    def make(noise: float = 0.0, bumps: float = 0.0, n: int = 110) -> SurfaceProjector:
        points, quads = cube_grid(even_line(n))
        points = points / np.linalg.norm(points, axis=1, keepdims=True)
        height = noise * np.random.default_rng(1).normal(size=len(points))
        height += bumps * np.sin(9 * points[:, 0] ** 2) * np.sin(8 * points[:, 1]) * np.cos(7 * points[:, 2])
        return SurfaceProjector(points * (1.0 + height)[:, None], split(quads))

    return make


@pytest.fixture(scope="session")
def make_box() -> MeshMaker:
    """``make_box(radius, n, half=False)``: a cage of 6 n^2 quads on the rounded box, its edges along the fillets."""

    def make(radius: float, n: int, half: bool = False) -> QuadMesh:
        points, quads = cube_grid(np.linspace(-1.0, 1.0, n + 1), half=half)
        return quad_mesh(round_box(points, radius), quads, MIRROR if half else None)

    return make


@pytest.fixture(scope="session")
def sculpt_box() -> SculptMaker:
    """``sculpt_box(radius, noise=0)``: the dense rounded box."""

    def make(radius: float, noise: float = 0.0) -> SurfaceProjector:
        points, quads = cube_grid(box_line(radius))
        placed = round_box(points, radius)
        shift = noise * np.random.default_rng(2).normal(size=placed.shape)
        return SurfaceProjector(placed + shift, split(quads))

    return make


@pytest.fixture(scope="session")
def make_sheet() -> MeshMaker:
    """``make_sheet(n, height)``: n^2 vertices on the square [-1, 1]^2 at a height, facing up."""

    def make(n: int, height: float) -> QuadMesh:
        x, y = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, n), np.linspace(-1, 1, n)))
        ids = np.arange(n * n).reshape(n, n)
        quads = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
        return quad_mesh(np.stack([x, y, np.full(n * n, height)], axis=1), quads.astype(np.int32))

    return make
