"""Forms of the sculpt that the mesh does not follow are told, with their place and how far they stand off."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.conftest import globe

from loopwright.handover.tell_missed_shape import _measure, sample_kept, tell_missed_shape
from loopwright.report.measure_distance import measure_distance
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.rim import Rim
from loopwright.types import Finding, FloatArray, IntArray, Paint, QuadMesh, Region, Sculpt

PALETTE = np.array([(200, 60, 60), (20, 20, 20)], np.uint8)
IS_OPEN = np.array([False, True])
BOSS = np.array([0.6, 0.64, 0.48])


def ball_of_quads(rows: int) -> QuadMesh:
    """A sphere of 6 rows^2 quads, blown up so that its limit surface is the unit sphere, but for a few thousandths."""
    line = np.tan(np.linspace(-np.pi / 4, np.pi / 4, rows + 1))
    u, v = (a.ravel() for a in np.meshgrid(line, line))
    ids = np.arange((rows + 1) ** 2).reshape(rows + 1, rows + 1)
    sheet = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
    points: list[FloatArray] = []
    quads: list[IntArray] = []
    for axis in range(3):
        for sign in (-1.0, 1.0):
            place = np.empty((len(u), 3))
            place[:, axis] = sign
            place[:, (axis + 1) % 3], place[:, (axis + 2) % 3] = (u, v) if sign > 0 else (v, u)
            quads.append((sheet + len(points) * len(u)).astype(np.int32))
            points.append(place)
    every = np.vstack(points)
    _, first, inverse = np.unique(np.round(every, 9), axis=0, return_index=True, return_inverse=True)
    positions = every[first] / np.linalg.norm(every[first], axis=1, keepdims=True)
    faces = inverse.ravel()[np.vstack(quads)].astype(np.int32)
    edge = np.pi / 2 / rows
    return mesh_of(positions * (1.0 + edge**2 / 3.0), faces)


def mesh_of(positions: FloatArray, quads: IntArray) -> QuadMesh:
    count = len(positions)
    return QuadMesh(
        positions,
        quads,
        np.zeros(len(quads), np.int32),
        (Region("all", (200, 60, 60)),),
        np.full(count, -1, np.int32),
        (),
        np.zeros(count, np.bool_),
        np.zeros(count, np.bool_),
        None,
    )


def told(
    mesh: QuadMesh, height: float, *, width: float = 0.2, rows: int = 60, open_below: float = -2.0, **more: Any
) -> list[Finding]:
    """What is told of a sphere with a boss that high and wide, left open below a height."""
    points, faces = globe(rows)
    away = np.linalg.norm(points - BOSS / np.linalg.norm(BOSS), axis=1)
    raised = points * (1.0 + height * np.exp(-((away / width) ** 2)))[:, None]
    paint = Paint(PALETTE, (points[:, 2] < open_below).astype(np.int32))
    return tell_missed_shape(mesh, sample_kept(SurfaceProjector(raised, faces), paint, IS_OPEN), **more)


def bound(found: Finding) -> float:
    """The distance that no vertex of the sculpt is said to be off by more than."""
    shown = re.search(r"no vertex of it that gets faces is off by more than ([\d.]+)\. ", found.text)
    assert shown
    return float(shown[1])


def test_a_boss_that_is_not_followed_is_told_where_it_is() -> None:
    (found,) = told(ball_of_quads(12), 0.2)
    words = r"by ([\d.]+) \(([\d.]+) edges\) in all near \(([^)]+)\), where that is ([\d.]+) wide"
    shown = re.search(words, found.text)
    assert found.kind == "shape_missed" and shown
    top = 1.2 * BOSS / np.linalg.norm(BOSS)
    assert np.linalg.norm(np.array([float(each) for each in shown[3].split(",")]) - top) < 0.1
    assert float(shown[1]) == pytest.approx(0.2, abs=0.02)
    assert float(shown[2]) == pytest.approx(0.2 / (np.pi / 2 / 12), rel=0.3)
    half = np.pi / 2 / 12 / 2  # of an edge: the boss is higher than that within so much of its middle
    assert float(shown[4]) == pytest.approx(2 * 0.2 * np.sqrt(np.log(0.2 / half)), rel=0.2)
    assert 0.19 < bound(found) < 0.21


def test_a_horn_much_smaller_than_a_face_is_told_and_the_bound_holds_for_it() -> None:
    edge = np.pi / 2 / 3
    (found,) = told(ball_of_quads(3), 0.8 * edge, width=0.15 * edge, rows=200)
    assert found.count == 1 and "most of all in one place" in found.text
    assert bound(found) == pytest.approx(0.8 * edge, abs=0.025)  # a ball of so few faces is off its sphere by 0.02


def test_the_bound_holds_where_a_place_is_farther_off_by_its_length_than_by_its_edges() -> None:
    fine, coarse = ball_of_quads(24), ball_of_quads(4)
    apart = mesh_of(
        np.concatenate([fine.positions, coarse.positions * 10.0 + 100.0]),
        np.concatenate([fine.quads, coarse.quads + np.int32(len(fine.positions))]),
    )
    points, faces = globe(60)
    grown = np.concatenate([points * 1.15, points * 12.3 + 100.0])
    both = np.concatenate([faces, faces + np.int32(len(points))])
    paint = Paint(PALETTE, np.zeros(len(grown), np.int32))
    (found,) = tell_missed_shape(apart, sample_kept(SurfaceProjector(grown, both), paint, IS_OPEN))
    assert found.count == 2 and 2.3 <= bound(found) < 2.4
    assert re.search(r"in 2 places: by 2\.3", found.text)


def test_the_bound_is_what_the_report_measures() -> None:
    coarse = ball_of_quads(2)
    points, faces = globe(60)
    away = np.linalg.norm(points - BOSS / np.linalg.norm(BOSS), axis=1)
    raised = points * (1.0 + 0.7 * np.exp(-((away / 0.3) ** 2)))[:, None]
    measured = measure_distance(Sculpt(raised, faces), coarse).sculpt_to_surface.max()
    (found,) = told(coarse, 0.7, width=0.3)
    assert measured * 0.999 <= bound(found) <= measured * 1.01


def test_quads_of_almost_no_area_are_no_missed_shape() -> None:
    ball = ball_of_quads(12)
    for least in (0.0, 1e-10, 1e-3):
        positions = ball.positions.copy()
        corners = ball.quads[0]
        middle = positions[corners].mean(axis=0)
        positions[corners] = middle + least * (positions[corners] - middle)
        for use_limit in (True, False):
            told_of = told(replace(ball, positions=positions), 0.0, use_limit=use_limit)
            assert all("inf" not in each.text and "e+" not in each.text for each in told_of)


def test_two_quads_with_two_common_edges_have_no_rim_between() -> None:
    mesh = mesh_of(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]), np.array([[0, 1, 2, 3], [0, 3, 2, 1]]))
    triangles = np.concatenate([mesh.quads[:, [0, 1, 2]], mesh.quads[:, [0, 2, 3]]]).astype(np.int32)
    weights = np.array([[0.5, 0.0, 0.5], [0.5, 0.5, 0.0]])
    assert not Rim(triangles).holds(np.array([0, 0], np.int32), weights).any()
    assert Rim(triangles[[0, 2]]).holds(np.array([0, 0], np.int32), weights).tolist() == [False, True]


def test_samples_are_measured_where_it_counts_as_if_all_were() -> None:
    points, faces = globe(200)
    away = np.linalg.norm(points - BOSS / np.linalg.norm(BOSS), axis=1)
    raised = points * (1.0 + 0.3 * np.exp(-((away / 0.1) ** 2)))[:, None]
    samples = sample_kept(SurfaceProjector(raised, faces), Paint(PALETTE, np.zeros(len(raised), np.int32)), IS_OPEN)
    edges = np.full(6 * 12**2, np.pi / 2 / 12)
    assert len(np.unique(samples.leader)) < len(samples.points)
    each = replace(samples, leader=np.arange(len(samples.points)), apart=np.zeros(len(samples.points)))
    quick, full = (_measure(ball_of_quads(12), these, edges, use_limit=True) for these in (samples, each))
    off = full[0] > 0.5 * edges[0]
    assert off.any() and np.array_equal(quick[0][off], full[0][off])
    assert quick[0].max() == full[0].max() and (quick[0] >= full[0] - 1e-12).all()


def test_samples_stand_for_the_area_that_they_are_spread_over() -> None:
    points, faces = globe(40)
    projector = SurfaceProjector(points, faces)
    corners = points[faces]
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    color = (points[:, 2] < 0.0).astype(np.int32)
    kept = ~(color[faces] == 1).any(axis=1)
    samples = sample_kept(projector, Paint(PALETTE, color), IS_OPEN)
    assert samples.areas.sum() == pytest.approx(area[kept].sum(), rel=1e-2)
    assert len(samples.points) == len(samples.areas) and samples.points[:, 2].min() >= -1e-12


@pytest.mark.parametrize("height", [0.0, 0.04])
def test_what_is_followed_to_within_half_an_edge_is_not_told(height: float) -> None:
    assert told(ball_of_quads(12), height) == []


def test_it_is_the_smooth_limit_that_is_compared_unless_the_mesh_itself_is_to_be() -> None:
    coarse = ball_of_quads(3)
    grown = mesh_of(coarse.positions * 1.5, coarse.quads)
    assert told(grown, 0.0) != [] and told(grown, 0.0, use_limit=False) != []
    assert told(coarse, 0.0) == []


def test_what_the_mesh_ends_before_is_not_told_but_what_it_covers_is() -> None:
    ball = ball_of_quads(12)
    upper = ball.quads[ball.positions[ball.quads].mean(axis=1)[:, 2] > -0.1]
    used, rows = np.unique(upper, return_inverse=True)
    cut = mesh_of(ball.positions[used], rows.reshape(-1, 4).astype(np.int32))
    assert told(cut, 0.0) == []
    assert len(told(cut, 0.2, open_below=-0.1)) == 1
    assert told(cut, 0.2, open_below=2.0) == []


def test_an_empty_mesh_has_nothing_to_miss() -> None:
    assert told(mesh_of(np.zeros((0, 3)), np.zeros((0, 4), np.int32)), 0.2) == []
