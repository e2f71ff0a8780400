"""Borders that get far fewer segments than they are long for are found, and wishes for poles do not make any."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loopwright.counts.count_program import SumPin
from loopwright.counts.find_starved import find_starved
from loopwright.counts.solve_counts import arc_targets
from loopwright.options import BuildOptions
from loopwright.pipeline import plan
from loopwright.wishes import FlowLine, PolePin

HEAD = Path(__file__).parents[3] / "shared" / "data" / "head_a_160k.ply"
TARGETS = np.array([10.0, 20.0, 6.0, 3.0, 0.5, 8.0, 8.0, 8.0])


def test_long_arcs_of_few_segments_are_starved() -> None:
    assert find_starved(np.array([10, 20, 6, 3, 1, 8, 8, 8]), TARGETS).tolist() == []
    assert find_starved(np.array([10, 6, 6, 1, 1, 8, 8, 8]), TARGETS).tolist() == [1]
    assert find_starved(np.array([3, 20, 1, 3, 1, 8, 8, 8]), TARGETS).tolist() == [0, 2]


def test_a_small_budget_starves_none() -> None:
    assert find_starved(np.array([2, 4, 1, 1, 1, 2, 2, 2]), TARGETS).tolist() == []


def test_what_is_pinned_has_what_it_is_to_have() -> None:
    pin = SumPin((0,), 2, "this one")
    assert find_starved(np.array([2, 20, 6, 3, 1, 8, 8, 8]), TARGETS, (pin,)).tolist() == []
    assert find_starved(np.array([2, 20, 6, 3, 1, 8, 8, 8]), TARGETS).tolist() == [0]


def test_without_arcs_there_is_none() -> None:
    assert find_starved(np.zeros(0, np.int32), np.zeros(0)).tolist() == []


@pytest.mark.skipif(not HEAD.exists(), reason="the painted head is not here")
def test_a_region_without_poles_beside_a_line_takes_no_segments_from_its_border() -> None:
    """The jaw's border had one edge on each side, 7.6 long, so that the cheek above it got along without poles."""
    line = FlowLine(((2.69, -3.22, 10.01), (3.217, -4.775, 9.153), (3.73, -6.0, 7.75)), False, "marionette")
    cheek = (235, 225, 150)
    wishes = BuildOptions(
        budget=5000,
        leave_open=((20, 20, 20),),
        region_names={cheek: "cheeks"},
        poles=(PolePin("cheeks", "none"),),
        lines=(line,),
    )
    made = plan(HEAD, options=wishes).layout
    targets = arc_targets(made.layout, made.layout.vertex_size)
    assert find_starved(made.counts, targets).tolist() == []
