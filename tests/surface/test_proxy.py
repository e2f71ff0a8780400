"""The proxy is even, stays a manifold of the same topology, and lies on the sculpt."""

from __future__ import annotations

import igl
import numpy as np
import pytest

from loopwright.surface.edges import build_edges, triangle_quality, vertex_normals
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.proxy import Proxy, coarsen, even_edge, make_proxy, surface_area
from loopwright.types import FloatArray, IntArray


def ball(levels: int = 6) -> tuple[FloatArray, IntArray]:
    points, triangles = igl.icosahedron()
    for _ in range(levels):
        points, triangles = igl.upsample(points, triangles, 1)
        points /= np.linalg.norm(points, axis=1, keepdims=True)
    return np.ascontiguousarray(points, np.float64), np.ascontiguousarray(triangles, np.int32)


def ring() -> tuple[FloatArray, IntArray]:
    """A torus with radii 1 and 0.3 as a closed grid."""
    u, v = np.meshgrid(np.arange(180), np.arange(60), indexing="ij")
    a, b = 2 * np.pi * u.ravel() / 180, 2 * np.pi * v.ravel() / 60
    reach = 1 + 0.3 * np.cos(b)
    points = np.stack([reach * np.cos(a), reach * np.sin(a), 0.3 * np.sin(b)], axis=1)
    index = u * 60 + v
    right, up = np.roll(index, -1, axis=0), np.roll(index, -1, axis=1)
    corner = np.roll(right, -1, axis=1)
    parts = [np.stack([index, right, corner], axis=2), np.stack([index, corner, up], axis=2)]
    return points, np.concatenate([part.reshape(-1, 3) for part in parts]).astype(np.int32)


def sheet() -> tuple[FloatArray, IntArray]:
    """Both sides of a plate 0.06 thick at most, far thinner than the proxy's edges: a squeezed ball."""
    points, triangles = ball()
    return points * np.array([1.0, 1.0, 0.03]), triangles


def cap() -> tuple[FloatArray, IntArray]:
    points, triangles = ball()
    kept = triangles[(points[triangles][:, :, 2] > 0.2).all(axis=1)]
    ids, flat = np.unique(kept, return_inverse=True)
    return points[ids], flat.reshape(-1, 3).astype(np.int32)


SHAPES = {"ball": ball, "ring": ring, "sheet": sheet, "cap": cap}


def build(points: FloatArray, triangles: IntArray, count: int) -> tuple[Proxy, float]:
    edge = even_edge(surface_area(points, triangles), count)
    fine = coarsen(points, triangles, 0.55 * edge)
    projector = SurfaceProjector(points, triangles)
    return make_proxy(fine, np.full(len(fine.net.positions), edge), projector), edge


@pytest.mark.parametrize("name", SHAPES)
def test_topology_and_evenness(name: str) -> None:
    points, triangles = SHAPES[name]()
    before = build_edges(triangles, len(points))
    proxy, edge = build(points, triangles, 3000)
    net = proxy.net
    after = build_edges(net.triangles, len(net.positions))
    euler = len(net.positions) - len(after.edges) + len(net.triangles)
    assert euler == len(points) - len(before.edges) + len(triangles)
    assert 2000 < len(net.triangles) < 4500
    rim = np.bincount(after.edges[after.is_boundary()].ravel(), minlength=len(net.positions))
    assert set(np.unique(rim)) <= {0, 2}
    assert after.is_boundary().any() == before.is_boundary().any()
    quality = triangle_quality(net.positions, net.triangles)
    assert np.quantile(quality, 0.05) > (0.4 if name == "sheet" else 0.75)
    length = np.linalg.norm(net.positions[after.edges[:, 0]] - net.positions[after.edges[:, 1]], axis=1)
    assert length.mean() == pytest.approx(edge, rel=0.15)


@pytest.mark.parametrize("name", SHAPES)
def test_vertices_lie_on_the_sculpt(name: str) -> None:
    points, triangles = SHAPES[name]()
    proxy, edge = build(points, triangles, 3000)
    tree = igl.AABB()
    tree.init(points, triangles)
    squared, _, _ = tree.squared_distance(points, triangles, proxy.net.positions)
    assert np.sqrt(squared).max() < 1e-3 * edge


def test_thin_sheet_keeps_its_sides() -> None:
    points, triangles = sheet()
    proxy, _ = build(points, triangles, 3000)
    normals = vertex_normals(proxy.net.positions, proxy.net.triangles)
    away = np.linalg.norm(proxy.net.positions[:, :2], axis=1) < 0.9
    assert (np.sign(proxy.net.positions[away, 2]) * normals[away, 2] > 0).all()
    # clusters never join the two sides, except at the rim where they meet
    inside = np.linalg.norm(points[:, :2], axis=1) < 0.85
    there = proxy.net.positions[proxy.cluster[inside], 2]
    assert (there * points[inside, 2] >= 0).mean() > 0.999


def test_boundary_vertices_are_vertices_of_the_sculpt() -> None:
    points, triangles = cap()
    proxy, _ = build(points, triangles, 3000)
    table = build_edges(proxy.net.triangles, len(proxy.net.positions))
    rim = np.unique(table.edges[table.is_boundary()])
    assert np.array_equal(proxy.net.positions[rim], points[proxy.net.origin[rim]])
