"""Findings are marked in the pictures at the places that they name, under their number in the list."""

from __future__ import annotations

import os
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.report import write_report as module
from loopwright.report.compose_scene import compose_scene
from loopwright.report.find_places import KIND, find_places, finding_marks
from loopwright.report.picture import PlacedMark
from loopwright.report.run_drawing import run_drawing
from loopwright.report.show_findings import show_findings
from loopwright.types import Finding

if TYPE_CHECKING:
    from pathlib import Path

    from tests.report.conftest import Build, Plan

SHARE = st.floats(0.012, 0.988)
BOX = re.compile(r'<rect class="finding" x="([-\d.]+)" y="([-\d.]+)" width="([\d.]+)" height="([\d.]+)"')


@given(st.lists(st.tuples(*[st.floats(-1e6, 1e6, allow_subnormal=False)] * 3), max_size=4))
def test_places_are_read_as_messages_write_them(places: list[tuple[float, float, float]]) -> None:
    text = "; ".join("by 1.5 (0.7 edges) near ({:.4g}, {:.4g}, {:.4g})".format(*place) for place in places)
    found = find_places(Finding("short", f"It ends (2, and as many mirror images) short: {text}."))
    wanted = dict.fromkeys(tuple(float(f"{value:.4g}") for value in place) for place in places)
    assert found == tuple(wanted)


def test_what_is_no_place_is_none() -> None:
    for text in ("sides of 13, 7, 5 segments", "in 3 (1, 2) places", "(a, 1, 2)", "(1, 2, 3, 4)", "(1,2,3)"):
        assert find_places(Finding("told", text)) == ()


def test_marks_bear_the_number_in_the_list() -> None:
    marks = finding_marks(
        [Finding("a", "no place"), Finding("b", "at (1, 2, 3) and (4, 5, 6)"), Finding("c", "(7, 8, 9)")]
    )
    assert [(mark.text, mark.positions) for mark in marks] == [
        ("2", ((1, 2, 3),)),
        ("2", ((4, 5, 6),)),
        ("3", ((7, 8, 9),)),
    ]


@given(st.lists(st.tuples(st.integers(1, 99), SHARE, SHARE), min_size=1, max_size=3))
def test_numbers_stand_in_the_picture_beside_their_rings(spots: list[tuple[int, float, float]]) -> None:
    drawn = show_findings([PlacedMark(KIND, str(number), left, top) for number, left, top in spots])
    rings = list(dict.fromkeys(re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', drawn)))
    for box, (cx, cy) in zip(BOX.findall(drawn), rings, strict=True):
        x, y, width, height = map(float, box)
        assert x >= 0 and y >= 0 and x + width <= 1000 and y + height <= 1000
        assert not (x < float(cx) < x + width and y < float(cy) < y + height)  # never over its own ring


def test_places_that_fall_together_share_a_ring_and_others_do_not() -> None:
    marks = [PlacedMark(KIND, text, left, 0.5) for text, left in (("1", 0.5), ("2", 0.505), ("2", 0.503), ("4", 0.55))]
    drawn = show_findings([*marks, PlacedMark("pole3", "3", 0.5, 0.5)])
    assert re.findall(r">([\d, ]+)</text>", drawn) == ["1, 2", "4"]
    first, second = (tuple(map(float, box)) for box in BOX.findall(drawn))
    beside = first[0] + first[2] <= second[0] or second[0] + second[2] <= first[0]
    assert beside or first[1] + first[3] <= second[1] or second[1] + second[3] <= first[1]


FINDINGS = (
    Finding("mirror", "The halves match."),
    Finding("short", "It ends short near (0, 0, 1), and near (0, 0, -1)."),
    Finding("far", "Something lies far before it, at (0, 0, 500)."),
)


def test_the_views_hold_places_off_the_mesh_but_none_far_from_the_sculpt(build: Build) -> None:
    tall = replace(build.sculpt, positions=np.vstack([build.sculpt.positions, [[0.0, 3.0, 0.0]]]))
    told = (*FINDINGS, Finding("shape_missed", "It stands off near (0, 3, 0)."))
    plain, wide = (
        compose_scene(tall, build.surface, build.layout, build.mesh, None, 1.0, findings)
        for findings in (FINDINGS, told)
    )
    heights = [next(p for p in scene.pictures if p.name == "mesh-front").view for scene in (plain, wide)]
    assert heights[0].half_height < 1.5 < heights[1].half_height < 3.0


def test_a_place_is_seen_from_its_side_alone(build: Build, plan: Plan) -> None:
    for result, name in ((build, "mesh"), (plan, "layout")):
        mesh = build.mesh if name == "mesh" else None
        scene = compose_scene(result.sculpt, result.surface, result.layout, mesh, None, 1.0, FINDINGS)
        drawn, lost = run_drawing(replace(scene, pictures=[p for p in scene.pictures if p.name.startswith(f"{name}-")]))
        if lost and not os.environ.get("CI"):
            pytest.skip("this machine draws nothing")
        seen = {each.picture.name: [mark.text for mark in each.marks if mark.kind == KIND] for each in drawn}
        assert seen[f"{name}-front"] == ["2"]
        assert all("3" not in numbers for numbers in seen.values())
        if mesh is not None:
            assert seen["mesh-back"] == ["2"]


def test_the_page_numbers_its_list_as_the_pictures_do(build: Build, tmp_path: Path) -> None:
    page = module.write_report(tmp_path, replace(build, findings=FINDINGS)).read_text(encoding="utf-8")
    notes = page.partition('<div class="notes">')[2].partition("</div>")[0]
    items = re.findall(r'<li class="(seen)?"><b>(\d+)</b><span>([^<]*)</span>', notes)
    assert [(number, text) for _, number, text in items[:3]] == [
        (str(k), finding.text) for k, finding in enumerate(FINDINGS, 1)
    ]
    if any("could not be drawn" in text for _, _, text in items) and not os.environ.get("CI"):
        pytest.skip("this machine draws nothing")
    assert [seen for seen, _, _ in items[:3]] == ["", "seen", ""]
    assert "place of a finding" in page and 'class="finding"' in page
