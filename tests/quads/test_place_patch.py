"""Placing: exact boundaries, a flat grid on a flat square, no folds on curved and ragged patches."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from loopwright.errors import InternalError
from loopwright.patterns.embed_fill import scaled_jacobians
from loopwright.patterns.fill_patch import fill_patch
from loopwright.quads.place_patch import flatten_patch, locate_points, place_patch

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


def disc(rings: int, side_count: int) -> tuple[Floats, Ints, Ints, Ints]:
    """Return points (n, 2) in the unit disc, triangles, boundary and corners: ring r has 6 r points."""
    points, starts = [np.zeros((1, 2))], [0, 1]
    for r in range(1, rings + 1):
        angle = 2.0 * np.pi * np.arange(6 * r) / (6 * r)
        points.append(r / rings * np.stack([np.cos(angle), np.sin(angle)], axis=1))
        starts.append(starts[-1] + 6 * r)
    triangles = []
    for r in range(1, rings + 1):
        outer, inner = starts[r], starts[r - 1]
        for sector in range(6):
            for k in range(r):
                a, b = outer + sector * r + k, outer + (sector * r + k + 1) % (6 * r)
                low = max(6 * (r - 1), 1)
                c = inner + (sector * (r - 1) + k) % low
                triangles.append((a, b, c))
                if k < r - 1:
                    triangles.append((b, inner + (sector * (r - 1) + k + 1) % low, c))
    boundary = np.arange(starts[rings], starts[rings] + 6 * rings)
    corners = (np.arange(side_count) * 6 * rings) // side_count
    return np.concatenate(points), np.array(triangles, np.int32), boundary.astype(np.int32), corners.astype(np.int32)


def spread_on_rim(positions: Floats, boundary: Ints, corners: Ints, counts: tuple[int, ...]) -> Floats:
    """Return (b, 3) points evenly along the sides of a patch."""
    ring = np.concatenate([positions[boundary], positions[boundary[:1]]])
    stops = [*corners.tolist(), len(boundary)]
    parts = []
    for low, high, count in zip(stops[:-1], stops[1:], counts, strict=True):
        chain = ring[low : high + 1]
        arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(chain, axis=0), axis=1))])
        at = arc[-1] * np.arange(count) / count
        parts.append(np.stack([np.interp(at, arc, chain[:, k]) for k in range(3)], axis=1))
    return np.concatenate(parts)


def square(size: int) -> tuple[Floats, Ints, Ints, Ints]:
    """Return a flat unit square of ``size`` times ``size`` points."""
    x, y = np.meshgrid(np.linspace(0.0, 1.0, size), np.linspace(0.0, 1.0, size))
    ids = np.arange(size * size).reshape(size, size)
    quad = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
    triangles = np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]])
    ring = np.concatenate([ids[0, :-1], ids[:-1, -1], ids[-1, :0:-1], ids[:0:-1, 0]])
    corners = np.arange(4) * (size - 1)
    positions = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    return positions, triangles.astype(np.int32), ring.astype(np.int32), corners.astype(np.int32)


def test_flat_square_gives_the_flat_grid() -> None:
    # mean value weights reproduce plane convex patches exactly (Floater 2003, linear precision)
    positions, triangles, boundary, corners = square(23)
    counts = (6, 5, 6, 5)
    rim = spread_on_rim(positions, boundary, corners, counts)
    fill = fill_patch(counts)
    placed = place_patch(fill, rim, positions, triangles, boundary, corners)
    expected = np.stack(np.meshgrid(np.arange(7) / 6.0, np.arange(6) / 5.0), axis=-1).reshape(-1, 2)
    order = np.lexsort(np.round(placed[:, :2], 6).T)
    assert np.allclose(placed[order, :2], expected, atol=1e-9)
    assert np.allclose(placed[:, 2], 0.0, atol=1e-12)


@pytest.mark.parametrize("counts", [(8, 8), (6, 10), (8, 8, 8), (6, 6, 8, 8), (6, 4, 3, 5, 4), (6, 6, 6, 6, 6, 6)])
@pytest.mark.parametrize("depth", [0.0, 0.5, 2.0])
def test_caps_are_filled_without_folds(counts: tuple[int, ...], depth: float) -> None:
    flat, triangles, boundary, corners = disc(14, len(counts))
    positions = np.column_stack([flat, depth * (1.0 - (flat**2).sum(axis=1))])
    rim = spread_on_rim(positions, boundary, corners, counts)
    fill = fill_patch(counts)
    before = [a.copy() for a in (rim, positions, triangles, boundary, corners)]
    view = flatten_patch(fill, rim, positions, triangles, boundary, corners)
    assert scaled_jacobians(view.fill_points, fill.quads).min() > 0.0
    a, b, c = (view.patch_points[triangles[:, k]] for k in range(3))
    assert ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]).min() >= -1e-12
    placed = place_patch(fill, rim, positions, triangles, boundary, corners)
    assert np.array_equal(placed[fill.boundary], rim)
    height = depth * (1.0 - (placed[:, :2] ** 2).sum(axis=1))
    sagitta = 2.0 * depth * (1.0 / 14.0) ** 2
    assert np.abs(placed[fill.boundary.size :, 2] - height[fill.boundary.size :]).max() <= sagitta + 1e-12
    after: list[np.ndarray] = [rim, positions, triangles, boundary, corners]
    assert all(np.array_equal(x, y) for x, y in zip(list[np.ndarray](before), after, strict=True))
    # seen from above the paraboloid is a disc: quads keep their orientation there as well
    corner = placed[fill.quads][:, :, :2]
    diagonal = [corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1]]
    assert (diagonal[0][:, 0] * diagonal[1][:, 1] - diagonal[0][:, 1] * diagonal[1][:, 0]).min() > 0.0


def test_triangles_with_three_corners_on_one_side_do_no_harm() -> None:
    positions, triangles, boundary, corners = square(12)
    # an ear outside the first side: its three corners all lie on that side
    ear = np.array([[1.5 / 11.0, -0.04, 0.0]])
    positions = np.concatenate([positions, ear])
    tip = positions.shape[0] - 1
    triangles = np.concatenate([triangles, np.array([[1, tip, 2]], np.int32)]).astype(np.int32)
    boundary = np.concatenate([boundary[:2], [tip], boundary[2:]]).astype(np.int32)
    corners = np.array([0, *(corners[1:] + 1)], np.int32)
    counts = (5, 5, 5, 5)
    rim = spread_on_rim(positions, boundary, corners, counts)
    placed = place_patch(fill_patch(counts), rim, positions, triangles, boundary, corners)
    assert np.all(np.isfinite(placed))
    inner = placed[20:, :2]
    assert inner.min() > 0.05 and inner.max() < 0.95


def test_moved_turned_and_scaled_patches_give_moved_turned_and_scaled_places() -> None:
    flat, triangles, boundary, corners = disc(9, 5)
    positions = np.column_stack([flat, 0.4 * flat[:, 0] * flat[:, 1]])
    counts = (5, 6, 5, 6, 6)
    rim = spread_on_rim(positions, boundary, corners, counts)
    fill = fill_patch(counts)
    placed = place_patch(fill, rim, positions, triangles, boundary, corners)
    turn, _ = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    again = place_patch(fill, 37.0 * rim @ turn + 5.0, 37.0 * positions @ turn + 5.0, triangles, boundary, corners)
    assert np.allclose(again, 37.0 * placed @ turn + 5.0, atol=1e-8)


def test_located_points_come_back() -> None:
    flat, triangles, _, _ = disc(6, 4)
    generator = np.random.default_rng(1)
    angle, radius = generator.uniform(0.0, 2.0 * np.pi, 200), np.sqrt(generator.uniform(0.0, 0.9, 200))
    queries = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    face, weight = locate_points(flat, triangles, queries)
    assert weight.min() >= 0.0 and np.allclose(weight.sum(axis=1), 1.0)
    assert np.allclose(np.einsum("ij,ijk->ik", weight, flat[triangles[face]]), queries, atol=1e-12)


def test_corners_must_agree() -> None:
    positions, triangles, boundary, corners = square(6)
    with pytest.raises(InternalError):
        place_patch(fill_patch((4, 4, 4)), np.zeros((12, 3)), positions, triangles, boundary, corners)
