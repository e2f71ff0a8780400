"""Where quads come out poor, other layouts are tried; which is taken hangs on no line, pin or earlier wish."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from tests.conftest import globe
from tests.test_pipeline import BLUE, RED, colored

from loopwright import BuildOptions, open_sculpt
from loopwright.layout.measure_uneven import compare_sides
from loopwright.shelf import Shelf
from loopwright.stages import choose_style as chosen
from loopwright.stages.clock import Clock
from loopwright.stages.layout_style import USUAL_STYLE, LayoutStyle
from loopwright.stages.read_ground import Ground, read_ground
from loopwright.types import FloatArray, Sculpt
from loopwright.wishes import FlowLine, Pin, SizeDab


def lobed() -> Sculpt:
    """A globe with a red area of three lobes and a blue one beside it, neither mirrored nor regular."""
    points, triangles = globe(20)
    x, y, z = points.T
    around = np.arctan2(y, x)
    red = np.arccos(z) < 0.75 + 0.35 * np.cos(3.0 * around + 0.4) + 0.1 * np.cos(around)
    blue = ~red & (np.linalg.norm(points - [0.75, 0.55, 0.35], axis=1) < 0.55)
    return colored(points * [1.0, 1.2, 0.8], triangles, (red, RED), (blue, BLUE))


WISHES = BuildOptions(budget=500, proxy_faces=2500, mirror="none")


@pytest.fixture(autouse=True)
def any_budget(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_LEAST_BUDGET", 0)


def ground_of(depth: int = 2) -> Ground:
    return read_ground(lobed(), Shelf(depth), Clock())


@cache
def tried() -> list[tuple[LayoutStyle, float, float]]:
    """Every style that is tried for the lobed sculpt: with its price, and the mean lack of its quads."""
    found: list[tuple[LayoutStyle, float, float]] = []
    weigh = chosen._weigh

    def note(style: LayoutStyle, *others: object) -> chosen._Try:
        each = weigh(style, *others)  # type: ignore[arg-type]
        found.append((each.style, each.price, each.mean))
        return each

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chosen, "_LEAST_BUDGET", 0)
        patch.setattr(chosen, "_weigh", note)
        chosen.choose_style(ground_of(), WISHES, Clock())
    return found


def test_meshes_of_few_faces_have_the_usual_style(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_LEAST_BUDGET", WISHES.budget + 1)
    monkeypatch.setattr(chosen, "_choose", None)
    assert chosen.choose_style(ground_of(), WISHES, Clock()) is USUAL_STYLE


def test_the_best_of_those_tried_is_taken() -> None:
    styles = tried()
    assert len(styles) > 1
    taken = chosen.choose_style(ground_of(), WISHES, Clock())
    assert taken == min(styles, key=lambda each: each[1])[0]
    assert min(price for _, price, _ in styles) < styles[0][1]  # better than the usual one


def test_regions_take_the_style_that_is_clearly_better_there() -> None:
    usual, other = chosen._LAYOUTS[:2]
    tries = [
        chosen._Try(usual, 9.0, 0.1, np.array([4.0, 4.0, 1.0, 0.2])),
        chosen._Try(other, 12.0, 0.1, np.array([1.0, 3.5, 7.0, 0.0])),
    ]
    # the second region is better by an eighth only, the last one by a fifth of a quad
    mixed = chosen._mixed(tries)
    assert mixed is not None and mixed == replace(usual, regions={0: other})
    assert chosen._mixed(tries[:1]) is None


def test_quads_that_come_out_well_need_no_other_style(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_GOOD", 1.01 * tried()[0][2])
    monkeypatch.setattr(chosen, "_seek", None)
    assert chosen.choose_style(ground_of(), WISHES, Clock()) is USUAL_STYLE


def test_too_few_faces_are_not_mended_by_a_style(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_HOPELESS", 0.99 * tried()[0][2])
    monkeypatch.setattr(chosen, "_seek", None)
    assert chosen.choose_style(ground_of(), WISHES, Clock()) is USUAL_STYLE


def test_lines_pins_and_sizes_change_no_style() -> None:
    line = FlowLine(((0.0, -1.2, 0.0), (0.5, -0.9, -0.35)), name="seam")
    asked = (
        replace(WISHES, lines=(line,)),
        replace(WISHES, pins=(Pin("#d02020", "#2040d0", 8),)),
        replace(WISHES, size_dabs=(SizeDab((0.0, -1.2, 0.0), 0.3, 0.1),)),
        replace(WISHES, mirror_shape=False, fit_limit=False),
    )
    ground = ground_of()
    style = chosen.choose_style(ground, WISHES, Clock())
    for wishes in asked:
        assert chosen.choose_style(ground, wishes, Clock()) == style
    assert chosen.choose_style(ground_of(), asked[0], Clock()) == style


def test_plan_and_mesh_are_of_one_layout_in_any_order() -> None:
    first, second = open_sculpt(lobed()), open_sculpt(lobed())
    planned = first.plan(WISHES)
    built = second.build(WISHES)
    assert np.array_equal(planned.layout.counts, built.layout.counts)
    assert np.array_equal(first.build(WISHES).mesh.positions, built.mesh.positions)
    assert sum(patch.faces for patch in planned.layout.patches) == len(built.mesh.quads)


def test_a_wish_for_poles_goes_before_the_style_of_a_region() -> None:
    style = LayoutStyle(inner_pole=0.3, both=0.5, regions={1: LayoutStyle(inner_pole=0.05), 2: LayoutStyle(most=0.7)})
    turns = style.layout_options(4, {1: 9.0}).turns
    assert turns.inner_pole == 0.3
    assert turns.region_poles == {1: 9.0, 2: USUAL_STYLE.inner_pole}
    assert turns.both == {0: 0.5, 3: 0.5}
    uneven = style.layout_options(4, {}).region_uneven
    assert uneven[2].most == 0.7 and uneven[1].most == USUAL_STYLE.most


def test_a_shelf_finds_what_lies_on_another() -> None:
    def never() -> int:
        raise AssertionError("it is there already")

    behind = Shelf(1)
    behind.keep("square", (3,), lambda: 9)
    before = Shelf(1, behind=behind)
    assert before.keep("square", (3,), never) == 9
    own = Shelf(1)
    with own.borrowing(behind):
        assert own.keep("square", (3,), never) == 9
    behind.clear()
    assert own.keep("square", (3,), never) == 9
    with pytest.raises(AssertionError):
        own.keep("square", (4,), never)


@pytest.mark.parametrize("both", [0.0, 0.5, 1.0])
def test_both_pairs_of_sides_count(both: float) -> None:
    sides: FloatArray = np.array([[8.0, 3.0, 4.0, 6.0]])
    worst, enclosed = compare_sides(sides, 1.0, both=both)
    assert worst[0] == pytest.approx((1.0 + both) * np.log(2.0))
    assert enclosed[0] == pytest.approx(6.0 * 4.5)
