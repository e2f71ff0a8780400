"""Paint and marks carried to another sculpt, with the true places known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.reuse.conftest import LIGHT, warp

from loopwright.errors import MarksError
from loopwright.marks.marks_file import Marks
from loopwright.reuse.align import fit_similarity
from loopwright.reuse.carry_marks import carry_colors, carry_marks, tell_far
from loopwright.reuse.register_sculpts import SculptRegistration, register_sculpts
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Sculpt
from loopwright.wishes import FixedPoint, FlowLine, Pin, SizeDab

PALETTE = np.array([[200, 30, 30], [30, 200, 30], [30, 30, 200], [200, 200, 30]], np.uint8)


@pytest.fixture(scope="module")
def painted(lump_sculpt: SurfaceProjector) -> Sculpt:
    label = (lump_sculpt.positions[:, 1] > 0.2).astype(int) + 2 * (lump_sculpt.positions[:, 2] > 0.3)
    return Sculpt(lump_sculpt.positions, lump_sculpt.triangles, PALETTE[label], "old")


@pytest.fixture(scope="module")
def registration(painted: Sculpt, warped_sculpt: SurfaceProjector) -> SculptRegistration:
    return register_sculpts(
        painted, Sculpt(warped_sculpt.positions, warped_sculpt.triangles, None, "new"), proxy_triangles=3000
    )


def test_paint_lands_where_it_belongs(painted: Sculpt, registration: SculptRegistration) -> None:
    carried = carry_colors(painted, registration.target, registration)
    assert carried.colors is not None and painted.colors is not None
    assert (carried.colors == painted.colors).all(axis=1).mean() >= 0.97
    assert {tuple(c) for c in carried.colors.tolist()} == {tuple(c) for c in painted.colors.tolist()}


def test_a_sculpt_gives_itself_its_own_paint(painted: Sculpt) -> None:
    bare = replace(painted, colors=None)
    carried = carry_colors(painted, bare, register_sculpts(painted, bare, proxy_triangles=2000, options=LIGHT))
    assert carried.colors is not None and painted.colors is not None
    assert np.array_equal(carried.colors, painted.colors)


def test_marks_move_with_the_surface(painted: Sculpt, registration: SculptRegistration) -> None:
    ids = [5, 900, 4000, 7000, 9000]
    places = [tuple(painted.positions[i].tolist()) for i in ids]
    a, b, c, d, e = ((p[0], p[1], p[2]) for p in places)
    marks = Marks(
        budget=77,
        lines=(FlowLine((a, b), name="line"),),
        points=(FixedPoint(c, "tip"),),
        size_dabs=(SizeDab(d, 0.1, 0.02),),
        pins=(Pin("x", "y", 4, e), Pin("x", "z", 6)),
        sizes={"x": 0.5},
    )
    moved = carry_marks(marks, registration)
    assert moved.budget == 77 and moved.lines[0].name == "line" and moved.points[0].name == "tip"
    near = moved.pins[0].near
    assert near is not None and moved.pins[1] == marks.pins[1]
    found = np.array([*moved.lines[0].points, moved.points[0].at, moved.size_dabs[0].at, near])
    off = np.linalg.norm(found - warp(painted.positions[ids]), axis=1)
    assert off.max() <= 0.02 * registration.coarse.diagonal
    truth = fit_similarity(painted.positions, warp(painted.positions))
    assert truth is not None
    assert moved.sizes["x"] == pytest.approx(0.5 * truth.scale, rel=0.02)
    assert moved.size_dabs[0].length == pytest.approx(0.02 * truth.scale, rel=0.02)


def test_lengths_grow_with_the_sculpt(painted: Sculpt) -> None:
    grown = replace(painted, positions=1.12 * painted.positions)
    registration = register_sculpts(painted, grown, proxy_triangles=2000, options=LIGHT)
    moved = carry_marks(Marks(sizes={"x": 0.5}), registration)
    assert moved.sizes["x"] == pytest.approx(0.56, rel=0.01)


def test_a_bare_sculpt_has_nothing_to_give(painted: Sculpt, registration: SculptRegistration) -> None:
    with pytest.raises(MarksError, match="no vertex colours"):
        carry_colors(replace(painted, colors=None), registration.target, registration)


def test_the_wrong_registration_is_refused(painted: Sculpt, registration: SculptRegistration) -> None:
    other = Sculpt(painted.positions[:-1], painted.triangles[:4])
    with pytest.raises(MarksError, match="other sculpts"):
        carry_colors(painted, other, registration)


def test_places_off_the_old_sculpt_are_told(painted: Sculpt) -> None:
    x, y, z = painted.positions[5].tolist()
    on, off = FixedPoint((x, y, z), "tip"), FixedPoint((x, y, z + 9.0), "far tip")
    assert tell_far(Marks(points=(on,)), painted) == [] == tell_far(Marks(), painted)
    (told,) = tell_far(Marks(points=(on, off)), painted)
    assert told.kind == "marks_off_surface" and told.count == 1 and "far tip at" in told.text
