"""The palette's nearest colours: the same as by brute force, in a table of bounded size."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from numpy.typing import NDArray

from loopwright.marks import cluster_colors as module
from loopwright.marks.cluster_colors import _nearest_in_palette, cluster_colors
from loopwright.types import ByteArray, FloatArray, IntArray


@pytest.mark.parametrize("table", [1, 50, 333, 1 << 19])
def test_nearest_colours_are_those_of_brute_force(table: int, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(3)
    palette, colors = rng.uniform(0, 255, (13, 3)), rng.uniform(0, 255, (200, 3))
    monkeypatch.setattr(module, "_TABLE", table)
    distance, nearest = _nearest_in_palette(palette, colors)
    every = np.linalg.norm(colors[:, None] - palette, axis=2)
    assert (nearest == every.argmin(axis=1)).all()
    assert distance == pytest.approx(every.min(axis=1))


def test_of_two_as_near_the_first_is_taken() -> None:
    palette = np.array([[0.0, 0, 0], [20, 0, 0], [0, 20, 0]])
    assert _nearest_in_palette(palette, np.array([[10.0, 0, 0], [10, 10, 0]]))[1].tolist() == [0, 0]


def speckled_sheet(side: int, colours: int) -> tuple[FloatArray, IntArray, np.ndarray]:
    """A square sheet of squares of many colours, with grain that makes nearly every vertex's colour its own."""
    i, j = (a.ravel() for a in np.meshgrid(np.arange(side), np.arange(side), indexing="ij"))
    points = np.stack([i, j, 0 * i], axis=1).astype(np.float64)
    corner = (np.arange(side - 1)[:, None] * side + np.arange(side - 1)).ravel()
    halves = [[corner, corner + side, corner + side + 1], [corner, corner + side + 1, corner + 1]]
    triangles = np.concatenate([np.stack(h, axis=1) for h in halves]).astype(np.int32)
    rng = np.random.default_rng(0)
    levels = np.stack(np.meshgrid(*[np.arange(30, 256, 38)] * 3), axis=-1).reshape(-1, 3)
    across = int(np.ceil(np.sqrt(colours)))
    square = (i * across // side) * across + j * across // side
    colors = levels[rng.permutation(len(levels))[square % colours]] + rng.normal(size=points.shape) * 2
    return points, triangles, np.clip(colors, 0, 255).astype(np.uint8)


def test_memory_does_not_grow_with_the_number_of_colours() -> None:
    peaks = []
    for colours in (4, 144):
        sheet = speckled_sheet(360, colours)
        tracemalloc.start()
        found = cluster_colors(*sheet)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert len(found.palette) == colours
    assert peaks[1] < 1.5 * peaks[0]


def wide_blend(width: float) -> tuple[FloatArray, IntArray, ByteArray]:
    """A flat board painted left and right, with a soft edge of this width between, and a stripe of a mixed colour."""
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 4, 401), np.linspace(0, 1, 101)))
    ids = np.arange(401 * 101).reshape(101, 401)
    a, b, c, d = (part.ravel() for part in (ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]))
    triangles = np.vstack([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]).astype(np.int32)
    share = np.clip((x - 1.0) / width + 0.5, 0.0, 1.0)[:, None]
    left, right = np.array([200.0, 80.0, 60.0]), np.array([60.0, 120.0, 220.0])
    color = left + share * (right - left)
    color[x > 3.0] = 0.5 * (left + right)
    noise = np.random.default_rng(3).normal(0.0, 1.0, color.shape)
    return np.stack([x, y, 0 * x], axis=1), triangles, np.clip(np.rint(color + noise), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("width", [0.1, 0.4, 1.2])
def test_a_soft_edge_of_any_width_is_no_colour_but_a_painted_mixture_is(width: float) -> None:
    clusters = cluster_colors(*wide_blend(width))
    found = {tuple(int(level) for level in color) for color in clusters.palette}
    wished = [(200, 80, 60), (60, 120, 220), (130, 100, 140)]
    assert len(found) == 3
    for color in wished:
        assert min(np.linalg.norm(np.subtract(color, other)) for other in found) < 6.0


def hard_sheet(second: NDArray[np.bool_]) -> tuple[FloatArray, IntArray, ByteArray]:
    """A square sheet, red on the left; on the right brown with another brown eight levels off where it is told."""
    points, triangles, _ = speckled_sheet(60, 4)
    colors = np.where((points[:, :1] < 30), [200, 60, 60], [84, 58, 44])
    colors[second] = [89, 63, 48]
    return points, triangles, colors.astype(np.uint8)


def test_hard_paint_of_two_near_colours_is_two_regions() -> None:
    x, y = np.divmod(np.arange(3600), 60)
    sheet = hard_sheet((x >= 40) & (y >= 20))
    clusters = cluster_colors(*sheet)
    assert len(clusters.palette) == 3
    assert (clusters.palette[clusters.vertex_color] == sheet[2]).all()


def test_near_colours_mixed_with_each_other_are_one() -> None:
    is_right = np.arange(3600) // 60 >= 30
    sheet = hard_sheet(is_right & (np.random.default_rng(0).uniform(size=3600) < 0.3))
    clusters = cluster_colors(*sheet)
    assert clusters.palette.tolist() == [[200, 60, 60], [84, 58, 44]]
    assert (clusters.vertex_color == is_right).all()


def test_near_colours_are_one_where_they_are_steps_of_a_gradient_or_all_but_equal() -> None:
    points, triangles, colors = hard_sheet(np.zeros(3600, np.bool_))
    step = np.clip(np.arange(3600) // 60 - 40, 0, 18)[:, None] // 3 * 6  # bands of three vertices, six levels apart
    ramp = np.where(points[:, :1] < 30, colors, colors + step).astype(np.uint8)
    assert len(cluster_colors(points, triangles, ramp).palette) < 6
    halves = np.where(points[:, 1:2] < 30, [84, 58, 44], [86, 58, 44]).astype(np.uint8)
    assert len(cluster_colors(points, triangles, halves).palette) == 1
