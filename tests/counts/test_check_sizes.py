"""Sizes that cannot be had are refused at once, with the nearest ones that can."""

from __future__ import annotations

import re

import numpy as np
import pytest
from tests.conftest import globe, surface_of

from loopwright import BuildOptions, plan
from loopwright.counts.check_sizes import check_sizes, round_length
from loopwright.counts.size_field import triangle_areas
from loopwright.errors import InfeasibleError, MarksError
from loopwright.types import Sculpt

BUDGET = 2000


def least_size(name: str, asked: dict[int, float]) -> float:
    with pytest.raises(InfeasibleError, match="faces alone, but the budget is 2,000") as caught:
        check_sizes(surface_of(name), asked, None, BUDGET)
    told = re.search(r"smallest size of area \d that fits is ([\d.e-]*\d)", str(caught.value))
    assert told is not None
    return float(told[1])


@pytest.mark.parametrize("length", [0.005, 1e-9, 1e-200])
@pytest.mark.parametrize("name", ["cube", "half tube at a mirror"])
def test_the_smallest_size_that_is_told_fits_and_a_smaller_one_does_not(name: str, length: float) -> None:
    least = least_size(name, {1: length})
    check_sizes(surface_of(name), {1: least}, None, BUDGET)
    assert least_size(name, {1: 0.94 * least}) == least
    # squares of that size cover the whole mesh's region with the budget's faces
    surface = surface_of(name)
    area = triangle_areas(surface)[surface.triangle_region == 1].sum() * (1 if surface.mirror is None else 2)
    assert 0.88 * BUDGET <= area / least**2 <= BUDGET


def test_a_budget_that_would_do_is_told() -> None:
    with pytest.raises(InfeasibleError, match="or raise the budget to") as caught:
        check_sizes(surface_of("cube"), {1: 0.02}, None, BUDGET)
    told = re.search(r"raise the budget to ([\d,]+)", str(caught.value))
    assert told is not None
    check_sizes(surface_of("cube"), {1: 0.02}, None, int(told[1].replace(",", "")))
    with pytest.raises(InfeasibleError) as caught:
        check_sizes(surface_of("cube"), {1: 1e-4}, None, BUDGET)
    assert "raise the budget" not in str(caught.value)


def test_painted_sizes_count_too() -> None:
    surface = surface_of("cube")
    with pytest.raises(InfeasibleError, match="times as long would fit"):
        check_sizes(surface, {}, np.full(len(surface.positions), 0.01), BUDGET)


def test_sizes_that_take_much_are_told() -> None:
    (finding,) = check_sizes(surface_of("cube"), {1: 0.04}, None, BUDGET)
    assert finding.kind == "sizes" and f"{finding.count:,} of 2,000 faces; the rest is coarser" in finding.text
    assert check_sizes(surface_of("cube"), {1: 0.2}, None, BUDGET) == []
    assert check_sizes(surface_of("cube"), {}, None, BUDGET) == []


@pytest.mark.parametrize("length", [3.0, 100.0])
def test_edges_longer_than_their_region_are_told(length: float) -> None:
    with pytest.raises(MarksError, match="The size of area 1 is .* larger than the region: it is about") as caught:
        check_sizes(surface_of("cube"), {1: length}, None, BUDGET)
    told = re.search(r"Ask for ([\d.e-]+) or less", str(caught.value))
    assert told is not None
    assert check_sizes(surface_of("cube"), {1: float(told[1])}, None, BUDGET) == []


def test_a_plan_refuses_them_before_the_layout() -> None:
    points, triangles = globe(20)
    colors = np.array([(200, 60, 60), (60, 60, 200)], np.uint8)[(points[:, 2] > 0.5).astype(int)]
    names = {(200, 60, 60): "low", (60, 60, 200): "high"}
    stages: list[str] = []
    for size, error in ((1e-5, InfeasibleError), (100.0, MarksError)):
        options = BuildOptions(proxy_faces=3000, region_names=names, sizes={"high": size})
        with pytest.raises(error):
            plan(Sculpt(points, triangles, colors), options=options, progress=lambda stage, _: stages.append(stage))
    assert "sizes" in stages and "layout" not in stages


def test_lengths_are_rounded_to_two_digits() -> None:
    assert round_length(0.0312, up=True) == "0.032" and round_length(0.0318, up=False) == "0.031"
    assert round_length(0.03, up=True) == round_length(0.03, up=False) == "0.03"
    assert round_length(123.0, up=True) == "130"
