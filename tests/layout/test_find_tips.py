"""Round tips: a painted tongue ends in two corners, and its rows run along it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.conftest import X_PLANE, grid_net, middles, painted, rectangle

from loopwright import BuildOptions, plan
from loopwright.layout.find_tips import find_tips, with_tips
from loopwright.layout.open_surface import open_surface
from loopwright.types import RegionSurface, Sculpt

SIZE = 0.1
STRAIGHT = 1.2  # length of a tongue's straight sides


def tongue(radius: float, *, is_half: bool = False) -> RegionSurface:
    """Return a flat strip round the line that a tongue has in its middle, painted up to ``radius`` of it.

    It is a net of lines across and of lines along, at even distances from the middle line, so that the border is
    smooth: straight for ``STRAIGHT``, a half circle, and straight again. A half ends where the middle line does, in
    the plane x = 0.
    """
    turn = np.linspace(0.0, np.pi / 2 if is_half else np.pi, 17 if is_half else 33)
    sides = np.linspace(-STRAIGHT, 0.0, 60)[:-1]
    around = [(1.0, 0.0, y) for y in sides] + [(np.cos(a), np.sin(a), 0.0) for a in turn]
    if not is_half:
        around += [(-1.0, 0.0, y) for y in sides[::-1]]
    ways = np.array(around)
    rows = np.unique(np.concatenate([np.linspace(0.2 * radius, radius, 7), np.linspace(radius, radius + 0.5, 9)]))
    flat = ways[:, None, :2] * rows[None, :, None] + np.array([0.0, 1.0]) * ways[:, None, 2:]
    flat[np.abs(flat) < 1e-12] = 0.0
    net = grid_net(np.concatenate([flat, np.zeros((*flat.shape[:2], 1))], axis=2))
    return painted(net, within(net, radius), mirror=X_PLANE if is_half else None)


def within(net: tuple[NDArray[np.float64], NDArray[np.int32]], radius: float) -> NDArray[np.integer]:
    """Return 1 for the triangles up to ``radius`` of a middle line from (0, 0) down, of length ``STRAIGHT``."""
    x, y = middles(*net)[:, :2].T
    labels: NDArray[np.integer] = (np.hypot(x, np.maximum(y, 0.0) + np.minimum(y + STRAIGHT, 0.0)) < radius).astype(int)
    return labels


def corners_of(surface: RegionSurface) -> NDArray[np.float64]:
    found = find_tips(surface, np.full(len(surface.positions), SIZE))
    return surface.positions[found.corners]


@pytest.mark.parametrize("radius", [1.0 * SIZE, 1.2 * SIZE, 1.4 * SIZE])
def test_a_tongue_gets_two_corners_half_way_up_its_round_end(radius: float) -> None:
    found = corners_of(tongue(radius))
    # by symmetry, where a quarter and three quarters of a half circle are done
    expected = radius * np.array([[-np.sqrt(0.5), np.sqrt(0.5), 0.0], [np.sqrt(0.5), np.sqrt(0.5), 0.0]])
    assert found[np.argsort(found[:, 0])] == pytest.approx(expected, abs=0.12 * radius)


def test_they_count_as_square_and_only_for_the_tongue() -> None:
    surface = tongue(1.2 * SIZE)
    tips, opened = find_tips(surface, np.full(len(surface.positions), SIZE)), open_surface(surface)
    assert list(tips.angles.values()) == pytest.approx([np.pi / 2] * 2, abs=np.radians(8.0))
    for wedge in tips.angles:
        (part,) = np.unique(opened.component[(opened.wedges == wedge).any(axis=1)])
        assert surface.triangle_region[opened.component == part][0] == 1


@pytest.mark.parametrize("radius", [0.85 * SIZE, 1.2 * SIZE])
def test_half_a_tongue_at_the_mirror_plane_gets_one(radius: float) -> None:
    (found,) = corners_of(tongue(radius, is_half=True))
    assert found == pytest.approx(radius * np.array([np.sqrt(0.5), np.sqrt(0.5), 0.0]), abs=0.15 * SIZE)


@pytest.mark.parametrize("seam", [0, 3, 9, 20, 31, 40])
def test_an_island_gets_four_wherever_its_border_is_taken_to_start(seam: int) -> None:
    radius, count = 1.2 * SIZE, 24
    turn = np.linspace(0.0, np.pi, count + 1)[:-1]
    cap = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    side = np.linspace(0.0, STRAIGHT, 20, endpoint=False)[:, None] * [0.0, 1.0]
    way = np.concatenate([cap, np.tile([-1.0, 0.0], (20, 1)), -cap, np.tile([1.0, 0.0], (20, 1))])
    middle = np.concatenate([0 * cap, -side, 0 * cap - [0.0, STRAIGHT], side - [0.0, STRAIGHT]])
    way, middle = np.roll(way, seam, axis=0), np.roll(middle, seam, axis=0)
    rows = radius * np.linspace(0.0, 2.0, 9)
    rows[0] = 0.2 * radius
    flat = middle[:, None] + way[:, None] * rows[None, :, None]
    points, band = grid_net(np.concatenate([flat, np.zeros((*flat.shape[:2], 1))], axis=2), close_u=True)
    first = len(rows) * np.arange(len(way))  # the innermost row, which a fan closes
    fan = np.stack([np.full(len(way) - 2, first[0]), first[2:], first[1:-1]], axis=1)
    net = points, np.concatenate([band, fan]).astype(np.int32)
    found = corners_of(painted(net, within(net, radius)))
    assert len(found) == 4
    expected = radius * np.sqrt(0.5) * np.array([[-1.0, 1.0], [1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])
    expected[2:, 1] -= STRAIGHT
    gaps = np.linalg.norm(found[:, None, :2] - expected[None], axis=2)
    assert (gaps.min(axis=0) < 0.2 * radius).all()


@pytest.mark.parametrize("radius", [0.3 * SIZE, 3.0 * SIZE])
def test_a_thin_tongue_and_a_broad_one_get_none(radius: float) -> None:
    assert len(corners_of(tongue(radius))) == 0


def test_they_take_the_place_of_other_bends_there() -> None:
    surface = tongue(1.2 * SIZE)
    tips = find_tips(surface, np.full(len(surface.positions), SIZE))
    far = int(surface.positions[:, 1].argmin())
    top = int(np.linalg.norm(surface.positions - [0.0, 1.2 * SIZE, 0.0], axis=1).argmin())
    assert with_tips([top, far], tips) == sorted({far, *tips.corners})


@pytest.mark.parametrize("half", [0.12, 0.16])  # 2.3 and 3.1 edges across
def test_the_rows_of_a_painted_tongue_run_up_to_its_end(half: float) -> None:
    points, triangles = rectangle(160, 160, 2.0, 2.0)
    points -= [1.0, 1.0, 0.0]
    inside = np.where(points[:, 0] < 0.3, np.abs(points[:, 1]), np.hypot(points[:, 0] - 0.3, points[:, 1])) < half
    colors = np.array([(200, 60, 60), (60, 60, 200)], np.uint8)[inside.astype(int)]
    made = plan(Sculpt(points, triangles, colors), options=BuildOptions(budget=400, proxy_faces=20_000, mirror="none"))
    layout = made.layout.layout
    tip = layout.positions[layout.nodes[layout.node_quads == 3]]
    near = tip[np.linalg.norm(tip - [0.3 + half, 0.0, 0.0], axis=1) < 2 * half]
    assert len(near) == 2 and near[:, 1].prod() < 0.0  # one on either side
    (patch,) = (p for p in made.layout.patches if made.surface.regions[p.region].color == (60, 60, 200))
    assert len(patch.side_counts) == 4
    assert patch.side_counts[0] == patch.side_counts[2] and patch.side_counts[1] == patch.side_counts[3]
