"""Pins on borders and openings: kept exactly, or told why they cannot be."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import FACES, layout_of, surface_of
from tests.counts.test_solve_counts import solve, targets_of

from loopwright.counts.count_borders import count_borders
from loopwright.counts.count_options import CountOptions
from loopwright.counts.count_program import SumPin
from loopwright.counts.explain_clash import next_count, part_blocking
from loopwright.counts.program_rows import rim_loops
from loopwright.counts.read_pins import border_pins, region_sizes
from loopwright.counts.solve_counts import solve_for_budget
from loopwright.errors import InfeasibleError, MarksError, TightBudgetError
from loopwright.layout.types import Layout
from loopwright.options import Pin, format_color
from loopwright.stages.lay_out import _solve_pinned
from loopwright.types import IntArray


def borders(name: str) -> tuple[Layout, dict[tuple[int, int], list[int]]]:
    layout = layout_of(name)
    found: dict[tuple[int, int], list[int]] = {}
    for i, arc in enumerate(layout.arcs):
        if arc.kind == "border":
            found.setdefault(arc.sides, []).append(i)
    return layout, found


def other_word(layout: Layout, name: str) -> str:
    """What means a region too: the colour that it is painted in."""
    return next(format_color(region.color) for region in layout.surface.regions if region.name == name)


def test_one_border_pinned_by_names_and_by_colours_is_one_pin_or_two_that_disagree() -> None:
    layout, _ = borders("sphere in rings")
    first, second = (other_word(layout, name) for name in ("area 2", "area 1"))
    assert border_pins(layout, [Pin("area 1", "area 2", 8), Pin(first, second, 8)]) == border_pins(
        layout, [Pin("area 1", "area 2", 8)]
    )
    with pytest.raises(MarksError, match="is pinned to 8 and, as .*, to 12; keep one of the two") as caught:
        border_pins(layout, [Pin("area 1", "area 2", 8), Pin(first, second, 12)])
    assert caught.value.places == ("area 1/area 2", f"{first}/{second}") and caught.value.about == "pins"


def test_one_region_sized_by_name_and_by_colour_is_one_size_or_two_that_disagree() -> None:
    surface = borders("sphere in rings")[0].surface
    color = other_word(borders("sphere in rings")[0], "area 1")
    assert region_sizes(surface, {"area 1": 0.5, color: 0.5}) == region_sizes(surface, {"area 1": 0.5})
    with pytest.raises(MarksError, match=r"is given as 0\.5 and, as .*, as 0\.25; keep one") as caught:
        region_sizes(surface, {"area 1": 0.5, color: 0.25})
    assert caught.value.places == ("area 1", color) and caught.value.about == "sizes"


@pytest.mark.parametrize("count", [8, 12, 20])
def test_pins_are_kept_exactly(count: int) -> None:
    layout, _ = borders("sphere in rings")
    pins = border_pins(layout, [Pin("area 1", "area 2", count)])
    counts = solve("sphere in rings", pins)
    assert [int(counts[list(p.arcs)].sum()) for p in pins] == [count] * len(pins) and len(pins) == 1
    # what enters a ring on one side leaves it on the other (common practice, no source)
    _, found = borders("sphere in rings")
    for sides in ((1, 0), (3, 2)):
        assert counts[found[sides]].sum() == count


@pytest.mark.parametrize("name", ["sphere with holes", "half tube at a mirror", "flat disc"])
def test_openings_are_pinned_by_their_region(name: str) -> None:
    layout = layout_of(name)
    region = next(arc.sides[0] for arc in layout.arcs if arc.kind == "rim")
    for count in (14, 18):
        pins = border_pins(layout, [Pin("opening", layout.surface.regions[region].name, count)])
        counts = solve(name, pins, 2 * FACES)
        loops = [(loop, half) for loop, half in rim_loops(layout) if region in layout.arcs[loop[0]].sides]
        assert len(pins) == len(loops) > 0
        assert all(counts[loop].sum() == (count // 2 if is_half else count) for loop, is_half in loops)


def test_pins_on_borders_that_are_not_there_are_told_those_that_are() -> None:
    with pytest.raises(MarksError, match="area 0 borders on area 1; area 2 borders on area 1, area 3"):
        border_pins(layout_of("sphere in rings"), [Pin("area 0", "area 2", 8)])
    with pytest.raises(MarksError, match="area 0 has no opening: area 0 borders on area 1"):
        border_pins(layout_of("sphere in rings"), [Pin("area 0", "opening", 8)])
    with pytest.raises(MarksError, match='no region "hole".*"opening" stands for that'):
        border_pins(layout_of("sphere with holes"), [Pin("area 0", "hole", 8)])


def test_pins_name_connected_borders_one_by_one() -> None:
    layout = layout_of("torus in sectors")
    pins = border_pins(layout, [Pin("area 1", "area 2", 6)])
    arcs = [set(p.arcs) for p in pins]
    assert all(not a & b for i, a in enumerate(arcs) for b in arcs[:i])
    assert set().union(*arcs) == {i for i, a in enumerate(layout.arcs) if set(a.sides) == {1, 2}}


def test_clashing_pins_are_named_by_a_smallest_set() -> None:
    layout = layout_of("sphere in rings")
    free = border_pins(layout, [Pin("area 0", "area 1", 8)])
    clash = border_pins(layout, [Pin("area 1", "area 2", 16), Pin("area 2", "area 3", 12)])
    # rings may be broken for a price; only a price that nobody pays makes these two clash, so pin one arc twice
    arc = clash[0].arcs
    double = SumPin(arc, 12, "the same border")
    with pytest.raises(InfeasibleError) as caught:
        solve_for_budget(layout, targets_of("sphere in rings"), FACES, pins=(*free, clash[0], double))
    assert "area 1/area 2=16" in str(caught.value) and "the same border=12" in str(caught.value)
    assert "area 0" not in str(caught.value)
    assert list(caught.value.places) == ["area 1/area 2", "the same border"]
    way = "change one of them (area 1/area 2=12, the same border=16 would fit the others), or remove one."
    assert str(caught.value).endswith(way)
    for pins in ((replace(clash[0], count=12), double), (clash[0], replace(double, count=16))):
        solve_for_budget(layout, targets_of("sphere in rings"), FACES, pins=(*free, *pins))


def test_an_odd_sum_round_a_patch_is_told() -> None:
    layout = layout_of("cube")
    patch = layout.patches[0]
    arcs = [a for side in patch.sides for a, _ in side]
    pins = tuple(SumPin((a,), 4 + (i == 0), f"arc {i}") for i, a in enumerate(arcs))
    assert sum(p.count for p in pins) % 2
    with pytest.raises(InfeasibleError, match="cannot be met together") as caught:
        solve_for_budget(layout, targets_of("cube"), FACES, pins=pins)
    assert sorted(map(str, caught.value.places)) == sorted(p.name for p in pins)


@pytest.mark.parametrize(
    ("name", "count"), [("half sphere at a mirror", 2), ("half tube at a mirror", 4000), ("sphere with holes", 6)]
)
def test_one_pin_that_cannot_be_met_names_its_next_counts_as_asked_for(name: str, count: int) -> None:
    layout = layout_of(name)

    def pinned(number: int) -> IntArray:
        return solve(name, border_pins(layout, [Pin("area 0", "area 1", number)]))

    with pytest.raises(InfeasibleError, match=f"The pin area 0/area 1={count} cannot be met") as caught:
        pinned(count)
    assert caught.value.places == ("area 0/area 1",)
    (told,) = (int(number) for number in re.findall(r"\d+", str(caught.value).partition("can be had")[2]))
    for pin in border_pins(layout, [Pin("area 0", "area 1", told)]):
        assert pin.wish == f"area 0/area 1={told}"
        assert pinned(told)[list(pin.arcs)].sum() * pin.copies == told
    step = 1 if told > count else -1
    for between in range(count + step, told, step)[-3:]:
        with pytest.raises(InfeasibleError):
            pinned(between)


@pytest.mark.parametrize(("name", "count"), [("half sphere at a mirror", 2), ("sphere with holes", 6)])
def test_a_pin_that_clashes_alone_is_told_the_same_counts_among_others_that_cannot_be_met(
    name: str, count: int
) -> None:
    layout = layout_of(name)
    alone = border_pins(layout, [Pin("area 0", "area 1", count)])
    free = next(i for i in range(len(layout.arcs)) if all(i not in pin.arcs for pin in alone))
    hopeless = SumPin((free,), 100_000, "elsewhere")
    texts = []
    for pins in (alone, (hopeless, *alone)):
        with pytest.raises(InfeasibleError) as caught:
            solve(name, pins)
        assert caught.value.places == ("area 0/area 1",)
        texts.append(str(caught.value))
    told = [re.findall(r"\d+", text.partition("nearest")[2]) for text in texts]
    assert told[0] == told[1] != []
    assert "without the other pins" in texts[1] and "another" not in texts[1]


@pytest.mark.parametrize(("name", "count"), [("half sphere at a mirror", 2), ("sphere with holes", 6)])
def test_a_pin_that_clashes_alone_is_told_with_those_that_keep_it_from_a_nearer_count(name: str, count: int) -> None:
    layout = layout_of(name)
    alone = border_pins(layout, [Pin("area 0", "area 1", count)])
    with pytest.raises(InfeasibleError) as caught:
        solve(name, alone)
    (least,) = (int(number) for number in re.findall(r"\d+", str(caught.value).partition("can be had")[2]))
    far = least + 2 * alone[0].copies
    places = [replace(pin, count=far // pin.copies, name=f"{pin.name} near {k}") for k, pin in enumerate(alone)]
    bystander = next(i for i in range(len(layout.arcs)) if all(i not in pin.arcs for pin in alone))
    there = SumPin((bystander,), int(solve(name, places)[bystander]), "elsewhere")
    for pins in ((*alone, there, *places), (*places, there, *alone)):
        with pytest.raises(InfeasibleError) as caught:
            solve(name, pins)
        text = str(caught.value)
        assert text.startswith(f"The pin area 0/area 1={count} cannot be met: beside the pin area 0/area 1 near ")
        assert f"the nearest that can be had is {far}; without it the nearest is {least}." in text
        first, second = caught.value.places
        assert first == "area 0/area 1" and second in [place.name for place in places]


def test_of_pins_that_each_block_by_themselves_all_have_to_go() -> None:
    pin, others = SumPin((0,), 2, "asked"), tuple(SumPin((0,), 8, name) for name in ("first", "second", "third"))

    def nearest(asked: SumPin, beside: tuple[SumPin, ...], way: int) -> int | None:
        return 8 if {"first", "second"} & {each.name for each in beside} else 4

    stays, goes = part_blocking(pin, others, 4, nearest)
    assert [each.name for each in stays] == ["third"] and [each.name for each in goes] == ["first", "second"]
    assert nearest(pin, tuple(stays), 1) == 4  # what is told of the pins without those holds
    stays, goes = part_blocking(pin, others, 4, lambda *_: None)  # nothing is shown to fit: nothing is said to stay
    assert stays == [] and goes == list(others)


def test_an_odd_pin_across_the_mirror_is_told_with_those_that_forbid_its_even_neighbours() -> None:
    name = "half tube at a mirror"
    layout = layout_of(name)

    def nearest(pin: SumPin, others: tuple[SumPin, ...], way: int) -> int | None:
        return next_count(layout, targets_of(name), pin, others, CountOptions(), way)

    at = layout.arcs[border_pins(layout, [Pin("area 0", "area 1", 12)])[0].arcs[0]].points[0]
    place = Pin("area 0", "area 1", 20, (float(at[0]), float(at[1]), float(at[2])))
    for pins in ([Pin("area 0", "area 1", 11), place], [place, Pin("area 0", "area 1", 11)]):
        with pytest.raises(
            InfeasibleError, match="10 or 12 instead of 11 can be had, but not beside the pin"
        ) as caught:
            border_pins(layout, pins, nearest=nearest)
        assert caught.value.places == ("area 0/area 1", place.name) and f"{place.name}=20" in str(caught.value)


def test_pins_that_only_the_budget_forbids_are_told_apart_from_those_that_never_fit() -> None:
    name = "half tube at a mirror"
    pins = tuple(border_pins(layout_of(name), [Pin("area 0", "area 1", 120)]))
    with pytest.raises(TightBudgetError) as caught:
        solve(name, pins)
    assert caught.value.times > 1.0
    finer = np.sqrt(caught.value.times) * targets_of(name)
    counts, _ = solve_for_budget(layout_of(name), finer, caught.value.times * FACES, pins=pins)
    assert all(pin.copies * counts[list(pin.arcs)].sum() == 120 for pin in pins)
    huge = tuple(border_pins(layout_of(name), [Pin("area 0", "area 1", 100_000)]))
    with pytest.raises(TightBudgetError) as beyond:
        solve(name, huge)
    assert beyond.value.times > 1e4 > caught.value.times
    patch = layout_of("cube").patches[0]
    arcs = [a for side in patch.sides for a, _ in side]
    odd = tuple(SumPin((a,), 4 + (i == 0), f"arc {i}") for i, a in enumerate(arcs))
    with pytest.raises(InfeasibleError) as never:
        solve("cube", odd)
    assert not isinstance(never.value, TightBudgetError)


def test_an_odd_pin_across_the_mirror_is_explained() -> None:
    layout = layout_of("half tube at a mirror")
    with pytest.raises(InfeasibleError, match="crosses the mirror plane.*to 10 or 12 instead of 11") as caught:
        border_pins(layout, [Pin("area 0", "area 1", 11)])
    assert caught.value.places == ("area 0/area 1",)
    (pin,) = border_pins(layout, [Pin("area 0", "area 1", 12)])
    assert pin.count == 6
    assert solve("half tube at a mirror", [pin])[list(pin.arcs)].sum() == 6


@pytest.mark.parametrize(
    ("name", "count", "is_in_range"),
    [
        ("half tube at a mirror", 3, True),
        ("half tube at a mirror", 11, True),
        ("half tube at a mirror", 4001, False),
        ("half sphere at a mirror", 3, True),
    ],
)
def test_an_odd_pin_is_told_the_counts_that_can_be_had(name: str, count: int, is_in_range: bool) -> None:
    layout = layout_of(name)

    def nearest(pin: SumPin, others: tuple[SumPin, ...], way: int) -> int | None:
        return next_count(layout, targets_of(name), pin, others, CountOptions(), way)

    def can_be_had(number: int) -> bool:
        pins = border_pins(layout, [Pin("area 0", "area 1", number)])
        try:
            return all(pin.copies * solve(name, [pin])[list(pin.arcs)].sum() == number for pin in pins)
        except InfeasibleError:
            return False

    with pytest.raises(InfeasibleError) as caught:
        border_pins(layout, [Pin("area 0", "area 1", count)], nearest=nearest)
    text = str(caught.value)
    assert ("crosses the mirror plane" in text) == is_in_range != (f"={count} cannot be met" in text)
    assert is_in_range != text.endswith("an odd number can be had there with no budget.")
    shown = re.search(r"(?:pin it to|can be had (?:is|are)) ([\d andor]+)", text)
    assert shown is not None
    told = [int(number) for number in re.findall(r"\d+", shown[1])]
    assert told and all(can_be_had(number) for number in told)
    beside = [number for number in (count - 1, count + 1) if can_be_had(number)]
    assert told == beside if is_in_range else not beside


def test_too_few_segments_are_told_before_an_odd_number() -> None:
    layout = layout_of("half tube at a mirror")
    with pytest.raises(InfeasibleError, match="has 2 pieces between junctions and cannot have fewer segments; 1 is"):
        border_pins(layout, [Pin("area 0", "area 1", 1)])


def test_pins_that_name_nothing() -> None:
    layout = layout_of("sphere in rings")
    with pytest.raises(MarksError, match="share no border"):
        border_pins(layout, [Pin("area 0", "area 4", 8)])
    with pytest.raises(MarksError, match='no region "nose"; the regions are area 0, area 1'):
        border_pins(layout, [Pin("area 0", "nose", 8)])
    with pytest.raises(MarksError, match='no region "nose"'):
        region_sizes(surface_of("quilt"), {"nose": 0.1})
    assert region_sizes(surface_of("quilt"), {"area 2": 0.1}) == {2: 0.1}


def test_a_pin_below_the_number_of_arcs_is_told() -> None:
    layout, found = borders("sphere with holes")
    assert len(found[1, 0]) > 1
    with pytest.raises(InfeasibleError, match="cannot have fewer"):
        border_pins(layout, [Pin("area 0", "area 1", 1)])


def test_pins_that_hold_anyway_change_no_count() -> None:
    changed = 0
    for name in ("sphere with caps", "sphere in rings", "sphere with holes", "horn", "torus in sectors"):
        layout = layout_of(name)

        def solved(kept: tuple[SumPin, ...], _stage: str, name: str = name) -> IntArray:
            return solve(name, kept, 100.0)

        free = _solve_pinned(layout, (), solved)
        told = [Pin(*border.between, border.segments, border.near) for border in count_borders(layout, free)]
        pins = border_pins(layout, told)
        assert pins and np.array_equal(_solve_pinned(layout, pins, solved), free)
        changed += not np.array_equal(solve(name, pins, 100.0), free)
        more = replace(pins[0], count=pins[0].count + 2)
        other = _solve_pinned(layout, (more, *pins[1:]), solved)
        assert other[list(more.arcs)].sum() == more.count
    assert changed  # solved with them, counts as good as those were found instead
