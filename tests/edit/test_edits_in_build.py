"""Edits through a marks file and a whole build, on a small mirrored egg with a painted cap."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.conftest import globe, link

from loopwright.errors import InfeasibleError, MarksError
from loopwright.fit.measure_quality import measure_quality
from loopwright.marks.read_marks import read_marks
from loopwright.marks.use_marks import use_marks
from loopwright.options import BuildOptions
from loopwright.pipeline import BuildResult, build, plan
from loopwright.types import Sculpt

RED, GREY = (200, 60, 60), (180, 180, 180)
QUICK = BuildOptions(budget=400, proxy_faces=4000, region_names={RED: "cap", GREY: "rest"})
NEAR = [0.7, -0.6, 0.5]
EDITS: dict[str, list[dict[str, Any]]] = {
    "insert": [{"op": "insert_loop", "near": NEAR}],
    "remove": [{"op": "remove_loop", "near": NEAR}],
    "raise": [{"op": "change_count", "near": NEAR, "by": 2}],
    "lower": [{"op": "change_count", "near": NEAR, "by": -1}],
    "turn": [{"op": "turn", "near": NEAR}],
    "merge": [{"op": "merge_regions", "regions": ["cap", "rest"], "name": "all"}],
    "split": [{"op": "split_region", "near": [0.7, 0.2, 0.5], "along": [0.5, 0, -0.7], "name": "band"}],
}


@cache
def egg() -> Sculpt:
    points, triangles = globe(40)
    shape = points * np.array([1.0, 1.35, 0.8]) + 0.25 * points[:, 1:2] ** 2 * np.array([0.0, 0.2, 1.0])
    return Sculpt(shape, triangles, np.where((points[:, 1] > 0.6)[:, None], RED, GREY).astype(np.uint8))


@cache
def plain() -> BuildResult:
    return build(egg(), options=QUICK)


def build_with(folder: Path, edits: list[dict[str, Any]]) -> BuildResult:
    path = folder / "marks.json"
    path.write_text(json.dumps({"loopwright_marks": 1, "edits": edits}))
    return build(egg(), options=use_marks(QUICK, read_marks(path)))


def valences(result: BuildResult) -> list[int]:
    counts = np.bincount(result.mesh.quads.ravel())
    return sorted(counts[counts != 4].tolist())


@pytest.mark.parametrize("name", EDITS)
def test_each_edit_leaves_a_mirrored_manifold_of_good_quads(name: str, tmp_path: Path) -> None:
    result, before = build_with(tmp_path, EDITS[name]), plain()
    links = link(result.mesh.quads, len(result.mesh.positions))
    assert (links.euler, links.rims, links.components) == (2, 0, 1)
    there = {tuple(p) for p in (result.mesh.positions * [-1, 1, 1] + 0.0).tolist()}
    assert there == {tuple(p) for p in (result.mesh.positions + 0.0).tolist()}
    assert measure_quality(result.mesh.positions, result.mesh.quads).scaled_jacobian.min() > 0.1
    more = len(result.mesh.quads) - len(before.mesh.quads)
    assert {"insert": more > 0, "raise": more > 0, "remove": more < 0, "lower": more < 0}.get(name, more == 0)
    assert sum(finding.count for finding in result.findings if finding.kind == "edited") == abs(more)
    assert bool(more) == any(finding.kind == "edited_faces" for finding in result.findings)
    if name != "turn":
        assert valences(result) == valences(before)
    names = {"merge": {"all"}, "split": {"cap", "rest", "band"}}.get(name, {"cap", "rest"})
    assert {region.name for region in result.mesh.regions} == names


def test_raising_by_two_adds_twice_what_one_loop_does(tmp_path: Path) -> None:
    one, two = (len(build_with(tmp_path, EDITS[name]).mesh.quads) for name in ("insert", "raise"))
    assert two - len(plain().mesh.quads) == 2 * (one - len(plain().mesh.quads))


def test_a_replay_is_the_same_to_the_bit(tmp_path: Path) -> None:
    edits = EDITS["insert"] + EDITS["split"]
    first, second = build_with(tmp_path, edits), build_with(tmp_path, edits)
    assert np.array_equal(first.mesh.quads, second.mesh.quads)
    assert np.array_equal(first.mesh.positions, second.mesh.positions)


def test_refusals_name_the_edit_and_the_reason(tmp_path: Path) -> None:
    with pytest.raises(MarksError, match=r'edit 2 \(merge_regions\): There is no region "nose"'):
        build_with(tmp_path, [*EDITS["insert"], {"op": "merge_regions", "regions": ["cap", "nose"]}])
    with pytest.raises(InfeasibleError, match=r"edit 1 \(change_count\): The count cannot be lowered"):
        build_with(tmp_path, [{"op": "change_count", "near": NEAR, "by": -64}])


def test_a_plan_tells_that_edits_come_later() -> None:
    wishes = replace(QUICK, edits=tuple(EDITS["insert"]))
    assert [f.kind for f in plan(egg(), options=wishes).findings].count("edits") == 1
    assert not [f for f in plan(egg(), options=QUICK).findings if f.kind == "edits"]


def test_a_colour_as_a_name_is_found_again(tmp_path: Path) -> None:
    band = {"op": "split_region", "near": [0.7, 0.2, 0.5], "along": [0.5, 0, -0.7], "name": "#AABBCC"}
    merge = {"op": "merge_regions", "regions": ["#AABBCC", "rest"], "name": "rest"}
    assert {region.name for region in build_with(tmp_path, [band, merge]).mesh.regions} == {"cap", "rest"}


@pytest.mark.parametrize("cap", ["cap", "#c83c3c", "c83c3c", "_c83c3c"])
def test_a_region_is_meant_by_its_colour_too(tmp_path: Path, cap: str) -> None:
    merge = {"op": "merge_regions", "regions": [cap, "rest"], "name": "all"}
    assert {region.name for region in build_with(tmp_path, [merge]).mesh.regions} == {"all"}


def test_a_region_is_gone_once_it_was_merged(tmp_path: Path) -> None:
    merge = {"op": "merge_regions", "regions": ["cap", "rest"], "name": "all"}
    with pytest.raises(MarksError, match=r'edit 2 \(merge_regions\): There is no region "cap"; the only region is all'):
        build_with(tmp_path, [merge, {"op": "merge_regions", "regions": ["cap", "all"]}])
