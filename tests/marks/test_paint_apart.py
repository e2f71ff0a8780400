"""How far the paint of two halves is apart, and when each side therefore keeps its own."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from loopwright import pipeline
from loopwright.errors import InfeasibleError
from loopwright.fit.reflect import reflect_half
from loopwright.marks.paint_apart import paint_apart
from loopwright.options import BuildOptions, Mirror
from loopwright.pipeline import build, plan
from loopwright.surface.project import SurfaceProjector
from loopwright.types import MirrorPlane, QuadMesh, Sculpt

X = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)
_IDS = np.arange(201 * 401).reshape(201, 401)
SHEET = (
    np.concatenate(
        [
            np.stack([_IDS[:-1, :-1], _IDS[:-1, 1:], _IDS[1:, 1:]], axis=2),
            np.stack([_IDS[:-1, :-1], _IDS[1:, 1:], _IDS[1:, :-1]], axis=2),
        ]
    )
    .reshape(-1, 3)
    .astype(np.int32)
)


@pytest.mark.parametrize("off", [0.0, 0.01, 0.02, 0.04])
def test_a_band_that_is_off_on_one_half_is_off_by_its_width(off: float) -> None:
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 401), np.linspace(0, 1, 201)))
    labels = (y > np.where(x > 0, 0.5, 0.5 + off)).astype(np.int32)
    points = np.stack([x, y, 0 * x], axis=1)
    found = paint_apart(points, SHEET, labels, X)
    assert found == pytest.approx(off, abs=0.006)  # 0.005 between vertices
    assert paint_apart(7.0 * points, SHEET, labels, X) == pytest.approx(7.0 * found)
    assert paint_apart(points * [-1.0, 1.0, 1.0], SHEET, labels, X) == pytest.approx(found)
    soft = np.where(np.abs(y - np.where(x > 0, 0.5, 0.5 + off)) < 0.02, -1, labels)
    assert paint_apart(points, SHEET, soft, X) == pytest.approx(off, abs=0.012)


def test_what_one_half_lacks_altogether_does_not_count() -> None:
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 401), np.linspace(0, 1, 201)))
    points, cap = np.stack([x, y, 0 * x], axis=1), y > 0.5
    for at, reach in ((0.5, 0.1), (-0.5, 0.1), (0.5, 0.004), (-0.5, 0.004)):
        spot = (x - at) ** 2 + (y - 0.2) ** 2 < reach**2
        for color in (0, 1, 2):  # of both halves, or of none else
            labels = np.where(spot, color, cap).astype(np.int32)
            assert paint_apart(points, SHEET, labels, X) < 0.006
    assert paint_apart(points, SHEET, np.full(len(x), -1), X) == 0.0


@pytest.mark.parametrize(("off", "is_equal"), [(0.0, True), (0.05, False)])
def test_sides_are_their_own_where_the_paint_is_apart(tools: Any, off: float, is_equal: bool) -> None:
    positions, triangles = tools.icosphere(5)
    x, _, z = positions.T
    colors = np.where((z > np.where(x > 0, 0.3, 0.3 + off))[:, None], (200, 60, 60), (60, 60, 200))
    sculpt: Sculpt = tools.paint(positions, triangles, colors)
    wishes = BuildOptions(budget=600, mirror="x")
    result = build(sculpt, options=wishes)
    text = next(f.text for f in result.findings if f.kind == "mirror")
    assert (result.mesh.mirror is not None) == is_equal
    assert ("--mirror-shape makes both equal" in text) != is_equal
    forced = plan(sculpt, options=replace(wishes, mirror_shape=True))
    text = next(f.text for f in forced.findings if f.kind == "mirror")
    assert ("with own sides (--own-sides) each keeps its own" in text) != is_equal
    if not is_equal:
        quads, region = result.mesh.quads, result.mesh.quad_region
        cap = int(np.argmax([result.mesh.positions[quads[region == k]][..., 2].mean() for k in (0, 1)]))
        both = np.intersect1d(np.unique(quads[region == cap]), np.unique(quads[region != cap]))
        border = result.mesh.positions[both]
        away = np.abs(border[:, 0]) > 0.25  # where the border steps from one height to the other it is in between
        at = np.where(border[:, 0] > 0, 0.3, 0.3 + off)
        assert border[away, 2] == pytest.approx(at[away], abs=0.03)


def test_a_shape_that_is_apart_is_named_as_the_reason(tools: Any) -> None:
    positions, triangles = tools.icosphere(5)
    positions = positions * np.where(positions[:, :1] < 0, [1.15, 1.0, 1.0], 1.0)
    colors = np.tile([200, 60, 60], (len(positions), 1))
    result = plan(tools.paint(positions, triangles, colors), options=BuildOptions(budget=6000, mirror="x"))
    text = next(f.text for f in result.findings if f.kind == "mirror")
    assert "shape is" in text and "edges, where" in text and "--mirror-shape makes both equal" in text


def painted_apart(tools: Any) -> Sculpt:
    """A ball whose two colours meet a little higher on one half."""
    positions, triangles = tools.icosphere(5)
    x, _, z = positions.T
    colors = np.where((z > np.where(x > 0, 0.3, 0.35))[:, None], (200, 60, 60), (60, 60, 200))
    painted: Sculpt = tools.paint(positions, triangles, colors)
    return painted


@pytest.mark.parametrize("asked", [None, False])
def test_own_sides_that_fold_quads_are_only_taken_where_they_are_asked_for(
    tools: Any, monkeypatch: pytest.MonkeyPatch, asked: bool | None
) -> None:
    def folded(half: QuadMesh, *_: object, **__: object) -> QuadMesh:
        whole = reflect_half(half)
        positions = whole.positions.copy()
        positions[whole.quads[0]] = positions[whole.quads[0][[1, 0, 2, 3]]]
        return replace(whole, positions=positions, mirror=None)

    monkeypatch.setattr("loopwright.stages.take_sides.own_sides", folded)
    wishes = BuildOptions(budget=600, mirror="x", mirror_shape=asked, fit_limit=False)
    result = build(painted_apart(tools), options=wishes)
    assert ("own_sides" in {f.kind for f in result.findings}) == (asked is None)
    assert (result.mesh.mirror is not None) == (asked is None)


def horned(tools: Any, side: int) -> Sculpt:
    """A ball with a horn beside the plane across which it mirrors else."""
    positions, triangles = tools.icosphere(5)
    colors = np.where(positions[:, 2:] > 0, (200, 60, 60), (60, 60, 200))
    colors = np.where(positions[:, 1:2] > 0.5, (60, 200, 60), colors)  # across x alone
    tip = np.array([side * np.sin(0.5), 0.0, np.cos(0.5)])
    from_tip = np.arccos(np.clip(positions @ tip, -1, 1))
    out = positions * (1.0 + 0.35 * np.exp(-((from_tip / 0.17) ** 2)))[:, None]
    painted: Sculpt = tools.paint(out, triangles, colors)
    return painted


def all_folded(half: QuadMesh, *_: object, **__: object) -> QuadMesh:
    whole = reflect_half(half)
    return replace(whole, quads=whole.quads[:, [1, 0, 2, 3]], mirror=None)


@pytest.mark.parametrize(("mirror", "side"), [("auto", 1), ("auto", -1), ("x", 1)])
def test_a_horn_on_one_half_alone_gets_no_mirror_image_beside_the_sculpt(
    tools: Any, monkeypatch: pytest.MonkeyPatch, mirror: Mirror, side: int
) -> None:
    monkeypatch.setattr("loopwright.stages.take_sides.own_sides", all_folded)
    sculpt = horned(tools, side)
    result = build(sculpt, options=BuildOptions(budget=1500, mirror=mirror, fit_limit=False))
    kinds = {finding.kind for finding in result.findings}
    quads = result.mesh.quads
    both = (
        SurfaceProjector(sculpt.positions, sculpt.triangles),
        SurfaceProjector(result.mesh.positions, np.vstack([quads[:, :3], quads[:, [0, 2, 3]]])),
    )
    away = [
        float(np.abs(surface.project(points).points - points).max())
        for surface, points in zip(both, (result.mesh.positions, sculpt.positions), strict=True)
    ]
    assert result.options.mirror == mirror
    assert result.timings["own sides"] > 0.0
    if mirror == "auto":
        assert "unlike_halves" in kinds and not kinds & {"own_sides", "no_mirror"}
        assert result.mesh.mirror is None and result.half is None
        assert max(away) < 0.06
    else:  # what is asked for is done
        assert "own_sides" in kinds and result.mesh.mirror is not None
        assert away[0] > 0.1


def test_where_the_whole_cannot_be_meshed_either_both_halves_are_made_equal(
    tools: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def plan_half(ground: Any, wishes: BuildOptions, clock: Any) -> Any:
        if wishes.mirror == "none":
            raise InfeasibleError("no room")
        return planned(ground, wishes, clock)

    planned = pipeline._plan
    monkeypatch.setattr("loopwright.stages.take_sides.own_sides", all_folded)
    monkeypatch.setattr(pipeline, "_plan", plan_half)
    result = build(horned(tools, 1), options=BuildOptions(budget=1500, fit_limit=False))
    assert "own_sides" in {finding.kind for finding in result.findings}
    assert result.mesh.mirror is not None


@pytest.mark.parametrize("good", ["without tips", "to the nearest"])
def test_other_ways_are_tried_where_own_sides_fold_quads(
    tools: Any, monkeypatch: pytest.MonkeyPatch, good: str
) -> None:
    ways: list[str] = []

    def some(half: QuadMesh, *_: object, carry: object, keep_tips: bool = True, **__: object) -> QuadMesh:
        ways.append("to the nearest" if carry is None else "with tips" if keep_tips else "without tips")
        whole = reflect_half(half)
        positions = whole.positions.copy()
        if ways[-1] != good:
            positions[whole.quads[0]] = positions[whole.quads[0][[1, 0, 2, 3]]]
        return replace(whole, positions=positions, mirror=None)

    monkeypatch.setattr("loopwright.stages.take_sides.own_sides", some)
    wishes = BuildOptions(budget=600, mirror="x", fit_limit=False)
    result = build(painted_apart(tools), options=wishes)
    assert ways == ["with tips", "without tips", "to the nearest"][: 2 if good == "without tips" else 3]
    assert result.mesh.mirror is None and "own_sides" not in {f.kind for f in result.findings}
