"""The rim of a flap: where its skin turns away, and closed where it grows out of what lies round it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.spatial import cKDTree
from tests.conftest import a_rotation, compact, flat_disc, hemisphere, horn, link, painted, turned

from loopwright.layout.add_guides import add_guides
from loopwright.layout.flap_rim import depth_and_height
from loopwright.layout.ring_forms import are_clear
from loopwright.types import FloatArray, IntArray, MirrorPlane, RegionSurface

SIZE = 0.15
BRIM = 1.6  # greatest radius of the mushroom


def mushroom(rows: int = 60) -> tuple[FloatArray, IntArray]:
    """A flat disc with a squat mushroom on it: its top is at height 0.7, its brim is rounded with radius 0.2."""
    brim, groove = np.linspace(0, np.pi, 40), np.linspace(0, np.pi, 40)[1:]
    r = np.concatenate([[0.0], 1.4 + 0.2 * np.sin(brim), 0.9 - 0.15 * np.sin(groove), [3.0]])
    z = np.concatenate([[0.7], 0.5 + 0.2 * np.cos(brim), 0.15 + 0.15 * np.cos(groove), [0.0]])
    r = np.insert(r, 41, 0.9)
    z = np.insert(z, 41, 0.3)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(r), np.diff(z)))])

    def profile(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        return np.interp(t * along[-1], along, r), np.interp(t * along[-1], along, z)

    return turned(rows, profile)


def ear(rows: int = 60) -> tuple[FloatArray, IntArray]:
    """A hill with a flat top, drawn out far to one side: it overhangs there and slopes opposite."""

    def profile(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        s = np.clip((2.4 * t - 1.0) / 0.5, 0.0, 1.0)
        return 2.4 * t, 0.7 * (1.0 - s * s * (3.0 - 2.0 * s))

    points, triangles = turned(rows, profile)
    points[:, 0] += 2.6 * points[:, 2]
    return points, triangles


def guided(net: tuple[FloatArray, IntArray], mirror: MirrorPlane | None = None, *, size: float = SIZE) -> RegionSurface:
    surface = painted(net, mirror=mirror)
    return add_guides(surface, np.full(len(surface.positions), size))[0]


def ring_of(surface: RegionSurface) -> IntArray:
    """The vertices of the one closed guide; fails where there is another, or an end."""
    edges = np.unique(np.sort(surface.guide_edges, axis=1), axis=0)
    degree = np.bincount(edges.ravel(), minlength=len(surface.positions))
    ring = np.flatnonzero(degree)
    assert len(ring) == len(edges) > 0 and (degree[ring] == 2).all()
    follow = np.full((len(degree), 2), -1)
    for a, b in edges.tolist():
        follow[a, int(follow[a, 0] >= 0)] = b
        follow[b, int(follow[b, 0] >= 0)] = a
    at, before, steps = int(ring[0]), -1, 0
    while steps == 0 or at != ring[0]:
        at, before = int(follow[at, 0] if follow[at, 0] != before else follow[at, 1]), at
        steps += 1
    assert steps == len(ring)
    return ring.astype(np.int32)


def test_the_ring_of_a_mushroom_is_its_brim() -> None:
    # its normal is level where the radius is greatest; the blur, a tenth of its breadth, moves it by less than an edge
    out = guided(mushroom())
    at = out.positions[ring_of(out)]
    assert np.hypot(at[:, 0], at[:, 1]).min() > BRIM - 0.05
    assert np.abs(at[:, 2] - 0.5).max() < SIZE


@pytest.mark.parametrize("seed", [0, 1])
def test_the_rim_does_not_depend_on_place_or_scale(seed: int) -> None:
    points, triangles = mushroom(40)
    moved = 3.0 * points @ a_rotation(seed).T + np.array([5.0, -2.0, 1.0])
    there, here = guided((moved, triangles), size=3.0 * SIZE), guided((points, triangles))
    assert np.array_equal(there.guide_edges, here.guide_edges)


@pytest.mark.parametrize("net", [mushroom, ear])
def test_the_rim_does_not_follow_finer_folds_where_edges_are_smaller(
    net: Callable[[], tuple[FloatArray, IntArray]],
) -> None:
    fine, coarse = guided(net(), size=0.2 * SIZE), guided(net(), size=0.7 * SIZE)
    apart, _ = cKDTree(fine.positions[ring_of(fine)]).query(coarse.positions[ring_of(coarse)])
    assert apart.max() < 0.06  # about one and a half edges of the nets


def test_the_ring_of_a_flap_runs_along_its_edge_and_closes_at_its_root() -> None:
    net = ear()
    out = guided(net)
    at = out.positions[ring_of(out)]
    inside = at[:, 0] > 1.5  # over what it hangs over
    assert at[:, 0].max() > net[0][net[0][:, 2] > 0.3, 0].max() - SIZE / 2  # as far out as the skin itself
    assert at[inside, 2].min() > 0.2
    root = at[at[:, 0].argmin()]  # on the slope, which starts at -1.5 and is level from 0.82 on
    assert -1.5 < root[0] < 0.82 and 0.0 < root[2] < 0.7


def test_half_a_mushroom_gets_half_a_brim() -> None:
    net = mushroom()
    points, triangles = compact(*net, net[0][net[1]].mean(axis=1)[:, 0] > 0)
    points[np.abs(points[:, 0]) < 1e-12, 0] = 0.0
    out = guided((points, triangles), MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0))
    at = out.positions[np.unique(out.guide_edges)]
    assert np.hypot(at[:, 0], at[:, 1]).min() > BRIM - 0.05
    assert out.on_mirror[np.unique(out.guide_edges)].sum() == 2


def test_what_is_sunk_in_or_reaches_far_out_is_no_flap() -> None:
    points, triangles = mushroom()
    for net in ((points * np.array([1.0, 1.0, -1.0]), triangles), (points * np.array([1.0, 1.0, 4.0]), triangles)):
        out = guided(net)
        assert len(out.guide_edges)
        at = out.positions[np.unique(out.guide_edges)]
        assert np.hypot(at[:, 0], at[:, 1]).min() < BRIM - 0.05


def test_depth_and_height_are_shares_of_the_breadth() -> None:
    # a hemisphere of radius 1 covers a disc of area pi
    points, triangles = hemisphere(40)
    inside, share = points[:, 2] > 0.02, np.pi**-0.5
    assert depth_and_height(points, triangles, inside, None) == pytest.approx((0.0, share), abs=0.03)
    sunk = points * np.array([1.0, 1.0, -1.0]), triangles[:, ::-1]
    assert depth_and_height(sunk[0], triangles, inside, None) == pytest.approx((share, 0.0), abs=0.03)
    assert depth_and_height(*sunk, inside, None) == pytest.approx((0.0, share), abs=0.03)
    half = compact(points, triangles, points[triangles].mean(axis=1)[:, 0] > 0)
    plane = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)
    assert depth_and_height(*half, half[0][:, 2] > 0.02, plane) == pytest.approx((0.0, share), abs=0.03)
    tall = horn(40, 4.0)
    assert depth_and_height(*tall, tall[0][:, 2] > 0.05, None)[1] > 2.5
    assert depth_and_height(*flat_disc(10), np.zeros(len(flat_disc(10)[0]), bool), None) == (0.0, 0.0)


def test_rings_are_clear_of_each_other_where_they_do_not_cross() -> None:
    points, _ = flat_disc(30)

    def disc(x: float, radius: float) -> FloatArray:
        out: FloatArray = radius - np.hypot(points[:, 0] - x, points[:, 1])
        return out

    for x, radius, clear in ((0.0, 0.3, True), (0.1, 0.6, True), (0.7, 0.2, True), (0.5, 0.3, False)):
        assert are_clear(disc(0.0, 0.4), disc(x, radius)) == clear
        assert are_clear(disc(x, radius), disc(0.0, 0.4)) == clear


def test_cutting_the_rim_keeps_the_surface() -> None:
    surface = painted(ear())
    out = add_guides(surface, np.full(len(surface.positions), SIZE))[0]
    before, after = link(surface.triangles, len(surface.positions)), link(out.triangles, len(out.positions))
    assert (before.euler, before.rims, before.components) == (after.euler, after.rims, after.components)
