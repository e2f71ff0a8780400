"""Borders of a finished mesh are counted as those of its layout; edits change what the report tells of them."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from tests.test_open_sculpt import CHANGES, QUICK, RED_NAME, opened
from tests.test_pipeline import BLUE

from loopwright import Pin
from loopwright.counts.count_mesh_borders import border_edges, count_mesh_borders, count_mesh_openings
from loopwright.report.summarize import summarize_build


@pytest.mark.parametrize("change", ["nothing", "open area", "no mirror", "own sides", "line"])
def test_an_unedited_mesh_has_the_borders_of_its_layout(change: str) -> None:
    made = opened().build(CHANGES[change])
    planned = [(each.between, each.segments, each.times) for each in made.layout.borders]
    found = [(each.between, each.segments, each.times) for each in count_mesh_borders(made.mesh, made.surface.mirror)]
    assert sorted(found) == sorted(planned) and len(found) >= 2
    assert count_mesh_openings(made.mesh) == made.layout.openings
    assert bool(made.layout.openings) == (change == "open area")


def test_border_edges_lie_between_their_regions() -> None:
    mesh = opened().build(replace(QUICK, leave_open=(BLUE,))).mesh
    edges, sides = border_edges(mesh)
    for edge, (low, high) in zip(edges.tolist(), sides.tolist(), strict=True):
        on = np.isin(mesh.quads, edge).sum(axis=1) == 2
        assert sorted(mesh.quad_region[on].tolist()) == ([high] if low < 0 else [low, high])


def test_the_report_counts_the_edited_mesh_and_a_pin_that_an_edit_changes_is_told() -> None:
    plain = opened().build(QUICK)
    (border,) = [each for each in plain.layout.borders if RED_NAME in each.between]
    pinned = replace(QUICK, pins=(Pin(*border.between, border.segments),))
    edges, sides = border_edges(plain.mesh)
    red = [region.name for region in plain.mesh.regions].index(RED_NAME)
    place = plain.mesh.positions[edges[(sides == red).any(axis=1)][0]].mean(axis=0)
    more = {"op": "change_count", "near": tuple(place.tolist()), "by": 2}
    for edits in ((), (more,)):
        made = opened().build(replace(pinned, edits=edits))
        (told,) = [each for each in summarize_build(made).borders if RED_NAME in each.between]
        edges, sides = border_edges(made.mesh)
        names = [tuple(sorted(made.mesh.regions[side].name for side in pair)) for pair in sides.tolist()]
        assert told.segments == names.count(border.between)
        lost = [finding for finding in made.findings if finding.kind == "pin_edited"]
        assert len(lost) == (told.segments != border.segments)
        assert bool(lost) == bool(edits)
        if lost:
            assert f"has {told.segments} now" in lost[0].text
            advised = re.search(r"pin it to (\d+), which they change to (\d+)", lost[0].text)
            assert advised is not None and int(advised[2]) == border.segments
            followed = opened().build(replace(QUICK, pins=(Pin(*border.between, int(advised[1])),), edits=edits))
            (told,) = [each for each in summarize_build(followed).borders if RED_NAME in each.between]
            assert told.segments == border.segments
