"""Laws of the ways on which loose ends are carried: geodesics, arcs that end square, and the flow of a sculpt."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.conftest import compact, globe, middles
from tests.marks.test_flow_lines import REACH, assert_cut_well, make_surface

from loopwright.marks.add_flow_lines import add_flow_lines
from loopwright.marks.carry_on import carry_on
from loopwright.marks.flow_field import FlowField, make_flow_field
from loopwright.marks.steer_way import Target, across_at, along_flow
from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.marks.trace_way import trace_way
from loopwright.marks.walk_line import walk_line
from loopwright.surface.half_edges import arc_length
from loopwright.types import FloatArray, RegionSurface
from loopwright.wishes import FlowLine


def sheet(count: int = 41, size: float = 1.0) -> RegionSurface:
    """A flat square from -size to size, its two halves y < 0 and y > 0 of two regions."""
    x, y = np.meshgrid(np.linspace(-size, size, count), np.linspace(-size, size, count), indexing="ij")
    points = np.stack([x.ravel(), y.ravel(), np.zeros(count**2)], axis=1)
    k = np.arange(count**2).reshape(count, count)
    a, b, c, d = (q.ravel() for q in (k[:-1, :-1], k[1:, :-1], k[1:, 1:], k[:-1, 1:]))
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    flat = make_surface(points, triangles)
    above = (points[triangles].mean(axis=1)[:, 1] > 0).astype(np.int32)
    return replace(flat, triangle_region=above, regions=(flat.regions[0], replace(flat.regions[0], name="top")))


def nearest(surface: RegionSurface, place: tuple[float, float, float]) -> int:
    return int(((surface.positions - np.array(place)) ** 2).sum(axis=1).argmin())


def last_direction(points: FloatArray, over: float) -> FloatArray:
    length = arc_length(points)
    back = points[-1] - points[int(np.searchsorted(length, length[-1] - over))]
    out: FloatArray = back / np.linalg.norm(back)
    return out


def flow_of(surface: RegionSurface, reach: float) -> FlowField:
    return make_flow_field(surface, np.full(len(surface.positions), reach))


def test_an_unsteered_way_on_a_sphere_stays_on_its_great_circle(ball: RegionSurface) -> None:
    cutter = SurfaceCutter(ball)
    start = nearest(ball, (0.0, 0.1, 1.0))
    direction = np.array([1.0, 0.4, 0.0])
    points, met = trace_way(cutter, start, direction, 2.0)
    assert met is None and arc_length(points)[-1] > 2.0
    plane = np.cross(points[0], direction)
    # Source: the geodesics of a sphere are its great circles
    assert np.abs(points @ plane / np.linalg.norm(plane)).max() < 0.02


@pytest.fixture(scope="module")
def ball(tools: Any) -> RegionSurface:
    return make_surface(*tools.icosphere(4))


def test_a_way_that_turns_evenly_on_a_plane_is_a_circle() -> None:
    flat = sheet()
    radius = 0.3
    start = nearest(flat, (0.0, -0.9, 0.0))
    points, _ = trace_way(SurfaceCutter(flat), start, np.array([1.0, 0.0, 0.0]), 1.0, lambda *at: at[3] / radius)
    centre = flat.positions[start] + np.array([0.0, radius, 0.0])
    # Source: a curve of the constant curvature 1/r is a circle of radius r; steps are up to a fifth of r long
    assert np.abs(np.linalg.norm(points - centre, axis=1) / radius - 1.0).max() < 0.1


@pytest.mark.parametrize("aside", [-0.5, -0.2, 0.0, 0.3, 0.5])
def test_an_arc_ends_at_its_place_at_a_right_angle(aside: float) -> None:
    flat = sheet()
    start = nearest(flat, (0.0, -0.6, 0.0))
    place = np.array([aside, 0.0, 0.0])
    steer = across_at(Target(place, np.array([0.0, 1.0, 0.0])), 0.2)
    chord = place - flat.positions[start]
    points, met = trace_way(SurfaceCutter(flat), start, np.array([0.5 * chord[0], chord[1], 0.0]), 2.0, steer)
    assert met is not None
    assert np.linalg.norm(points[-1] - place) < 0.08
    assert last_direction(points, 0.1)[1] > np.cos(np.radians(20.0))


@pytest.mark.parametrize("slope", [0.35, 0.6, 0.8, 2.0])
def test_a_loose_end_meets_a_border_no_worse_than_a_straight_way_would(slope: float) -> None:
    flat = sheet()
    reach = 0.12
    start = nearest(flat, (-0.4, -0.45, 0.0))
    direction = np.array([1.0, slope, 0.0])
    cutter = SurfaceCutter(flat)
    way = carry_on(cutter, start, direction, reach, 10.0, lambda: flow_of(flat, reach))
    straight, met = trace_way(cutter, start, direction, 10.0)
    assert way is not None and met is not None
    at_border = 90.0 - np.degrees(np.arctan(slope))
    assert way.aslant <= max(at_border, 1.0) + 2.0
    assert arc_length(way.points)[-1] <= arc_length(straight)[-1] + reach
    if at_border > 35.0:
        assert way.aslant < 0.6 * at_border


def test_the_flow_of_a_zone_of_a_sphere_runs_along_its_parallels_and_meridians() -> None:
    points, triangles = globe(24)
    points, triangles = compact(points, triangles, np.abs(middles(points, triangles)[:, 2]) < 0.5)
    zone = make_surface(points, triangles)
    flow = flow_of(zone, 0.1)
    inner = np.abs(points[:, 2]) < 0.3
    east = np.cross([0.0, 0.0, 1.0], points)
    east /= np.linalg.norm(east, axis=1, keepdims=True)
    cosine = np.abs((flow.arms * east).sum(axis=1))
    off = np.degrees(np.minimum(np.arccos(np.minimum(cosine, 1.0)), np.arcsin(np.minimum(cosine, 1.0))))
    # Source: by its symmetry the smoothest field along both rims is that of the parallels
    assert np.median(off[inner]) < 3.0 and off[inner].max() < 10.0


def test_a_way_along_the_flow_turns_into_it() -> None:
    flat = sheet()
    steer = along_flow(flow_of(flat, 0.1), 0.1)
    start = nearest(flat, (-0.9, -0.5, 0.0))
    points, _ = trace_way(SurfaceCutter(flat), start, np.array([1.0, 0.4, 0.0]), 1.5, steer)
    along = last_direction(points, 0.2)
    assert along[0] > np.cos(np.radians(5.0))


def test_what_was_drawn_stays_and_what_is_carried_on_ends_square(tools: Any) -> None:
    positions, triangles = tools.icosphere(5)
    two = make_surface(positions, triangles, 0.5)
    drawn = np.array([[0.9, -0.2, 0.1], [0.95, 0.0, 0.18], [0.94, 0.2, 0.26]])
    drawn /= np.linalg.norm(drawn, axis=1, keepdims=True)
    line = FlowLine(tuple((float(x), float(y), float(z)) for x, y, z in drawn), False, "aslant")
    after, findings = add_flow_lines(two, [line], reach=0.6 * REACH)
    assert_cut_well(two, after)
    on = np.unique(after.flow_edges)
    points = after.positions[on]
    gap = np.linalg.norm(points[None] - drawn[:, None], axis=2).min(axis=1)
    assert gap.max() < 0.25 * 0.6 * REACH


@pytest.mark.parametrize("aside", [-0.3, -0.2])
def test_an_end_that_runs_at_a_horn_goes_round_it_and_not_back_to_itself(aside: float) -> None:
    """Straight ways up a steep horn wind round it, come down beside the line's end, or cross the tip."""
    reach, drawn = 0.1, np.array([[x, -0.5 - aside * (x + 0.42)] for x in np.linspace(-0.72, -0.42, 11)])
    flat = sheet(61)

    def lift(places: FloatArray) -> FloatArray:
        out: FloatArray = 1.5 * np.exp(-(places[:, 0] ** 2 + (places[:, 1] + 0.5) ** 2) / 0.35**2)
        return np.column_stack([places[:, :2], out])

    cutter = SurfaceCutter(replace(flat, positions=lift(flat.positions)))
    line = lift(drawn)
    path = walk_line(cutter, cutter.put_vertex(line[0]), line, cutter.put_vertex(line[-1]))
    for a, b in zip(path[:-1], path[1:], strict=True):
        cutter.mark_line(a, b)
    surface = cutter.finish()
    way = carry_on(cutter, path[-1], line[-1] - line[-4], reach, 50.0, lambda: flow_of(surface, reach))
    assert way is not None
    chord = float(np.linalg.norm(way.points[-1] - way.points[0]))
    assert np.linalg.norm(way.points[-1] - line, axis=1).min() > 2.0 * reach
    # Source: a half circle is pi / 2 times as long as its chord; a way round the horn may be twice that
    assert arc_length(way.points)[-1] < np.pi * chord


@pytest.mark.parametrize("seed", [195, 211, 275])
def test_a_wavy_end_close_to_what_it_runs_on_to_is_carried_there(tools: Any, seed: int) -> None:
    """Smoothed, such a line may be shorter than it was by more than the way on is long: found with random scribbles."""
    random = np.random.default_rng(seed)
    count, middle = int(random.integers(8, 30)), np.array([0.0, -1.0, random.uniform(-0.3, 0.5)])
    points = middle + REACH * random.uniform(0.3, 2.0) * random.normal(size=(count, 3))
    points /= np.linalg.norm(points, axis=1)[:, None]
    line = FlowLine(tuple((float(x), float(y), float(z)) for x, y, z in points), name="wavy")
    positions, triangles = tools.icosphere(4)
    two = make_surface(positions, triangles, 0.5)
    assert_cut_well(two, add_flow_lines(two, [line], reach=REACH)[0])
