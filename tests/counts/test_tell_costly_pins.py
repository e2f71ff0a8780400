"""Pins that cost much are told with what they cost, and the count that is told is free of it."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import FACES, layout_of

from loopwright.counts.added_poles import extra_poles
from loopwright.counts.count_program import SumPin
from loopwright.counts.solve_counts import arc_targets, solve_for_budget
from loopwright.counts.tell_costly_pins import stretch, tell_costly_pins, tell_far_pins
from loopwright.errors import ConvergenceError
from loopwright.layout.types import Layout
from loopwright.types import Finding, IntArray

NAME = "torus in sectors"


def solved(layout: Layout, pins: tuple[SumPin, ...]) -> IntArray:
    return solve_for_budget(layout, arc_targets(layout, layout.vertex_size), FACES, pins=pins)[0]


def told(layout: Layout, pins: tuple[SumPin, ...], calls: list[tuple[SumPin, ...]] | None = None) -> list[Finding]:
    def solve(kept: tuple[SumPin, ...]) -> IntArray:
        if calls is not None:
            calls.append(kept)
        return solved(layout, kept)

    targets = arc_targets(layout, layout.vertex_size)
    return tell_costly_pins(layout, solved(layout, pins), targets, pins, solve)


def sides(layout: Layout) -> list[tuple[int, ...]]:
    """Two opposite sides of the first four-sided patch."""
    patch = next(p for p in layout.patches if len(p.sides) == 4)
    return [tuple(a for a, _ in patch.sides[k]) for k in (0, 2)]


def free_count(layout: Layout, arcs: tuple[int, ...]) -> int:
    return int(solved(layout, ())[list(arcs)].sum())


def test_a_pin_on_the_count_that_comes_anyway_is_not_told() -> None:
    layout = layout_of(NAME)
    arcs = sides(layout)[0]
    pins = (SumPin(arcs, free_count(layout, arcs), "a/b"),)
    assert told(layout, pins) == []
    assert tell_far_pins(solved(layout, pins), arc_targets(layout, layout.vertex_size), pins) == []


def test_a_pin_is_not_told_its_own_count_where_others_are_as_good() -> None:
    """Counts found without a pin may have fewer poles and the pinned count all the same."""
    layout = layout_of(NAME)
    one, other = sides(layout)
    count = free_count(layout, one)
    pins = (SumPin(one, 2 * count, "a/b"),)
    counts = solved(layout, (*pins, SumPin(other, count, "c/d")))
    free = solved(layout, pins)
    assert sum(extra_poles(layout, counts)) > sum(extra_poles(layout, free))
    targets = arc_targets(layout, layout.vertex_size)
    assert tell_costly_pins(layout, counts, targets, pins, lambda _: free) == []


def test_the_count_that_is_told_is_free_of_what_the_pin_costs() -> None:
    layout = layout_of(NAME)
    arcs = sides(layout)[0]
    pin = SumPin(arcs, 2 * free_count(layout, arcs), "a/b")
    (finding,) = told(layout, (pin,))
    assert finding.kind == "pin_costly" and pin.wish in finding.text
    found = re.search(r"a/b=(\d+) would be free", finding.text)
    assert found is not None
    better = solved(layout, (SumPin(arcs, int(found[1]), "a/b"),))
    saved = sum(extra_poles(layout, solved(layout, (pin,)))) - sum(extra_poles(layout, better))
    assert finding.count == saved >= 0
    factor = re.search(r"([\d.]+) times as narrow", finding.text)
    assert factor is not None
    assert float(factor[1]) == pytest.approx(pin.count / int(found[1]), rel=0.05)


def test_unlike_pins_on_opposite_sides_cost_poles_and_either_can_be_freed() -> None:
    layout = layout_of(NAME)
    one, other = sides(layout)
    count = free_count(layout, one)
    pins = (SumPin(one, count + 4, "a/b"), SumPin(other, count, "c/d"))
    findings = told(layout, pins)
    with_both = sum(extra_poles(layout, solved(layout, pins)))
    for pin, kept in (pins, pins[::-1]):
        (finding,) = (f for f in findings if pin.wish in f.text)
        assert finding.kind == "pin_costly"
        found = re.search(rf"{pin.name}=(\d+) would be free", finding.text)
        assert found is not None
        better = (replace(pin, count=int(found[1])), kept)
        assert with_both - sum(extra_poles(layout, solved(layout, better))) == finding.count > 0


def test_far_pins_are_told_as_by_a_plan_where_no_counts_are_found_without_them() -> None:
    layout = layout_of(NAME)
    arcs = sides(layout)[0]
    targets = arc_targets(layout, layout.vertex_size)

    def fail(_: tuple[SumPin, ...]) -> IntArray:
        raise ConvergenceError("no counts were found")

    for factor, kinds in ((3, ["pin_far"]), (1, [])):
        pins = (SumPin(arcs, factor * free_count(layout, arcs), "a/b"),)
        counts = solved(layout, pins)
        findings = tell_costly_pins(layout, counts, targets, pins, fail)
        assert [f.kind for f in findings] == kinds
        assert [f.text for f in findings] == [f.text for f in tell_far_pins(counts, targets, pins)]


def test_a_stretch_is_told_though_there_are_more_poles_without_the_pin() -> None:
    layout = layout_of(NAME)
    one, other = sides(layout)
    count = free_count(layout, one)
    pins = (SumPin(one, 3 * count, "a/b"),)
    worse = solved(layout, (SumPin(one, count + 4, "a/b"), SumPin(other, count, "c/d")))
    more = sum(extra_poles(layout, worse)) - sum(extra_poles(layout, solved(layout, pins)))
    assert more > 0
    targets = arc_targets(layout, layout.vertex_size)
    (finding,) = tell_costly_pins(layout, solved(layout, pins), targets, pins, lambda _: worse)
    assert finding.kind == "pin_costly" and finding.count == 0
    assert "times as narrow as without" in finding.text and f"would be free of that, with {more} pole" in finding.text


def test_pins_near_their_wish_are_not_solved_without() -> None:
    layout = layout_of(NAME)
    arcs = sides(layout)[0]
    calls: list[tuple[SumPin, ...]] = []
    pins = (SumPin(arcs, free_count(layout, arcs), "a/b"),)
    assert sum(extra_poles(layout, solved(layout, pins))) == 0
    told(layout, pins, calls)
    assert calls == []


def test_far_pins_are_told_without_solving() -> None:
    layout = layout_of(NAME)
    arcs = sides(layout)[0]
    targets = arc_targets(layout, layout.vertex_size)
    for factor, how in ((3.0, "narrow"), (0.3, "wide")):
        pins = (SumPin(arcs, round(factor * float(targets[list(arcs)].sum())), "a/b"),)
        counts = np.rint(targets).astype(np.int32)
        (finding,) = tell_far_pins(counts, targets, pins)
        assert finding.kind == "pin_far" and f"times as {how}" in finding.text


def far_text(pins: tuple[SumPin, ...], wished: list[float]) -> str:
    """What is told of pins on six arcs whose sizes ask for these counts, the last of them being free."""
    targets = np.array(wished)
    (finding,) = tell_far_pins(np.rint(targets).astype(np.int32), targets, pins)
    return finding.text


def test_the_count_that_would_suit_can_be_pinned() -> None:
    cut = (SumPin((0,), 20, "a/b", 2), SumPin((1,), 40, "a/b"))
    assert "about 12 segments would" in far_text(cut, [6.2, 12.6, 5.0])  # a border cut by the mirror plane is even
    assert "about 3 segments would" in far_text((SumPin((0, 1, 2), 9, "a/b"),), [0.5, 0.5, 0.5, 5.0])
    assert "about 1 segment would" in far_text((SumPin((0,), 9, "a/b"),), [1.0, 5.0])
    stuck = (SumPin((0, 1, 2), 3, "a/b"),)  # sizes ask for one segment, but there are three pieces
    assert tell_far_pins(np.array([1, 1, 1, 5], np.int32), np.array([0.3, 0.3, 0.4, 5.0]), stuck) == []


def test_borders_of_one_name_that_need_different_counts_are_told_apart() -> None:
    text = far_text((SumPin((0,), 90, "a/b"), SumPin((1,), 90, "a/b")), [8.0, 30.0, 5.0])
    assert "about 8 and 30 segments would" in text and "a place (near)" in text
    assert "near" not in far_text((SumPin((0,), 90, "a/b"), SumPin((1,), 90, "a/b")), [8.0, 8.0, 5.0])


@pytest.mark.parametrize(("wished", "factor"), [(310.0, "3.0"), (7.0, "133"), (93.0, "10"), (94.0, "9.9")])
def test_factors_have_one_decimal_up_to_ten(wished: float, factor: str) -> None:
    assert f"quads {factor} times as narrow" in far_text((SumPin((0,), 930, "a/b"),), [wished, 5.0])


def test_a_segment_more_or_less_is_no_stretch() -> None:
    assert stretch(1, 2) == 1.0
    assert stretch(4, 2) == stretch(2, 4) == 2.0
    assert stretch(6, 0) == 6.0
