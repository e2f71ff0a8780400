"""Edits say which pole they took, on the side where they were asked for, and refuse one that is far off."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from tests.edit.conftest import cubed_sphere, grid

from loopwright.edit.apply_edits import apply_edits
from loopwright.edit.move_pole import find_poles
from loopwright.errors import MarksError
from loopwright.types import FloatArray, QuadMesh

CORNER = np.ones(3) / np.sqrt(3)  # a corner of a cubed sphere, which is a pole with three edges


def places(text: str) -> list[FloatArray]:
    """The places told of poles, which are rounded to four digits."""
    found = re.search(r"(?:those?|that|nearest,) at (.*)", text)
    assert found is not None, text
    return [np.array([float(x) for x in each.split(",")]) for each in re.findall(r"\(([^()e]*)\)", found[1])]


def poled_grid() -> QuadMesh:
    return apply_edits(grid(20, 20), [{"op": "turn", "near": [10.0, 10.5, 0.0]}])[0]


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_pole_taken_is_told_on_the_side_of_the_place(side: float) -> None:
    near = (CORNER + [0.0, 0.02, 0.0]) * [side, 1.0, 1.0]
    edit: dict[str, Any] = {"op": "move_pole", "near": near.tolist(), "toward": [0, 0, -1], "how": "rows"}
    _, findings = apply_edits(cubed_sphere(6, mirror=True), [edit])
    (place,) = places(findings[0].text)
    assert np.abs(place - CORNER * [side, 1.0, 1.0]).max() < 1e-3


def test_both_poles_of_a_pair_are_told() -> None:
    mesh = poled_grid()
    poles = mesh.positions[find_poles(mesh)]
    edit = {"op": "turn", "near": poles[0].tolist(), "what": "pair"}
    told = places(apply_edits(mesh, [edit])[1][0].text)
    assert len(told) == 2 and np.abs(told[0] - poles[0]).max() < 1e-3
    assert all(np.abs(poles - place).max(axis=1).min() < 1e-3 for place in told)


def test_an_edit_that_takes_no_pole_tells_none() -> None:
    _, findings = apply_edits(grid(20, 20), [{"op": "turn", "near": [10.0, 10.5, 0.0]}])
    assert "pole" not in findings[0].text


@pytest.mark.parametrize("edit", [{"op": "turn", "what": "pair"}, {"op": "move_pole", "toward": [1, 0, 0]}], ids=str)
def test_a_pole_is_refused_from_three_edges_off(edit: dict[str, Any]) -> None:
    mesh = poled_grid()  # its edges are about one long
    poles = mesh.positions[find_poles(mesh)]
    outer = poles[int(poles[:, 0].argmin())]
    apply_edits(mesh, [{**edit, "near": (outer - [2.5, 0, 0]).tolist()}])
    near = outer - [6.0, 0.0, 0.0]
    with pytest.raises(MarksError, match=r"^edit 1 \(\w+\): no pole is within 3 edges of its place") as caught:
        apply_edits(mesh, [{**edit, "near": near.tolist()}])
    gaps = np.linalg.norm(poles - near, axis=1)
    (place,) = places(str(caught.value).partition(", is ")[0])
    assert np.abs(place - poles[int(gaps.argmin())]).max() < 1e-3
    told = re.search(r"is ([\d.]+) away \(([\d.]+) edges\)", str(caught.value))
    assert told is not None
    assert float(told[1]) == pytest.approx(gaps.min(), rel=1e-2) and 4.0 < float(told[2]) < 9.0
    assert caught.value.about == "edits/0"


def test_of_a_mirrored_mesh_the_pole_that_is_too_far_is_told_on_the_side_of_the_place() -> None:
    near = np.array([-1.0, 0.1, 0.05])
    edit = {"op": "turn", "what": "pole", "near": near.tolist()}
    with pytest.raises(MarksError, match="no pole is within 3 edges") as caught:
        apply_edits(cubed_sphere(16, mirror=True), [edit])
    (place,) = places(str(caught.value).partition(", is ")[0])
    assert np.abs(place - CORNER * [-1.0, 1.0, 1.0]).max() < 1e-3
