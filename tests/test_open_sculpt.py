"""A sculpt that stays open gives what a build from the start gives, to the last bit, and does less for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from tests.conftest import globe
from tests.test_pipeline import BLUE, GREY, RED, colored

from loopwright import BuildOptions, BuildResult, MarksError, OpenSculpt, Pin, PlanResult, build, open_sculpt, plan
from loopwright.fingerprint import fingerprint
from loopwright.layout.size_steps import size_steps, surface_extent
from loopwright.options import format_color
from loopwright.types import Finding, Sculpt
from loopwright.wishes import FixedPoint, FlowLine, Point, PolePin, SizeDab

GREY_NAME, RED_NAME = format_color(GREY), format_color(RED)
QUICK = BuildOptions(budget=200, proxy_faces=2000)


def egg() -> Sculpt:
    """An egg, equal on both sides of x = 0 alone, with a red cap on the plane and a blue area on each side."""
    points, triangles = globe(24)
    shape = points * np.array([1.0, 1.35, 0.8]) + 0.25 * points[:, 1:2] ** 2 * np.array([0.0, 0.2, 1.0])
    blue = np.linalg.norm(points * [1, 0, 0] * np.sign(points) + points * [0, 1, 1] - [0.8, -0.3, 0.5], axis=1) < 0.45
    return colored(shape, triangles, (points[:, 1] > 0.6, RED), (blue, BLUE))


def at(x: float, y: float, z: float) -> Point:
    """The vertex of the egg that lies furthest in a direction."""
    where = int((globe(24)[0] @ np.array([x, y, z])).argmax())
    a, b, c = egg().positions[where].tolist()
    return a, b, c


CHANGES: dict[str, BuildOptions] = {
    "nothing": QUICK,
    "budget": replace(QUICK, budget=240),
    "pin": replace(QUICK, pins=(Pin(GREY_NAME, RED_NAME, 24),)),
    "name": replace(QUICK, region_names={RED: "cap"}),
    "open area": replace(QUICK, leave_open=(BLUE,)),
    "no mirror": replace(QUICK, mirror="none"),
    "own sides": replace(QUICK, mirror_shape=False),
    "line": replace(QUICK, lines=(FlowLine((at(0.3, -0.9, -0.3), at(0.7, -0.5, -0.5), at(0.8, 0.2, -0.5))),)),
    "dab": replace(QUICK, size_dabs=(SizeDab(at(0.3, 0.9, 0.1), 0.4, 0.12),)),
    "place": replace(QUICK, points=(FixedPoint(at(0.4, -0.8, -0.3)),)),
    "poles": replace(QUICK, poles=(PolePin(GREY_NAME, "none"),)),
    "size": replace(QUICK, sizes={RED_NAME: 0.17}),
    "no fit": replace(QUICK, fit_limit=False),
    "edit": replace(QUICK, edits=({"op": "insert_loop", "near": at(0.4, -0.8, -0.3)},)),
    "edits": replace(
        QUICK,
        edits=(
            {"op": "change_count", "near": at(0.4, -0.8, -0.3), "by": 2},
            {"op": "turn", "near": at(0.7, 0.0, -0.5)},
        ),
    ),
    "edit of another mesh": replace(
        QUICK, budget=240, edits=({"op": "remove_loop", "near": at(0.4, -0.8, -0.3)},), mirror_shape=False
    ),
}


@cache
def opened() -> OpenSculpt:
    return open_sculpt(egg())


@cache
def first() -> dict[str, bytes]:
    return content(build(egg(), options=QUICK))


def content(result: PlanResult) -> dict[str, bytes]:
    """All that a result holds but its times and the wishes it was made of."""
    parts: dict[str, object] = {
        "surface": result.surface,
        "layout": result.layout,
        "findings": result.findings,
        "sculpt": result.sculpt,
    }
    if isinstance(result, BuildResult):
        parts |= {
            "mesh": result.mesh,
            "half": result.half,
            "quality": result.quality,
            "distances": result.distances,
            "positions": result.mesh.positions,
            "quads": result.mesh.quads,
        }
    return {name: fingerprint(part) for name, part in parts.items()}


@pytest.mark.parametrize("change", CHANGES)
def test_an_open_sculpt_gives_what_a_build_from_the_start_gives(change: str) -> None:
    options = CHANGES[change]
    opened().build(QUICK)  # what it keeps is of other wishes
    assert content(opened().build(options)) == content(build(egg(), options=options))
    assert content(opened().build(QUICK)) == first()


def test_the_changes_of_this_test_change_something() -> None:
    same = [name for name, options in CHANGES.items() if content(opened().build(options))["mesh"] == first()["mesh"]]
    assert same in (["nothing"], ["nothing", "poles"])  # a wish may be met already


def test_a_plan_is_that_of_the_mesh() -> None:
    options = CHANGES["pin"]
    planned = content(opened().plan(options))
    assert planned == content(plan(egg(), options=options))
    assert planned.items() <= {**content(opened().build(options)), "findings": planned["findings"]}.items()


def stages_run(monkeypatch: pytest.MonkeyPatch, options: BuildOptions) -> set[str]:
    """The stages whose work is done when an open sculpt is built with QUICK, then with these options."""
    from loopwright.stages import even_out, find_regions, find_sizes, lay_on, lay_out, make_quads, wished_sizes

    sculpt = open_sculpt(egg())
    sculpt.build(QUICK)
    ran: set[str] = set()
    places = (
        (find_regions, "make_region_surface"),
        (find_regions, "add_flow_lines"),
        (wished_sizes, "size_field"),
        (find_sizes, "size_field"),
        (lay_out, "plan_layout"),
        (lay_out, "solve_for_budget"),
        (make_quads, "build_mesh"),
        (even_out, "relax"),
        (lay_on, "touch_up"),
    )
    for module, name in places:
        real = getattr(module, name)

        def noted(*given: object, _real: object = real, _name: str = name, **named: object) -> object:
            ran.add(_name)
            return _real(*given, **named)  # type: ignore[operator]

        monkeypatch.setattr(module, name, noted)
    sculpt.build(options)
    return ran


MESH = {"build_mesh", "relax", "touch_up"}
PLAN = {"add_flow_lines", "size_field", "plan_layout", "solve_for_budget"}


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ("nothing", set()),
        ("name", {"make_region_surface"}),
        ("no fit", {"touch_up"}),
        ("place", {"relax", "touch_up"}),
        ("pin", {"solve_for_budget", *MESH}),
        ("budget", PLAN | MESH),
        ("line", (PLAN | MESH) - {"size_field"}),
        ("dab", (PLAN | MESH) - {"add_flow_lines"}),
        ("open area", PLAN | MESH | {"make_region_surface"}),
    ],
)
def test_a_stage_runs_only_if_something_that_it_reads_changed(
    change: str, expected: set[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert stages_run(monkeypatch, CHANGES[change]) == expected


def test_a_line_waits_for_nothing_that_was_there_before_it(monkeypatch: pytest.MonkeyPatch) -> None:
    from loopwright.marks import draw_line

    sculpt = open_sculpt(egg())
    sculpt.plan(QUICK)

    def refuse(*given: object) -> object:
        raise AssertionError("the sculpt was prepared for lines before")

    monkeypatch.setattr(draw_line, "EdgeFlipGeodesicSolver", refuse)
    monkeypatch.setattr(draw_line.LineDrawer, "__init__", refuse)
    assert sculpt.plan(CHANGES["line"]).findings


def test_a_line_changes_no_size_where_it_does_not_run() -> None:
    before, after = opened().plan(QUICK), opened().plan(CHANGES["line"])
    assert len(after.surface.positions) > len(before.surface.positions)
    places = {
        p: s for p, s in zip(map(tuple, before.surface.positions), before.layout.layout.vertex_size, strict=False)
    }
    sizes = zip(map(tuple, after.surface.positions), after.layout.layout.vertex_size, strict=False)
    same = [places[p] == size for p, size in sizes if p in places]
    assert all(same) and len(same) > 0.8 * len(before.surface.positions)


def test_sizes_are_rounded_alike_with_a_line_and_without(monkeypatch: pytest.MonkeyPatch) -> None:
    extents: list[float] = []

    def steps(extent: float) -> Callable[[float], float]:
        extents.append(extent)
        return size_steps(extent)

    monkeypatch.setattr("loopwright.layout.plan_layout.size_steps", steps)
    sculpt = open_sculpt(egg())
    areas = [surface_extent(sculpt.plan(CHANGES[change]).surface) for change in ("nothing", "line")]
    assert areas[0] != areas[1] and extents[0] == extents[1] and len(extents) == 2


def test_marks_that_do_not_fit_leave_the_sculpt_usable() -> None:
    before = content(opened().build(QUICK))
    with pytest.raises(MarksError):
        opened().plan(replace(QUICK, pins=(Pin("nowhere", RED_NAME, 8),)))
    assert content(opened().build(QUICK)) == before


@pytest.mark.parametrize("change", ["nothing", "own sides", "edits"])
def test_what_is_made_without_names_has_them_in_the_end(change: str) -> None:
    result = opened().build(replace(CHANGES[change], region_names={RED: "cap", GREY: "shell"}))
    meshes = [result.mesh, *([result.half] if result.half else [])]
    named = [result.surface.regions, result.layout.layout.surface.regions, *(mesh.regions for mesh in meshes)]
    assert len(meshes) == 2
    assert all({"cap", "shell"} < {region.name for region in regions} for regions in named)


def test_painted_sizes_are_read_again_when_their_array_is_changed_in_place() -> None:
    sizes = np.zeros(len(egg().positions))
    sizes[0] = 0.2
    options = replace(QUICK, vertex_sizes=sizes)
    before = content(opened().plan(options))
    sizes[:] = 0.4
    assert content(opened().plan(options)) == content(plan(egg(), options=options)) != before


def test_what_is_kept_is_bounded() -> None:
    sculpt = open_sculpt(egg())
    for budget in (200, 210, 220, 230, 240):
        sculpt.plan(replace(QUICK, budget=budget))
    rows = sculpt._ground.shelf._rows
    assert {"layout", "sizes", "counts", "marks"} <= set(rows)
    by_part = {"pieces", "forms"}  # which keep several values per round
    assert max(len(row) for name, row in rows.items() if name not in by_part) == sculpt._ground.shelf.depth == 3
    assert max(len(rows[name]) for name in by_part) <= 3 * 64


def test_a_sculpt_without_colours_stays_open_too() -> None:
    bare = Sculpt(egg().positions, egg().triangles)
    sculpt = open_sculpt(bare)
    sculpt.build(QUICK)
    options = replace(QUICK, budget=260)
    assert content(sculpt.build(options)) == content(build(bare, options=options))


def test_colours_are_told_apart_by_the_shelf() -> None:
    points, triangles = egg().positions, egg().triangles
    one = colored(points, triangles, (points[:, 1] > 0.9, RED))
    assert fingerprint(one) != fingerprint(egg()) and fingerprint(egg()) == fingerprint(egg())


def test_drawn_points_are_told_apart_by_every_number() -> None:
    points = ((0.0, 1.0, 2.0), (3.0, 4.0, 5.0))
    others = [
        (*points[:1], (3.0, 4.0, 5.5)),
        points[::-1],
        (*points, points[0]),
        ((0.0, 1.0, 2), points[1]),  # of another type
        ((0.0, 1.0), (2.0, 3.0, 4.0, 5.0)),
        (tuple(x for point in points for x in point),),
    ]
    codes = {fingerprint(each) for each in (points, *others)}
    assert len(codes) == 1 + len(others)
    assert fingerprint(points) == fingerprint(tuple(map(tuple, np.array(points).tolist())))


def test_a_plan_and_a_build_tell_a_pin_that_costs_much() -> None:
    def told(findings: tuple[Finding, ...]) -> list[Finding]:
        return [f for f in findings if f.kind in ("pin_far", "pin_costly")]

    dear = replace(QUICK, pins=(Pin(GREY_NAME, RED_NAME, 60),))
    assert [f.kind for f in told(opened().plan(dear).findings)] == ["pin_far"]
    (costly,) = told(opened().build(dear).findings)
    assert costly.kind == "pin_costly"
    assert f"{GREY_NAME}/{RED_NAME}=60" in costly.text or f"{RED_NAME}/{GREY_NAME}=60" in costly.text
    assert not told(opened().build(replace(QUICK, pins=())).findings)


@pytest.mark.parametrize("way", [(0.7, 0.5, 0.3), (0.3, 0.9, 0.1), (0.5, 0.1, 0.8)])
def test_held_places_stay_with_own_sides_after_an_edit(way: tuple[float, float, float]) -> None:
    place = at(*way)
    removed = {"op": "remove_loop", "near": at(0.4, -0.8, -0.3)}
    wishes = replace(QUICK, points=(FixedPoint(place),), mirror_shape=False, fit_limit=False, edits=(removed,))
    mesh = opened().build(wishes).mesh
    assert np.linalg.norm(mesh.positions - place, axis=1).min() < 1e-9


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_drawn_line_is_followed_with_own_sides(side: float) -> None:
    (line,) = CHANGES["line"].lines
    points = tuple((side * x, y, z) for x, y, z in line.points)
    wishes = replace(QUICK, lines=(FlowLine(points, name="seam"),), mirror_shape=False)
    result = opened().build(wishes)
    assert result.mesh.mirror is None
    assert [outcome.is_kept for outcome in result.outcomes if outcome.name == "seam"] == [True]
