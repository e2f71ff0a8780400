"""Marks through a whole build: pins, places, poles, sizes, lines and own sides on a painted ball."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from tests.counts.test_added_poles import added_by_text

from loopwright.errors import (
    Cancelled,
    ConvergenceError,
    InfeasibleError,
    InternalError,
    LoopwrightError,
    MarksError,
    TightBudgetError,
)
from loopwright.options import BuildOptions, Pin
from loopwright.pipeline import BuildResult, build, plan
from loopwright.report.summarize import tell_finding
from loopwright.stages.judge_wishes import tell_missed
from loopwright.stages.lay_out import _tell_faces
from loopwright.stages.read_ground import Ground
from loopwright.stages.tell_budget import tell_budget
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, Sculpt
from loopwright.wishes import FixedPoint, FlowLine, PolePin, SizeDab, name_apart

RED, BLUE = (200, 60, 60), (60, 160, 220)
NAMES = {RED: "cap", BLUE: "rest"}
QUICK: dict[str, Any] = {"budget": 600, "proxy_faces": 6000, "region_names": NAMES, "mirror": "none"}


@pytest.fixture(scope="module")
def ball(tools: Any) -> Sculpt:
    """A unit ball with a red cap."""
    positions, triangles = tools.icosphere(5)
    painted: Sculpt = tools.paint(positions, triangles, np.where((positions[:, 2] > 0.5)[:, None], RED, BLUE))
    return painted


def border_count(result: BuildResult) -> int:
    """Edges between quads of two regions."""
    quads, region = result.mesh.quads, result.mesh.quad_region
    edges = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    _, place = np.unique(edges, axis=0, return_inverse=True)
    sides = np.zeros((int(place.max()) + 1, 2), bool)
    sides[place.reshape(-1), np.repeat(region, 4)] = True
    return int(sides.all(axis=1).sum())


def ring(count: int, normal: tuple[float, float, float]) -> tuple[Any, ...]:
    n = np.array(normal) / np.linalg.norm(normal)
    a = np.cross(n, [0.3, 0.5, 0.8])
    a /= np.linalg.norm(a)
    t = 2 * np.pi * np.arange(count) / count
    return tuple(tuple(map(float, p)) for p in np.outer(np.cos(t), a) + np.outer(np.sin(t), np.cross(n, a)))


def mesh_edges(quads: IntArray) -> IntArray:
    edges = np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2)
    return np.unique(np.sort(edges, axis=1), axis=0).astype(np.int32)


def test_a_pinned_border_has_its_segments(ball: Sculpt) -> None:
    for count in (24, 40):
        result = build(ball, options=BuildOptions(pins=(Pin("cap", "rest", count),), **QUICK))
        assert border_count(result) == count
    near = BuildOptions(pins=(Pin("cap", "rest", 32, (0.9, 0.0, 0.5)),), **QUICK)
    assert border_count(build(ball, options=near)) == 32


def test_of_pins_it_is_told_whether_the_mesh_keeps_them(ball: Sculpt) -> None:
    def judged(pins: tuple[Pin, ...], edits: tuple[Any, ...] = ()) -> tuple[int, list[bool | None]]:
        result = build(ball, options=BuildOptions(pins=pins, edits=edits, fit_limit=False, **QUICK))
        assert [each.kind for each in result.outcomes] == ["pin"] * len(pins)
        return border_count(result), [each.is_kept for each in result.outcomes]

    pins = (Pin("rest", "cap", 24), Pin("cap", "rest", 24, (0.9, 0.0, 0.5)))
    assert [each.is_kept for each in plan(ball, options=BuildOptions(pins=pins, **QUICK)).outcomes] == [True, True]
    assert judged(pins) == (24, [True, True])
    across: dict[str, Any] = {"op": "insert_loop", "near": [0.86, 0.0, 0.5], "across": [0, 1, 0]}
    edges, kept = judged(pins, (across,))  # the loop crosses the border, and so puts vertices on it
    assert edges > 24 and kept == [False, None]
    merged: dict[str, Any] = {"op": "merge_regions", "regions": ["cap", "rest"], "name": "all"}
    assert judged(pins, (merged,)) == (0, [None, None])


def test_all_places_that_clash_are_told_at_once(ball: Sculpt) -> None:
    spots = {"a": (1.0, 0.0, 0.0), "b": (0.0, -1.0, 0.0), "c": (1.0, 0.0005, 0.0), "d": (0.7, 0.0, -0.7)}
    spots |= {"e": (0.0, -1.0, 0.0005), "f": (1.0, 0.0002, 0.0)}
    wishes = BuildOptions(points=tuple(FixedPoint(at, name) for name, at in spots.items()), **QUICK)
    told = []
    for work in (plan, build):
        with pytest.raises(InfeasibleError, match=r"^a, c and f .* at all of them; so do b and e\. ") as caught:
            work(ball, options=wishes)
        assert caught.value.places == ("a", "c", "f", "b", "e") and caught.value.in_marks
        told.append(str(caught.value))
    assert told[0] == told[1]


def test_a_budget_that_pins_keep_from_being_met_is_told(ball: Sculpt) -> None:
    def missed(budget: int) -> list[str]:
        options = BuildOptions(pins=(Pin("cap", "rest", 80),), **{**QUICK, "budget": budget})
        return [f.text for f in plan(ball, options=options).findings if f.kind == "budget"]

    (text,) = missed(300)
    told = re.search(
        r"gives (\d+) faces where 300 were wished: for sizes and pins none nearer was found; one of them", text
    )
    assert told is not None and int(told[1]) > 306
    assert missed(3000) == []


def test_a_pin_that_only_the_budget_forbids_is_told_with_a_budget_and_a_count_that_do(ball: Sculpt) -> None:
    def made(budget: int, count: int) -> tuple[list[int], int]:
        options = BuildOptions(pins=(Pin("cap", "rest", count),), **{**QUICK, "budget": budget})
        layout = plan(ball, options=options).layout
        return [border.segments for border in layout.borders], sum(patch.faces for patch in layout.patches)

    with pytest.raises(
        InfeasibleError, match="^The pin cap/rest=200 cannot be met at a budget of 150: the n"
    ) as caught:
        made(150, 200)
    text = (
        r"can be had is (\d+); a budget of ([\d,]+) has room for that, but with the pins its plan has ([\d,]+) faces\.$"
    )
    told = re.search(text, str(caught.value))
    assert told is not None
    fewer, larger, faces = (int(told[k].replace(",", "")) for k in (1, 2, 3))
    assert fewer < 200 and larger > 150
    assert made(150, fewer)[0] == [fewer] and made(larger, 200) == ([200], faces) and faces > larger


def test_a_pin_that_sizes_leave_no_room_is_not_put_on_the_budget(ball: Sculpt, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(sizes: dict[str, float]) -> InfeasibleError:
        wishes = BuildOptions(pins=(Pin("cap", "rest", 200),), sizes=sizes, **{**QUICK, "budget": 150})
        with pytest.raises(InfeasibleError) as caught:
            plan(ball, options=wishes)
        return caught.value

    tried: list[int] = []

    def plan_with(_ground: object, _regions: object, wishes: BuildOptions, _clock: object) -> int:
        tried.append(wishes.budget)
        return wishes.budget

    monkeypatch.setattr("loopwright.stages.explain_tight._try_budget", plan_with)
    error = refused({"cap": 0.4, "rest": 0.4})
    assert str(error).startswith("The pin cap/rest=200 cannot be met with the sizes asked for, which leave no room")
    assert error.places == ("cap/rest",) and error.about == "pins" and "budget" not in str(error) and not tried
    assert refused({}).places == ("cap/rest",) and tried


@pytest.mark.parametrize("broken", [MarksError("no border"), InternalError("a cut"), ConvergenceError("no end")])
def test_what_breaks_a_trial_plan_is_not_told_in_place_of_the_pin(broken: LoopwrightError) -> None:
    error = TightBudgetError("The pin a/b=40 cannot be met", "the nearest is 20", 4.0, places=["a/b"])
    tried: list[int] = []

    def plan_with(budget: int) -> int:
        tried.append(budget)
        if len(tried) < least:
            raise broken
        return faces

    faces = 100

    least = 3
    told = tell_budget(error, 300, plan_with)
    assert len(tried) == 3 and str(told).endswith(f"the nearest is 20; a budget of {tried[2]:,} would do.")
    faces, first = 2 * tried[2], tried.copy()
    tried.clear()
    told = tell_budget(error, 300, plan_with)
    assert str(told).endswith(f"{first[2]:,} has room for that, but with the pins its plan has {faces:,} faces.")
    tried.clear()
    least = 9
    assert str(tell_budget(error, 300, plan_with)) == (
        "The pin a/b=40 cannot be met at a budget of 300: the nearest is 20; larger budgets that were tried, "
        f"{first[0]:,}, {first[1]:,} and {first[2]:,}, would not do."
    )


@pytest.mark.parametrize(("times", "about"), [(4e3, r" \(it would take about 1,200,000 faces\)"), (np.inf, "")])
def test_a_pin_without_room_in_any_budget_is_told_as_that(times: float, about: str) -> None:
    tried: list[int] = []

    def plan_with(budget: int) -> int:
        tried.append(budget)
        return budget

    error = TightBudgetError("The pin a/b=4000 cannot be met", "the nearest is 20", times, places=["a/b"])
    told = str(tell_budget(error, 300, plan_with))
    assert re.search(rf"the nearest is 20; no budget up to the largest, 200,000, has room for that{about}\.$", told)
    assert not tried


@pytest.mark.parametrize("count", [4_000, 40_000, 400_000])
def test_a_huge_pin_is_told_to_have_room_in_no_budget(ball: Sculpt, count: int) -> None:
    with pytest.raises(InfeasibleError, match=f"^The pin cap/rest={count} .*; no budget up to the largest, 200,000, "):
        plan(ball, options=BuildOptions(pins=(Pin("cap", "rest", count),), **QUICK))


def test_a_trial_plan_can_be_stopped() -> None:
    def stopped(_: int) -> int:
        raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        tell_budget(TightBudgetError("a", "b", 2.0), 300, stopped)


def test_a_missed_budget_is_judged_by_the_whole_mesh() -> None:
    def told(total: float, goal: float, budget: int) -> list[str]:
        ground = SimpleNamespace(sculpt=SimpleNamespace(triangles=range(10_000)))
        return [f.text for f in _tell_faces(cast(Ground, ground), total, goal, BuildOptions(budget=budget))]

    assert told(53, 50, 100) != [] and told(51, 50, 100) == []  # 106 and 102 faces of two halves
    assert told(1021, 1000, 2000) != [] and told(1019, 1000, 2000) == []
    assert told(46, 50, 100)[0].endswith("other paint, or another budget, may free it.")
    assert told(600, 500, 1000)[0].endswith("other paint, or a larger budget, may free it.")


def test_pins_that_clash_are_named_and_others_are_not(ball: Sculpt, tools: Any) -> None:
    positions, triangles = ball.positions, ball.triangles
    height = positions[:, 2]
    bands = np.select(
        [height > 0.6, height > -0.5],
        [np.array([[200], [60], [60]]), np.array([[60], [160], [220]])],
        np.array([[240], [220], [90]]),
    ).T
    sculpt = tools.paint(positions, triangles, bands)
    names = {RED: "cap", BLUE: "belt", (240, 220, 90): "base"}
    options = {**QUICK, "region_names": names}
    # Source: a quad mesh of a disc has an even number of boundary edges (each quad has four edges, inner ones pair)
    clashing = (Pin("cap", "belt", 25), Pin("belt", "base", 30))
    with pytest.raises(InfeasibleError) as caught:
        plan(sculpt, options=BuildOptions(pins=clashing, **options))
    assert caught.value.places == ("cap/belt",)
    assert "belt/base" not in str(caught.value)
    with pytest.raises(MarksError, match="share no border"):
        plan(sculpt, options=BuildOptions(pins=(Pin("cap", "base", 8),), **options))


@pytest.mark.parametrize("edits", [(), ({"op": "insert_loop", "near": [0.0, -0.6, -0.8], "along": [1, 0, 0]},)])
def test_poles_that_fills_add_are_told_where_the_mesh_has_them(ball: Sculpt, edits: tuple[Any, ...]) -> None:
    height = ball.positions[:, 2]
    bands = np.where((height > 0.6)[:, None], RED, np.where((height > -0.5)[:, None], BLUE, (240, 220, 90)))
    sculpt = Sculpt(ball.positions, ball.triangles, bands.astype(np.uint8))
    names = {RED: "cap", BLUE: "belt", (240, 220, 90): "base"}
    pins = (Pin("cap", "belt", 24), Pin("belt", "base", 30))  # a belt of quads alone has equally many on both sides
    result = build(
        sculpt, options=BuildOptions(pins=pins, edits=edits, fit_limit=False, **{**QUICK, "region_names": names})
    )
    (finding,) = (f for f in result.findings if f.kind == "poles_added")
    text = finding.text
    told = re.findall(r"\(([^()]*)\) of valence (\d)", text)
    assert len(told) >= 2
    assert added_by_text(text) == finding.count
    valence = np.bincount(result.mesh.quads.ravel())
    for place, quads in told:
        gap = np.linalg.norm(result.mesh.positions - [float(x) for x in place.split(",")], axis=1)
        assert gap.min() < 1e-3 and valence[int(gap.argmin())] == int(quads)
    patches = cast(list[dict[str, Any]], tell_finding(finding)["data"]["patches"])  # type: ignore[index]
    assert sum(patch["times"] * patch["added"] for patch in patches) == finding.count
    poles = [pole for patch in patches for pole in patch["poles"]]
    assert len(poles) >= len(told)
    for pole in poles:  # as data they are there to the bit, all of them
        (vertex,) = np.flatnonzero((result.mesh.positions == pole["at"]).all(axis=1))
        assert valence[vertex] == pole["valence"] != 4


def test_a_vertex_is_where_it_was_asked_for(ball: Sculpt) -> None:
    inside, on_border = (0.6, 0.64, -0.48), (0.0, float(np.sqrt(0.75)), 0.5)
    points = (FixedPoint(inside, "inside"), FixedPoint(on_border, "border"))
    result = build(ball, options=BuildOptions(points=points, fit_limit=False, **QUICK))
    for place in (inside, on_border):
        assert np.linalg.norm(result.mesh.positions - place, axis=1).min() < 2e-3
    assert result.quality.scaled_jacobian.min() > 0.2
    twice = (FixedPoint(inside, "one"), FixedPoint((0.6, 0.64, -0.4801), "two"))
    with pytest.raises(InfeasibleError, match="one and|two and"):
        build(ball, options=BuildOptions(points=twice, **QUICK))
    far = BuildOptions(points=(FixedPoint((3.0, 0.0, 0.0)),), **QUICK)
    for work in (plan, build):
        with pytest.raises(MarksError, match="away from the sculpt"):
            work(ball, options=far)


def test_points_off_the_surface_or_over_an_opening_are_told(ball: Sculpt) -> None:
    def told(*points: FixedPoint, opened: bool = False) -> list[str]:
        options = BuildOptions(points=points, fit_limit=False, leave_open=(RED,) if opened else (), **QUICK)
        texts, planned = (
            [f.text for f in work(ball, options=options).findings if f.kind.startswith("point_")]
            for work in (build, plan)
        )
        assert texts == planned
        return texts

    on, off = (0.6, -0.64, -0.48), (-0.69, -0.736, -0.552)  # of a unit ball: on it, and 0.15 above it
    (text,) = told(FixedPoint(on, "on"), FixedPoint(off, "off"))
    assert text.startswith("off: its place lies 0.15 off the sculpt")
    top = FixedPoint((0.0, 0.0, 1.0), "top")
    assert told(top) == []
    (text,) = told(top, opened=True)  # and no more than that, though the vertex that it asks for is missed
    assert text.startswith("top: its place lies in an area that stays open")


def test_a_short_line_alone_closes_round_an_unpainted_form(tools: Any) -> None:
    # shorter than two edges, all of it lies just behind its end, but its other end is where the way may close
    positions, triangles = tools.icosphere(4)
    turn = np.linspace(0.0, 0.45, 6)
    line = FlowLine(tuple((float(np.cos(t)), float(np.sin(t)), 0.0) for t in turn))
    bare = tools.paint(positions, triangles, np.tile(BLUE, (len(positions), 1)))
    wishes = {**QUICK, "budget": 150, "proxy_faces": 2000, "region_names": {}}
    found = [finding.kind for finding in plan(bare, options=BuildOptions(lines=(line,), **wishes)).findings]
    assert "line_carried_on" in found and "line_left_out" not in found


def test_a_place_in_an_opening_changes_nothing(ball: Sculpt) -> None:
    opened = BuildOptions(leave_open=(RED,), fit_limit=False, **QUICK)
    held = build(ball, options=replace(opened, points=(FixedPoint((0.0, 0.0, 1.0), "top"),)))
    np.testing.assert_array_equal(held.mesh.positions, build(ball, options=opened).mesh.positions)
    (outcome,) = held.outcomes
    assert outcome.is_kept is False and outcome.off is not None and outcome.off > 0.1


def test_lines_and_places_of_one_name_are_told_apart(ball: Sculpt) -> None:
    on_border = tuple((float(x), float(y), 0.5) for x, y, _ in np.sqrt(0.75) * np.array(ring(24, (0.0, 0.0, 1.0))))
    lines = (FlowLine(ring(12, (1.0, 0.1, 0.2)), True, "band"), FlowLine(on_border, True, "band"))
    texts = [f.text for f in plan(ball, options=BuildOptions(lines=lines, **QUICK)).findings]
    assert [text.partition(" lies along")[0] for text in texts if "adds nothing" in text] == ["band (line 2)"]
    twins = (FixedPoint((0.6, 0.64, -0.48), "dot"), FixedPoint((0.6, 0.64, -0.4801), "dot"))
    with pytest.raises(InfeasibleError, match=r"dot \(point 1\) and dot \(point 2\) lie so near"):
        build(ball, options=BuildOptions(points=twins, **QUICK))


def test_what_became_of_lines_places_and_wishes_for_poles_is_told(ball: Sculpt) -> None:
    def on_ball(points: list[tuple[float, float, float]]) -> tuple[Any, ...]:
        return tuple(tuple(map(float, np.array(p) / np.linalg.norm(p))) for p in points)

    edge = float(np.sqrt(4 * np.pi / QUICK["budget"]))
    on_border = tuple((float(x), float(y), 0.5) for x, y, _ in np.sqrt(0.75) * np.array(ring(24, (0.0, 0.0, 1.0))))
    zigzag = on_ball([(-1.0, 0.2 * edge * k, 0.7 * edge * (k % 2) - 0.3) for k in range(-12, 13)])
    wishes = BuildOptions(
        lines=(
            FlowLine(ring(12, (1.0, 0.1, 0.2)), True, "round"),
            FlowLine(on_border, True, "on the border"),
            FlowLine(zigzag, False, "zigzag"),
            FlowLine(on_ball([(1.0, 0.0, -0.8), (1.0, 0.3 * edge, -0.8)]), False, "dash"),
        ),
        points=(FixedPoint((0.6, 0.64, -0.48), "dot"),),
        poles=(PolePin("cap", "none"), PolePin("rest", "some")),
        fit_limit=False,
        **QUICK,
    )
    planned = plan(ball, options=wishes)
    result = build(ball, options=wishes)
    assert [(o.kind, o.name, o.is_kept) for o in result.outcomes] == [
        ("line", "round", True),
        ("line", "on the border", True),
        ("line", "zigzag", False),
        ("line", "dash", False),
        ("point", "dot", True),
        ("poles", "cap", False),  # a disc whose border has no corners needs four poles at least, by Euler's formula
        ("poles", "rest", True),
    ]
    off = result.outcomes[4].off
    assert off is not None and off == pytest.approx(
        np.linalg.norm(result.mesh.positions - [0.6, 0.64, -0.48], axis=1).min(), abs=2e-3
    )
    assert not any(finding.kind == "point_missed" for finding in result.findings)
    missed = replace(result.outcomes[4], is_kept=False, off=0.25)
    (finding,) = tell_missed([*result.outcomes[:4], missed])
    assert finding.kind == "point_missed" and finding.text.startswith("The place dot is missed by 0.25")
    assert {o.name for o in planned.outcomes if o.is_kept is not None} <= {"zigzag"}
    assert not any(o.is_kept for o in planned.outcomes) and len(planned.outcomes) == 7


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["a", "b"], ["a", "b"]),
        (["a", "", "b"], ["a", "line 2", "b"]),
        (["a", "b", "a"], ["a (line 1)", "b", "a (line 3)"]),
        (["line 2", ""], ["line 2 (line 1)", "line 2 (line 2)"]),
        (["a", "a", "a (line 1)"], ["a (line 1) (line 1)", "a (line 2)", "a (line 1) (line 3)"]),
    ],
)
def test_names_are_left_as_they_are_unless_they_clash(given: list[str], told: list[str]) -> None:
    lines = [FlowLine(((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), False, name) for name in given]
    assert [line.name for line in name_apart(lines, "line")] == told


def test_poles_that_no_mesh_can_do_without_are_told(ball: Sculpt) -> None:
    # Source: Euler's formula: the quads of a disc whose border has no corners have 4 more edges missing than added
    result = build(ball, options=BuildOptions(poles=(PolePin("cap", "none"),), **QUICK))
    told = [f for f in result.findings if f.kind == "poles_unwanted"]
    assert len(told) == 1 and told[0].count == len(told[0].elements) >= 4
    calm = build(ball, options=BuildOptions(poles=(PolePin("cap", "some"),), **QUICK))
    assert not [f for f in calm.findings if f.kind.startswith("poles")]
    with pytest.raises(MarksError, match="no region"):
        plan(ball, options=BuildOptions(poles=(PolePin("nose", "none"),), **QUICK))


def test_painted_sizes_make_edges_short_there_only(ball: Sculpt) -> None:
    plain = build(ball, options=BuildOptions(fit_limit=False, **QUICK))
    dab = SizeDab((0.0, -0.8, -0.6), 0.5, 0.05)
    fine = build(ball, options=BuildOptions(size_dabs=(dab,), fit_limit=False, **{**QUICK, "budget": 1200}))

    def edge_near(result: BuildResult, place: tuple[float, float, float]) -> float:
        p = result.mesh.positions[mesh_edges(result.mesh.quads)]
        near = np.linalg.norm(p.mean(axis=1) - place, axis=1) < 0.3
        return float(np.median(np.linalg.norm(p[near, 0] - p[near, 1], axis=1)))

    assert edge_near(fine, dab.at) < 0.85 * edge_near(plain, dab.at)
    assert edge_near(fine, dab.at) < 0.85 * edge_near(fine, (0.0, 0.8, -0.6))
    sizes = np.where(ball.positions[:, 1] < -0.6, 0.05, 0.0)
    plan(ball, options=BuildOptions(vertex_sizes=sizes, **{**QUICK, "budget": 1200}))
    with pytest.raises(MarksError, match="vertices"):
        plan(ball, options=BuildOptions(vertex_sizes=sizes[:-1], **QUICK))


def test_lines_alone_lay_out_a_bare_ball(ball: Sculpt) -> None:
    normals = [(1.0, 0.1, 0.2), (0.0, 1.0, 0.1), (0.1, -0.2, 1.0)]
    lines = tuple(FlowLine(ring(12, n), True, f"ring {i}") for i, n in enumerate(normals))
    bare = Sculpt(ball.positions, ball.triangles)
    result = build(bare, options=BuildOptions(budget=600, proxy_faces=6000, mirror="none", lines=lines))
    # Source: three great circles cut the sphere into 8 triangles; one pole in each is the fewest a quad mesh can have
    assert result.quality.poles == {3: 8}
    edges = mesh_edges(result.mesh.quads)
    p = result.mesh.positions[edges]
    size = float(np.linalg.norm(p[:, 0] - p[:, 1], axis=1).mean())
    for normal in normals:
        height = np.abs(p @ (np.array(normal) / np.linalg.norm(normal)))
        along = edges[(height < 0.25 * size).all(axis=1)]
        assert_one_ring(along)


def assert_one_ring(edges: IntArray) -> None:
    """The edges hold a closed loop, each of whose vertices has two of them."""
    count = int(edges.max()) + 1
    graph = coo_matrix((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(count, count))
    _, part = connected_components(graph, directed=False)
    sizes = np.bincount(part[edges[:, 0]])
    main = edges[part[edges[:, 0]] == int(sizes.argmax())]
    assert set(np.bincount(main.reshape(-1))[np.unique(main)]) == {2}


def test_each_side_keeps_its_shape_but_the_topology_is_one(ball: Sculpt) -> None:
    uneven = ball.positions.copy()
    left = uneven[:, 0] < 0
    uneven[left, 0] *= 1.12
    uneven[left, 1] += 0.08 * uneven[left, 0] ** 2
    sculpt = Sculpt(uneven, ball.triangles, ball.colors)
    shared: dict[str, Any] = {**QUICK, "mirror": "x", "fit_limit": False}
    equal = build(sculpt, options=BuildOptions(**shared))
    own = build(sculpt, options=BuildOptions(mirror_shape=False, **shared))
    np.testing.assert_array_equal(equal.mesh.quads, own.mesh.quads)
    assert own.mesh.mirror is None and equal.mesh.mirror is not None
    projector = SurfaceProjector(sculpt.positions, sculpt.triangles)

    def off(points: FloatArray) -> float:
        return float(np.linalg.norm(projector.project(points).points - points, axis=1).max())

    # vertices on borders lie on chords of the border's points, which dip into the ball by about a thousandth
    assert off(own.mesh.positions) < 2e-3 < 0.03 < off(equal.mesh.positions)
    assert own.quality.scaled_jacobian.min() > 0.5


def test_two_wishes_for_the_poles_of_one_region_clash(ball: Sculpt) -> None:
    both = (PolePin("cap", "none"), PolePin("cap", "some"))
    with pytest.raises(MarksError, match="cap is wished to have poles and to have none; keep one"):
        plan(ball, options=BuildOptions(poles=both, **QUICK))
    assert plan(ball, options=BuildOptions(poles=(both[0], both[0]), **QUICK)).layout is not None
