"""Paint that is too small for the mesh: what is told, what is refused, and that the way out works."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import globe

from loopwright import BuildOptions, plan
from loopwright.errors import InfeasibleError, MarksError
from loopwright.options import Pin
from loopwright.types import Sculpt
from loopwright.wishes import PolePin, SizeDab

SKIN, SPOT = (200, 150, 120), (20, 20, 200)
WISHES = BuildOptions(budget=100, proxy_faces=3000, mirror="none", region_names={SKIN: "skin", SPOT: "spot"})


def dotted(*spots: tuple[tuple[float, float, float], float]) -> Sculpt:
    """A ball with a round spot of a radius about each place."""
    points, triangles = globe(50)
    colors = np.tile(np.array(SKIN, np.uint8), (len(points), 1))
    for place, radius in spots:
        colors[np.linalg.norm(points - place, axis=1) < radius] = SPOT
    return Sculpt(points, triangles, colors)


ONE = dotted(((0.0, 0.0, 1.0), 0.11))
CASES = {
    "pin": (replace(WISHES, pins=(Pin("skin", "spot", 8),)), "the pin on skin/spot", ("spot", "skin/spot")),
    "pole": (replace(WISHES, poles=(PolePin("spot", "none"),)), "poles in spot", ("spot",)),
}


@pytest.mark.parametrize(("wishes", "wish", "places"), CASES.values(), ids=CASES)
def test_a_wish_for_a_region_smaller_than_a_face_says_so(
    wishes: BuildOptions, wish: str, places: tuple[str, ...]
) -> None:
    with pytest.raises(InfeasibleError, match=rf'"spot" is painted, but smaller than a face.*{wish}') as caught:
        plan(ONE, options=wishes)
    assert caught.value.places == places
    assert "shorter edges" not in str(caught.value)
    told = re.search(r"raise the budget to ([\d,]+)", str(caught.value))
    assert told is not None
    budget = int(told[1].replace(",", ""))
    assert budget > wishes.budget
    done = plan(ONE, options=replace(wishes, budget=budget))
    assert {region.name for region in done.surface.regions} == {"skin", "spot"}
    with pytest.raises(InfeasibleError, match="smaller than a face"):
        plan(ONE, options=replace(wishes, budget=int(0.85 * budget)))


def test_a_size_that_fits_a_small_region_keeps_it_and_a_coarse_dab_over_it_does_not() -> None:
    wishes = replace(WISHES, sizes={"spot": 0.18})
    assert {region.name for region in plan(ONE, options=wishes).surface.regions} == {"skin", "spot"}
    with pytest.raises(InfeasibleError, match='"spot" is painted, but smaller than a face.*the size of spot') as caught:
        plan(ONE, options=replace(wishes, size_dabs=(SizeDab((0.0, 0.0, 1.0), 0.3, 0.5),)))
    assert caught.value.places == ("spot",) and "shorter edges" in str(caught.value)


def test_a_name_that_no_paint_has_is_still_unknown() -> None:
    with pytest.raises(MarksError, match='no region "lips"'):
        plan(ONE, options=replace(WISHES, sizes={"lips": 0.4}))


def test_a_region_that_gets_no_face_is_named_with_the_budget_that_keeps_it() -> None:
    green = (20, 200, 20)
    names = {**WISHES.region_names, green: "dot"}
    colors = dotted(((0.0, 0.0, 1.0), 0.11)).colors
    assert ONE.colors is not None and colors is not None
    colors[np.linalg.norm(ONE.positions - [0.0, 1.0, 0.0], axis=1) < 0.14] = green
    sculpt = replace(ONE, colors=colors)

    def planned(budget: int) -> tuple[set[str], list[str]]:
        done = plan(sculpt, options=replace(WISHES, budget=budget, region_names=names))
        lost = [finding.text for finding in done.findings if finding.kind == "region_lost"]
        return {region.name for region in done.surface.regions}, lost

    kept, told = planned(100)
    assert kept == {"skin"} and len(told) == 2
    for name in ("dot", "spot"):
        (text,) = (line for line in told if line.startswith(f"The region {name} is painted, but smaller than a face"))
        least = re.search(r"a budget of about ([\d,]+) keeps it", text)
        assert least is not None
        budget = int(least[1].replace(",", ""))
        assert name in planned(budget)[0]
        there, still = planned(int(0.85 * budget))
        assert name not in there and any(f"The region {name} is" in line for line in still)
    assert planned(5000) == ({"skin", "spot", "dot"}, [])


def test_a_region_with_a_piece_left_is_not_lost() -> None:
    sculpt = dotted(((0.0, 0.0, 1.0), 0.11), ((1.0, 0.0, 0.0), 0.7))
    findings = plan(sculpt, options=WISHES).findings
    assert [f.kind for f in findings if f.kind in ("unresolved", "region_lost")] == ["unresolved"]


@pytest.mark.parametrize(
    ("count", "text"),
    [
        (1, "1 painted piece is smaller than a face of this mesh; its surroundings got it."),
        (2, "2 painted pieces are smaller than a face of this mesh; their surroundings got them."),
    ],
)
def test_pieces_smaller_than_a_face_are_counted_in_words(count: int, text: str) -> None:
    sculpt = dotted(*(((0.0, 0.0, side), 0.11) for side in (1.0, -1.0)[:count]))
    assert text in [finding.text for finding in plan(sculpt, options=WISHES).findings]


@pytest.mark.parametrize(
    ("count", "text"),
    [
        (1, "1 painted speck was too small to be meant; its surroundings got it."),
        (2, "2 painted specks were too small to be meant; their surroundings got them."),
    ],
)
def test_specks_are_counted_in_words(count: int, text: str) -> None:
    specks = [((0.0, 0.0, side), 0.045) for side in (1.0, -1.0)[:count]]
    sculpt = dotted(((1.0, 0.0, 0.0), 0.7), *specks)
    options = replace(WISHES, budget=400)
    assert text in [finding.text for finding in plan(sculpt, options=options).findings]


def test_where_a_region_runs_out_thinner_than_a_face_it_ends_and_that_is_told() -> None:
    points, triangles = globe(50)
    colors = np.tile(np.array(SKIN, np.uint8), (len(points), 1))
    is_leaf = (np.abs(points[:, 1]) < 0.14 * (points[:, 0] + 0.9)) & (np.abs(points[:, 0]) < 0.9) & (points[:, 2] > 0)
    colors[is_leaf] = SPOT
    tips = {}
    for budget, count in ((200, 1), (1000, 0)):
        made = plan(Sculpt(points, triangles, colors), options=replace(WISHES, budget=budget))
        told = [finding for finding in made.findings if finding.kind == "thin_ends"]
        assert [finding.count for finding in told] == [1] * count
        assert all("of a face: spot near (-0." in finding.text for finding in told)
        assert all(finding.names == ("spot",) and finding.data["regions"] == ["spot"] for finding in told)
        surface = made.surface
        leaf = [region.name for region in surface.regions].index("spot")
        tips[budget] = surface.positions[surface.triangles[surface.triangle_region == leaf]][..., 0].min()
    assert -0.9 < tips[1000] < tips[200] - 0.1  # smaller faces keep more of it


def test_a_pin_on_the_border_at_a_thin_end_keeps_the_end() -> None:
    cap = (20, 200, 20)
    points, triangles = globe(50)
    colors = np.tile(np.array(SKIN, np.uint8), (len(points), 1))
    is_leaf = (np.abs(points[:, 1]) < 0.14 * (points[:, 0] + 0.9)) & (points[:, 0] < 0.9) & (points[:, 2] > 0)
    colors[is_leaf] = SPOT
    colors[points[:, 0] < -0.55] = cap
    sculpt = Sculpt(points, triangles, colors)
    wishes = replace(WISHES, budget=200, region_names={SPOT: "spot", cap: "cap"})
    assert "thin_ends" in {finding.kind for finding in plan(sculpt, options=wishes).findings}
    with pytest.raises(MarksError, match='no region "cup"'):
        plan(sculpt, options=replace(wishes, pins=(Pin("spot", "cup", 2),)))
    pinned = plan(sculpt, options=replace(wishes, pins=(Pin("spot", "cap", 2),)))
    assert "thin_ends" not in {finding.kind for finding in pinned.findings}
