"""Wished colours find their paint, each its own, or one error says why not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from loopwright.errors import MarksError
from loopwright.marks.name_regions import choose_open, name_regions
from loopwright.marks.options import MarksOptions
from loopwright.marks.region_surface import make_region_surface
from loopwright.types import FloatArray, IntArray, Sculpt

SKIN, EYE = (200, 150, 120), (20, 20, 200)
PALETTE = np.array([SKIN, EYE], np.uint8)
NEAR_SKIN = (204, 148, 118)


def test_two_names_for_one_painted_colour_are_refused_with_both() -> None:
    with pytest.raises(MarksError, match='call "skin".*call "lips".*#c89678') as caught:
        name_regions(PALETTE, MarksOptions(region_names={SKIN: "skin", NEAR_SKIN: "lips"}))
    assert caught.value.places == ("#c89678", "#cc9476")
    assert name_regions(PALETTE, MarksOptions(region_names={NEAR_SKIN: "skin", EYE: "eye"})) == ["skin", "eye"]


def test_two_open_colours_for_one_painted_colour_are_refused_with_both() -> None:
    with pytest.raises(MarksError, match="#c89678, which .* and #cc9476, which"):
        choose_open(PALETTE, MarksOptions(open_colors=(SKIN, NEAR_SKIN)))
    assert choose_open(PALETTE, MarksOptions(open_colors=(NEAR_SKIN, NEAR_SKIN))).tolist() == [True, False]
    assert choose_open(PALETTE, MarksOptions()).tolist() == [False, False]


def test_a_colour_that_is_only_alike_is_refused_with_what_there_is() -> None:
    dark = np.array([(20, 20, 20), SKIN], np.uint8)
    wish = (0x11, 0x22, 0x33)
    for options in (MarksOptions(region_names={wish: "lips"}), MarksOptions(open_colors=(wish,))):
        with pytest.raises(MarksError, match="near #112233, .*nearest is #141414, .*has #141414, #c89678") as caught:
            name_regions(dark, options)
            choose_open(dark, options)
        assert caught.value.places == ("#112233",)


@pytest.mark.parametrize("wishes", [{"open_colors": (EYE,)}, {"region_names": {EYE: "eye"}}])
def test_a_sculpt_without_colours_is_not_said_to_have_one(
    sphere: tuple[FloatArray, IntArray], wishes: dict[str, Any]
) -> None:
    points, triangles = sphere
    options = MarksOptions(proxy_faces=4000, mirror="none", **wishes)
    with pytest.raises(
        MarksError, match="^the sculpt has no vertex colours, .*#1414c8.*; export .* take out"
    ) as caught:
        make_region_surface(Sculpt(points, triangles), options=options)
    assert "#c8c8c8" not in str(caught.value)
    surface, _ = make_region_surface(
        Sculpt(points, triangles), options=replace(options, open_colors=(), region_names={})
    )
    assert len(surface.regions) == 1
    with pytest.raises(MarksError, match="^no painted colour is near"):
        grey = np.full(points.shape, 200, np.uint8)
        make_region_surface(Sculpt(points, triangles, grey), options=options)


@pytest.mark.parametrize("noise", [0.0, 4.0, 8.0])
def test_the_brush_s_own_colours_name_soft_paint(tools: Any, sphere: tuple[FloatArray, IntArray], noise: float) -> None:
    points, triangles = sphere
    share = np.clip(0.5 + points[:, 2:] / 0.4, 0.0, 1.0)
    colors = share * np.array(SKIN) + (1 - share) * np.array(EYE)
    colors += np.random.default_rng(6).normal(0.0, noise, points.shape)
    options = MarksOptions(region_names={SKIN: "skin", EYE: "eye"}, mirror="none", proxy_faces=4000)
    surface, _ = make_region_surface(tools.paint(points, triangles, colors), options=options)
    assert {region.name for region in surface.regions} == {"skin", "eye"}


def test_what_is_said_where_nothing_is_left(sphere: tuple[FloatArray, IntArray]) -> None:
    points, triangles = sphere
    colors = np.where(points[:, :1] > -0.1, EYE, SKIN).astype(np.uint8)
    sculpt, options = Sculpt(points, triangles, colors), MarksOptions(open_colors=(EYE,), proxy_faces=4000)
    with pytest.raises(MarksError, match="on the half that is meshed .*--mirror none"):
        make_region_surface(sculpt, options=replace(options, mirror="x"))
    surface, _ = make_region_surface(sculpt, options=replace(options, mirror="none"))
    assert [region.color for region in surface.regions] == [SKIN]
    with pytest.raises(MarksError, match="^every painted colour is open"):
        make_region_surface(sculpt, options=replace(options, mirror="x", open_colors=(EYE, SKIN)))


def test_specks_alone_are_no_area_to_cover(tools: Any, sphere: tuple[FloatArray, IntArray]) -> None:
    points, triangles = sphere
    colors = np.tile(np.array(EYE, np.uint8), (len(points), 1))
    for place in points[:: len(points) // 40]:
        colors[np.linalg.norm(points - place, axis=1) < 0.06] = SKIN
    options = MarksOptions(open_colors=(EYE,), mirror="none", proxy_faces=4000, min_share=0.02)
    with pytest.raises(MarksError, match="too small to be meant"):
        make_region_surface(Sculpt(points, triangles, colors), options=options)
