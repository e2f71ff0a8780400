"""Painted spheres and tori, and the laws that every region surface has to hold."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.surface.edges import build_edges, triangle_normals
from loopwright.types import FloatArray, IntArray, RegionSurface, Sculpt


def icosphere(levels: int) -> tuple[FloatArray, IntArray]:
    """A unit sphere with 20 * 4**levels triangles."""
    g = (1.0 + np.sqrt(5.0)) / 2.0
    base = [(-1, g, 0), (1, g, 0), (-1, -g, 0), (1, -g, 0)]
    points = np.array(base + [(z, x, y) for x, y, z in base] + [(y, z, x) for x, y, z in base], dtype=np.float64)
    points /= np.linalg.norm(points[0])
    gaps = np.linalg.norm(points[:, None] - points[None], axis=2)
    near = (gaps > 0) & (gaps < 1.06)
    faces = [
        (i, j, k)
        for i in range(12)
        for j in range(i + 1, 12)
        for k in range(j + 1, 12)
        if near[i, j] and near[j, k] and near[i, k]
    ]
    triangles = np.array(faces, dtype=np.int32)
    out = (triangle_normals(points, triangles) * points[triangles[:, 0]]).sum(axis=1) < 0
    triangles[out] = triangles[out][:, ::-1]
    for _ in range(levels):
        table = build_edges(triangles, len(points))
        middles = points[table.edges].sum(axis=1)
        middle = len(points) + table.triangle_edges
        points = np.concatenate([points, middles / np.linalg.norm(middles, axis=1, keepdims=True)])
        a, b, c = triangles.T
        ab, bc, ca = middle.T
        parts = [(a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca)]
        triangles = np.concatenate([np.stack(part, axis=1) for part in parts]).astype(np.int32)
    return points, np.ascontiguousarray(triangles)


def torus(around: int = 160, across: int = 64) -> tuple[FloatArray, IntArray]:
    """A torus of radii 1 and 0.4."""
    u, v = np.meshgrid(np.arange(around), np.arange(across), indexing="ij")
    a, b = 2 * np.pi * u.ravel() / around, 2 * np.pi * v.ravel() / across
    ring = 1.0 + 0.4 * np.cos(b)
    points = np.stack([ring * np.cos(a), ring * np.sin(a), 0.4 * np.sin(b)], axis=1)
    index = u * across + v
    right, up = np.roll(index, -1, axis=0), np.roll(index, -1, axis=1)
    corner = np.roll(right, -1, axis=1)
    parts = [np.stack([index, right, corner], axis=2), np.stack([index, corner, up], axis=2)]
    return points, np.concatenate([part.reshape(-1, 3) for part in parts]).astype(np.int32)


def paint(points: FloatArray, triangles: IntArray, colors: FloatArray) -> Sculpt:
    """A sculpt with colours given as numbers from 0 to 255."""
    return Sculpt(points, triangles, np.clip(np.rint(colors), 0, 255).astype(np.uint8))


def region_pieces(surface: RegionSurface) -> dict[str, list[float]]:
    """For each region the areas of its edge-connected pieces, the largest first."""
    table = build_edges(surface.triangles, len(surface.positions))
    sides = table.edge_triangles[~table.is_boundary()]
    sides = sides[surface.triangle_region[sides[:, 0]] == surface.triangle_region[sides[:, 1]]]
    m = len(surface.triangles)
    graph = coo_matrix((np.ones(len(sides)), (sides[:, 0], sides[:, 1])), shape=(m, m))
    _, piece = connected_components(graph, directed=False)
    area = np.linalg.norm(triangle_normals(surface.positions, surface.triangles), axis=1) / 2
    out = {}
    for k, region in enumerate(surface.regions):
        mine = surface.triangle_region == k
        total = np.bincount(piece[mine], area[mine])
        out[region.name] = sorted((float(a) for a in total[total > 0]), reverse=True)
    return out


def euler_number(surface: RegionSurface) -> int:
    table = build_edges(surface.triangles, len(surface.positions))
    return len(surface.positions) - len(table.edges) + len(surface.triangles)


def smallest_angle(surface: RegionSurface) -> float:
    """The smallest angle of all triangles in degrees, by the law of cosines."""
    p = surface.positions[surface.triangles]
    a, b, c = (np.linalg.norm(p[:, k] - p[:, (k + 1) % 3], axis=1) for k in range(3))
    cosines = [(x**2 + y**2 - z**2) / (2 * x * y) for x, y, z in ((a, b, c), (b, c, a), (c, a, b))]
    return float(np.rad2deg(np.arccos(np.clip(np.max(cosines), -1.0, 1.0))))


def assert_laws(surface: RegionSurface, *, min_angle: float = 3.0) -> None:
    """Hold a region surface against what its type promises."""
    n = len(surface.positions)
    table = build_edges(surface.triangles, n)  # raises where an edge has three triangles
    half = np.stack([surface.triangles, np.roll(surface.triangles, -1, axis=1)], axis=2).reshape(-1, 2)
    assert len(np.unique(half, axis=0)) == len(half), "two triangles run along an edge in the same direction"
    assert len(np.unique(surface.triangles)) == n, "isolated vertices"
    assert surface.triangles.dtype == np.int32 and surface.positions.dtype == np.float64
    ends = np.bincount(table.edges[table.is_boundary()].ravel(), minlength=n)
    assert set(np.unique(ends)) <= {0, 2}, "the boundary touches itself"
    fans = vertex_fans(surface.triangles, n)
    assert (fans == 1).all(), "triangles round a vertex fall apart"
    inner = ~table.is_boundary()
    sides = surface.triangle_region[table.edge_triangles[inner]]
    border = np.zeros(len(table.keys), dtype=bool)
    border[inner] = sides[:, 0] != sides[:, 1]
    caged = (border | ~inner)[table.triangle_edges].all(axis=1)
    assert not caged.any(), "a triangle has only constrained edges"
    degree = np.bincount(table.edges[border].ravel(), minlength=n)
    assert not ((degree == 1) & (ends == 0)).any(), "a border ends inside"
    on_boundary = ends > 0
    if surface.mirror is None:
        assert not surface.on_mirror.any()
    else:
        distance = surface.mirror.signed_distance(surface.positions)
        size = np.ptp(surface.positions, axis=0).max()
        assert (distance > -1e-9 * size).all()
        assert np.abs(distance[surface.on_mirror]).max() <= 1e-12 * size
        assert (surface.on_mirror == (on_boundary & (np.abs(distance) < 1e-7 * size))).all()
    assert smallest_angle(surface) > min_angle


def vertex_fans(triangles: IntArray, n: int) -> IntArray:
    """For each vertex the number of fans that the triangles round it fall into."""
    corners = np.arange(triangles.size)
    ids = triangles.ravel()
    table = build_edges(triangles, n)
    links = []
    for k in range(3):
        # corner k and the corner at the same vertex in the triangle across edge k
        edge = table.triangle_edges[:, k]
        pair = table.edge_triangles[edge]
        me = np.arange(len(triangles))
        other = np.where(pair[:, 0] == me, pair[:, 1], pair[:, 0])
        has = other >= 0
        for end in (k, (k + 1) % 3):
            vertex = triangles[has, end]
            there = (triangles[other[has]] == vertex[:, None]).argmax(axis=1)
            links.append(np.stack([3 * me[has] + end, 3 * other[has] + there], axis=1))
    pairs = np.concatenate(links)
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(corners), len(corners)))
    _, fan = connected_components(graph, directed=False)
    distinct = np.unique(np.stack([ids, fan], axis=1), axis=0)
    return np.bincount(distinct[:, 0], minlength=n).astype(np.int32)


@dataclass(frozen=True)
class Tools:
    """What the tests of this folder share."""

    icosphere: Callable[[int], tuple[FloatArray, IntArray]] = icosphere
    torus: Callable[[], tuple[FloatArray, IntArray]] = torus
    paint: Callable[[FloatArray, IntArray, FloatArray], Sculpt] = paint
    assert_laws: Callable[[RegionSurface], None] = assert_laws
    region_pieces: Callable[[RegionSurface], dict[str, list[float]]] = region_pieces
    euler_number: Callable[[RegionSurface], int] = euler_number


@pytest.fixture(scope="session")
def tools() -> Tools:
    return Tools()


@pytest.fixture(scope="session")
def sphere() -> tuple[FloatArray, IntArray]:
    return icosphere(6)
