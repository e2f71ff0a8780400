"""What is painted but no region of the mesh is told for what it is: an opening, the far half, or a wrong mirror."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.spatial import cKDTree
from tests.conftest import globe

from loopwright.errors import MarksError, UnknownRegionError
from loopwright.options import BuildOptions, Pin
from loopwright.pipeline import plan
from loopwright.results import PlanResult
from loopwright.types import Sculpt
from loopwright.wishes import PolePin

RED, BLUE, BLACK, GREEN = (200, 60, 60), (60, 160, 220), (20, 20, 20), (60, 200, 90)
NAMES = {RED: "cap", BLUE: "rest", BLACK: "slit", GREEN: "scar"}


def pear(*, scar: bool = False, foot: bool = False) -> Sculpt:
    """A body mirrored across x alone, with a cap above, an opening in front, and a scar or a foot."""
    points, triangles = globe(48)
    x, y, z = points.T
    labels = np.where((y > 0.6)[:, None], RED, BLUE)
    labels[np.linalg.norm(points - np.array([0.0, 0.0, 1.0]), axis=1) < 0.35] = BLACK
    if scar:
        labels[np.linalg.norm(points - np.array([-0.8, 0.0, 0.6]), axis=1) < 0.25] = GREEN
    if foot:
        labels[y < -0.7] = GREEN
    shape = points * np.stack([1.0 + 0.3 * y, 1.0 + 0.0 * y, 0.8 + 0.1 * z - 0.25 * y], axis=1)
    return Sculpt(np.ascontiguousarray(shape), triangles, labels.astype(np.uint8), "pear")


def with_boss(height: float) -> Sculpt:
    """The body with a boss on one side that takes up some 4 % of it."""
    body = pear()
    reach = np.linalg.norm(body.positions - np.array([0.85, -0.4, 0.3]), axis=1) / 0.4
    raised = body.positions + height * np.maximum(1.0 - reach**4, 0.0)[:, None] * np.array([0.9, -0.3, 0.3])
    return replace(body, positions=raised)


def planned(sculpt: Sculpt, names: dict[tuple[int, int, int], str] | None = None, **wishes: Any) -> PlanResult:
    painted = {tuple(color) for color in np.unique(sculpt.colors, axis=0).tolist()} if sculpt.colors is not None else ()
    known = {color: name for color, name in (names or NAMES).items() if color in painted}
    options = BuildOptions(
        **{"budget": 500, "proxy_faces": 4000, "leave_open": (BLACK,), "region_names": known, **wishes}
    )
    return plan(sculpt, options=options)


def told(result: PlanResult) -> dict[str, str]:
    return {finding.kind: finding.text for finding in result.findings}


def test_a_mirror_plane_that_does_not_fit_is_told_with_how_far_off_what_is_lost_and_which_fits() -> None:
    sculpt = pear(foot=True)
    right = told(planned(sculpt))
    assert "mirror_wrong" not in right and "region_behind" not in right
    text = told(planned(sculpt, mirror="y"))["mirror_wrong"]
    assert re.search(r"with which (cap|scar) is lost\. It is mirrored across x, to 0\.\d+ %: use --mirror x\.$", text)
    shown = re.search(r"halves are ([\d.]+) % of the diagonal apart", text)
    at = re.search(r"The half with y above (-?[\d.]+(?:e-?\d+)?) was meshed", text)
    assert shown is not None and at is not None
    # brute force: the mirror image of each vertex against all vertices, which are about even by area
    image = sculpt.positions * [1.0, -1.0, 1.0] + [0.0, 2.0 * float(at[1]), 0.0]
    gap = cKDTree(sculpt.positions).query(image)[0]
    diagonal = np.linalg.norm(np.ptp(sculpt.positions, axis=0))
    assert float(shown[1]) == pytest.approx(100 * np.sqrt((gap**2).mean()) / diagonal, rel=0.3)


def lumpy(sculpt: Sculpt) -> Sculpt:
    """The same with lumps, across no plane alike."""
    lumps = np.zeros(len(sculpt.positions))
    for spot, height in (((0.7, 0.5, 0.5), 0.9), ((-0.6, -0.7, 0.3), 0.6), ((-0.2, 0.4, -0.9), 0.4)):
        lumps += height * np.exp(-8.0 * ((sculpt.positions - spot) ** 2).sum(axis=1))
    return Sculpt(sculpt.positions * (1.0 + lumps[:, None]), sculpt.triangles, sculpt.colors)


def test_without_any_mirror_the_way_out_is_none() -> None:
    text = told(planned(lumpy(pear()), mirror="y"))["mirror_wrong"]
    assert "No plane was found across which it is mirrored: --mirror none" in text and "--own-sides" in text


def test_a_part_that_stands_off_on_one_side_gives_each_side_its_own_shape() -> None:
    """Its share of the rms is small: by that alone the halves would be made equal, and the boss be flattened."""
    low, high = (told(planned(with_boss(height), mirror="x"))["mirror"] for height in (0.03, 0.15))
    assert "one half is meshed and mirrored" in low
    shown = re.search(r"Since a part of their shape is [\d.]+ apart \(([\d.]+) edges, where ([\d.]+)", high)
    assert shown and float(shown[1]) > float(shown[2]) == 0.75
    rms = re.search(r"each other to ([\d.]+) % of the diagonal \(rms\)", high)
    edge = np.sqrt(_area(with_boss(0.15)) / 500)
    let_pass = rms and 0.01 * float(rms[1]) * _diagonal(with_boss(0.15)) < 0.3 * edge
    assert let_pass, "the rms alone would tell it too"


def _area(sculpt: Sculpt) -> float:
    a, b, c = (sculpt.positions[sculpt.triangles[:, k]] for k in range(3))
    return float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def _diagonal(sculpt: Sculpt) -> float:
    return float(np.linalg.norm(np.ptp(sculpt.positions, axis=0)))


def test_own_sides_are_warned_only_of_what_is_lost_or_of_a_plane_that_fits() -> None:
    assert told(planned(lumpy(pear()), mirror="x")).get("mirror_wrong")
    found = told(planned(lumpy(pear()), mirror="x", mirror_shape=False))
    assert not {"mirror_wrong", "region_behind"} & set(found)
    lost = told(planned(lumpy(pear(scar=True)), mirror="x", mirror_shape=False))
    assert "mirror_wrong" not in lost and lost["region_behind"].startswith(
        "The region scar is painted only on the half"
    )
    better = told(planned(pear(), mirror="y", mirror_shape=False))["mirror_wrong"]
    assert "its topology was mirrored" in better and "image" not in better and better.endswith("use --mirror x.")


def test_a_plane_across_the_right_axis_at_the_wrong_place_is_not_offered_again() -> None:
    points, triangles = globe(48)
    x, y, z = points.T
    shape = points * np.stack([1.0 + 0.3 * y, 1.0 + 0.0 * y, 0.8 + 0.3 * z - 0.25 * y], axis=1)
    rough = np.random.default_rng(1).uniform(-0.03, 0.03, len(points)) * (x > 0.0)
    shape *= 1.0 + rough[:, None]  # makes one side's area, and so its weight, larger
    shape[np.argmax(points @ [1.0, -0.2, 0.0])] += [0.4, 0.0, 0.0]  # and a thorn moves the middle
    sculpt = Sculpt(shape + [4.0, 0.0, 0.0], triangles, pear().colors)
    found = told(planned(sculpt, mirror="x"))
    assert re.search(r"It is mirrored across x at 4(\.00\d)?, to 0\.\d+ %: use --mirror auto\.$", found["mirror_wrong"])
    assert "mirror_wrong" not in told(planned(sculpt))


@pytest.mark.parametrize("unequal", [0.3, 0.03])  # across z too little for a plane, and enough for a poor one
def test_a_shape_that_is_mirrored_where_its_paint_is_not_is_told_as_that(unequal: float) -> None:
    points, triangles = globe(48)
    x, y, z = points.T
    labels = np.where((x > 0.0)[:, None], RED, BLUE).astype(np.uint8)
    shape = points * np.stack([1.0 + 0.3 * y, 1.0 + 0.0 * y, 0.8 + unequal * z], axis=1)
    sculpt = Sculpt(np.ascontiguousarray(shape), triangles, labels)
    text = told(planned(sculpt, mirror="y", leave_open=()))["mirror_wrong"]
    assert re.search(r"Its shape is mirrored across x, to 0\.0\d+ %; its paint is not: use --mirror x and", text)
    assert "mirror_wrong" not in told(planned(sculpt, mirror="x", leave_open=()))


def test_specks_on_both_halves_are_told_to_be_small_and_not_to_be_behind() -> None:
    sculpt = pear()
    assert sculpt.colors is not None
    points, _ = globe(48)
    for side, radius in ((0.8, 0.055), (-0.8, 0.07)):
        sculpt.colors[np.linalg.norm(points - [side, 0.0, 0.6], axis=1) < radius] = GREEN
    is_green = (sculpt.colors == GREEN).all(axis=1)
    assert 0.1 < (points[is_green, 0] > 0.0).mean() < 0.5
    found = planned(sculpt, mirror="x")
    assert "scar" not in {region.name for region in found.surface.regions} and "region_behind" not in told(found)
    with pytest.raises(UnknownRegionError, match='"scar" is painted, but too small to be meant'):
        planned(sculpt, mirror="x", sizes={"scar": 0.1})


def test_a_region_on_the_far_half_alone_is_told_and_so_are_wishes_for_it() -> None:
    sculpt = pear(scar=True)
    found = told(planned(sculpt, mirror="x"))
    assert "mirror_wrong" not in found
    assert found["region_behind"].startswith("The region scar is painted only on the half that is not meshed (with x b")
    assert "scar" in [region.name for region in planned(sculpt, mirror="none").surface.regions]
    with pytest.raises(UnknownRegionError, match='"scar" is painted only on the half.*paint both halves alike'):
        planned(sculpt, mirror="x", pins=(Pin("scar", "rest", 12),))
    with pytest.raises(UnknownRegionError, match='"scar" is painted only on the half.*mirrored across x.*--mirror x'):
        planned(pear(foot=True), mirror="y", poles=(PolePin("scar", "none"),))


@pytest.mark.parametrize("name", ["slit", "#141414"])
def test_a_colour_that_is_left_open_is_told_to_be_an_opening(name: str) -> None:
    with pytest.raises(UnknownRegionError, match="is left open.*; write rest/opening for where that region") as caught:
        planned(pear(), pins=(Pin("rest", name, 16),))
    assert caught.value.places == (name,)
    with pytest.raises(UnknownRegionError, match="is left open.*has no faces; leave the wish out"):
        planned(pear(), sizes={name: 0.1})
    result = planned(pear(), pins=(Pin("rest", "opening", 16),))  # what the message says to write
    assert 16 in result.layout.openings


def test_a_region_called_opening_is_told_to_take_the_word() -> None:
    names = {**NAMES, RED: "opening"}
    assert "call the region something else" in told(planned(pear(), names))["opening_named"]
    assert "opening_named" not in told(planned(pear()))
    assert "opening_named" not in told(planned(pear(), {**NAMES, BLACK: "opening"}))  # an opening may well be called so
    with pytest.raises(MarksError, match='called "opening", so in pins that word means the region'):
        planned(pear(foot=True), names, pins=(Pin("scar", "opening", 12),))


def bent(*, swollen: float = 0.0) -> Sculpt:
    """The pear bent towards +z above and below, so that it is mirrored across x alone, or swollen on the left too."""
    sculpt = pear()
    points = sculpt.positions.copy()
    points[:, 2] += 0.6 * points[:, 1] ** 2
    points[:, 1] += swollen * np.maximum(points[:, 0], 0.0) ** 2
    return Sculpt(points, sculpt.triangles, sculpt.colors, "bent")


def test_without_a_plane_the_nearest_one_across_an_axis_is_told_and_how_to_take_it() -> None:
    sculpt = bent(swollen=0.4)
    text = told(planned(sculpt))["no_mirror"]
    shown = re.search(r"nearest one across an axis is across ([xyz]) at (\S+): the halves are ([\d.]+) % of the", text)
    assert shown is not None and f"--mirror {shown[1]} --own-sides mirrors the topology" in text
    assert "across the sculpt's own axes alone" in text
    # brute force: the mirror image of each vertex against all vertices, which are about even by area
    axis = np.eye(3)["xyz".index(shown[1])]
    image = sculpt.positions - 2 * (sculpt.positions @ axis - float(shown[2]))[:, None] * axis
    gaps = cKDTree(sculpt.positions).query(image)[0]
    diagonal = np.linalg.norm(np.ptp(sculpt.positions, axis=0))
    assert float(shown[3]) / 100 == pytest.approx(np.sqrt((gaps**2).mean()) / diagonal, rel=0.25)
    # what it says is true: the plane is then used, and nothing is told to be wrong
    with_it = told(planned(sculpt, mirror=shown[1], mirror_shape=False))
    assert "mirror" in with_it and "no_mirror" not in with_it and "mirror_wrong" not in with_it


@pytest.mark.parametrize(("equal", "option"), [(False, "--own-sides"), (True, "--mirror-shape")])
def test_a_wish_about_halves_means_nothing_without_a_mirror(equal: bool, option: str) -> None:
    whole = told(planned(pear(), mirror="none", mirror_shape=equal))["no_mirror"]
    assert f"So {option}" in whole
    assert "So --" not in told(planned(pear(), mirror="none"))["no_mirror"]


def test_where_only_the_paint_is_no_mirror_image_that_is_told() -> None:
    sculpt = bent()
    assert sculpt.colors is not None
    colors = sculpt.colors.copy()
    colors[sculpt.positions[:, 0] > 0.2] = GREEN
    text = told(planned(Sculpt(sculpt.positions, sculpt.triangles, colors, "half")))["no_mirror"]
    assert re.search(r"across x at \S+: the halves are 0\.\d+ % .*but only \d\d % of their area is painted alike", text)
    assert "--own-sides" not in text


def test_who_wants_no_mirror_is_told_of_none() -> None:
    assert told(planned(pear(), mirror="none"))["no_mirror"].endswith("as a whole.")


@pytest.mark.parametrize(("shift", "is_told"), [(0.0, False), (0.2, True)])
def test_openings_that_reach_across_the_plane_beside_their_twin_are_told(shift: float, is_told: bool) -> None:
    sculpt = pear()
    points, _ = globe(48)
    colors = np.where((points[:, 1] > 0.6)[:, None], RED, BLUE).astype(np.uint8)
    for side in (-0.27, 0.27):
        colors[np.linalg.norm(points - np.array([side + shift, 0.0, 0.95]), axis=1) < 0.17] = BLACK
    result = planned(replace(sculpt, colors=colors), mirror="x", mirror_shape=True)
    found = told(result)
    assert ("openings_joined" in found) == is_told
    if is_told:
        assert "An opening reaches across" in found["openings_joined"] and "--mirror none" in found["openings_joined"]


def test_a_mouth_that_crosses_the_plane_is_no_opening_to_be_told_of() -> None:
    assert "openings_joined" not in told(planned(pear(), mirror="x", mirror_shape=True))


def test_two_openings_in_the_plane_are_no_twins() -> None:
    sculpt = pear()
    points, _ = globe(48)
    colors = np.where((points[:, 1] > 0.6)[:, None], RED, BLUE).astype(np.uint8)
    for height in (-0.23, 0.23):
        colors[np.linalg.norm(points - np.array([0.0, height, 0.95]), axis=1) < 0.2] = BLACK
    assert "openings_joined" not in told(planned(replace(sculpt, colors=colors), mirror="x", mirror_shape=True))
