"""Where quads come out poor, other layouts are tried; which is taken hangs on no line, pin or earlier wish."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from tests.conftest import globe
from tests.test_pipeline import BLUE, RED, colored

from loopwright import BuildOptions, MarksError, open_sculpt, pipeline, plan
from loopwright.errors import Cancelled, ConvergenceError, InfeasibleError
from loopwright.layout import cut_piece
from loopwright.layout.measure_uneven import compare_sides
from loopwright.options import format_color
from loopwright.shelf import Shelf
from loopwright.stages import choose_style as chosen
from loopwright.stages import lay_out
from loopwright.stages import try_style as trying
from loopwright.stages.clock import Clock
from loopwright.stages.find_regions import find_regions
from loopwright.stages.layout_style import USUAL_STYLE, LayoutStyle
from loopwright.stages.read_ground import Ground, read_ground
from loopwright.types import FloatArray, Region, Sculpt
from loopwright.wishes import FlowLine, Pin, PolePin


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
    seek_few(monkeypatch)
    monkeypatch.setattr(trying, "_FLAT_PRICE", 0.0)  # so that this sculpt, of few faces, gets another than the usual


def seek_few(patch: pytest.MonkeyPatch) -> None:
    """Let fewer styles be tried, of each kind some: what is tested of them is the same."""
    patch.setattr(chosen, "_LAYOUTS", chosen._LAYOUTS[:4])
    patch.setattr(chosen, "_COUNTS", chosen._COUNTS[1:3])
    patch.setattr(chosen, "_SINGLE", 3)
    patch.setattr(chosen, "_LAST", 2)


def ground_of(depth: int = 2) -> Ground:
    return read_ground(lobed(), Shelf(depth), Clock())


def style_for(wishes: BuildOptions, ground: Ground | None = None) -> LayoutStyle:
    """The style for these wishes, on a fresh sculpt or on one that is open."""
    there, clock = ground or ground_of(), Clock()
    return chosen.choose_style(there, find_regions(there, wishes, clock), wishes, clock)[0]


@cache
def tried() -> tuple[list[trying.Try], LayoutStyle]:
    """Every style that is tried for the lobed sculpt in order, and the one that is taken."""
    found: list[trying.Try] = []
    weigh = trying._weigh

    def note(style: LayoutStyle, *others: object, **named: bool) -> trying.Try:
        found.append(weigh(style, *others, **named))  # type: ignore[arg-type]
        return found[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chosen, "_LEAST_BUDGET", 0)
        patch.setattr(chosen, "_GOOD", 0.0)
        patch.setattr(trying, "_FLAT_PRICE", 0.0)
        patch.setattr(trying, "_weigh", note)
        style = style_for(WISHES)
    return found, style


def test_meshes_of_few_and_of_very_many_faces_have_the_usual_style(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_choose", None)
    monkeypatch.setattr(chosen, "_LEAST_BUDGET", WISHES.budget + 1)
    assert style_for(WISHES) is USUAL_STYLE
    monkeypatch.setattr(chosen, "_LEAST_BUDGET", 0)
    monkeypatch.setattr(chosen, "_MOST_BUDGET", WISHES.budget - 1)
    assert style_for(WISHES) is USUAL_STYLE


def test_the_best_of_those_tried_is_taken() -> None:
    tries, style = tried()
    assert len(tries) > len(chosen._LAYOUTS) + len(chosen._COUNTS)
    usual, *taken = tries[-1 - chosen._LAST :]  # all evened out in full and touched up
    quick = sorted([tries[0], *tries[2 : -1 - chosen._LAST]], key=lambda each: each.price)
    prices = sorted({each.price for each in quick})
    assert usual.style == USUAL_STYLE and taken[0].style == quick[0].style
    for each, price in zip(taken, prices, strict=False):
        assert each.style in [other.style for other in quick if other.price == price]
    assert style == min([usual, *taken], key=lambda each: each.price).style
    assert USUAL_STYLE not in [each.style for each in taken]  # a quick look finds this sculpt better off with others


def test_styles_that_lead_nowhere_are_passed_over(monkeypatch: pytest.MonkeyPatch) -> None:
    real = trying.StyleTrial.try_style

    def fails(
        made: trying.StyleTrial, ground: Ground, style: LayoutStyle, tries: trying.Tries, **how: bool
    ) -> trying.Try:
        if style != USUAL_STYLE:
            raise ConvergenceError("no counts")
        return real(made, ground, style, tries, **how)

    monkeypatch.setattr(chosen, "_GOOD", 0.0)
    monkeypatch.setattr(trying.StyleTrial, "try_style", fails)
    assert style_for(WISHES) == USUAL_STYLE


def test_trials_can_be_cancelled(monkeypatch: pytest.MonkeyPatch) -> None:
    shares: list[float] = []

    def progress(stage: str, done: float) -> None:
        if stage == "styles":
            shares.append(done)
            if done > 2.5 / chosen._MOST_TRIES:  # in the third try
                raise Cancelled("enough")

    monkeypatch.setattr(chosen, "_GOOD", 0.0)
    with pytest.raises(Cancelled):
        open_sculpt(lobed()).plan(WISHES, progress=progress)
    assert shares == sorted(shares)


def test_regions_take_the_style_that_is_clearly_better_there() -> None:
    usual, other = chosen._LAYOUTS[:2]
    colors = [(k, 0, 0) for k in range(4)]
    tries = [
        trying.Try(usual, 9.0, 0.1, dict(zip(colors, [4.0, 4.0, 1.0, 0.2], strict=True))),
        trying.Try(other, 12.0, 0.1, dict(zip(colors, [1.0, 3.5, 7.0, 0.0], strict=True))),
        # what counts may cost is no region's own
        trying.Try(replace(usual, extra_pole=9.0), 13.0, 0.1, dict.fromkeys(colors, 0.0)),
    ]
    # the second region is better by an eighth only, the last one by a fifth of a quad
    assert chosen._mixed(tries) == [replace(usual, regions={colors[0]: other})]
    assert chosen._mixed(tries[::2]) == []


def test_regions_change_their_style_one_at_a_time_the_most_gained_first() -> None:
    usual, other = chosen._LAYOUTS[:2]
    colors = [(k, 0, 0) for k in range(3)]
    tries = [
        trying.Try(usual, 9.0, 0.1, dict(zip(colors, [4.0, 6.0, 1.0], strict=True))),
        trying.Try(other, 12.0, 0.1, dict(zip(colors, [1.0, 2.0, 1.0], strict=True))),
    ]
    styles = chosen._one_by_one(tries)
    first = next(styles)
    assert first == replace(usual, regions={colors[1]: other})
    tries.append(trying.Try(first, 10.0, 0.1, dict.fromkeys(colors, 5.0)))  # no better in all
    second = next(styles)
    assert second == replace(usual, regions={colors[0]: other})
    tries.append(trying.Try(second, 5.0, 0.1, dict(zip(colors, [1.0, 6.0, 1.0], strict=True))))
    assert next(styles) == replace(usual, regions={colors[0]: other, colors[1]: other})  # from the best so far
    assert list(styles) == []  # nothing else is better anywhere
    same = replace(usual, regions={colors[0]: other, colors[1]: usual})  # a region with the style of all
    assert same.key() == second.key() != first.key()


def test_dearer_poles_are_tried_where_there_are_many() -> None:
    usual = USUAL_STYLE
    few, many = (list(chosen._styles([trying.Try(usual, 9.0, 0.1, {}, has_many_poles=has)])) for has in (False, True))
    more = len(chosen._WHERE_MANY_POLES) + len(chosen._FEWER_POLES)
    assert len(many) == len(few) + more
    dear = [style for style in many if style.node_pole > usual.node_pole]
    assert len(dear) == len([style for style in few if style.node_pole > usual.node_pole]) + more


def test_of_the_best_one_at_least_has_no_more_poles_than_a_mesh_should_have(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_LAST", 4)
    ranked = [trying.Try(USUAL_STYLE, k / 10, 0.1, {}, has_many_poles=k not in (5, 7)) for k in (3, 1, 7, 2, 5, 4, 6)]
    assert [each.price for each in chosen._few_best(ranked)] == [0.1, 0.2, 0.3, 0.5]
    fair = [replace(each, has_many_poles=each.price > 0.2) for each in ranked]
    assert [each.price for each in chosen._few_best(fair)] == [0.1, 0.2, 0.3, 0.4]
    many = [replace(each, has_many_poles=True) for each in ranked]
    assert [each.price for each in chosen._few_best(many)] == [0.1, 0.2, 0.3, 0.4]


def test_quads_that_come_out_well_need_no_other_style(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_GOOD", 1.01 * tried()[0][0].mean)
    monkeypatch.setattr(chosen, "_seek", None)
    assert style_for(WISHES) is USUAL_STYLE


def test_too_few_faces_are_not_mended_by_a_style(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_HOPELESS", 0.99 * tried()[0][0].mean)
    monkeypatch.setattr(chosen, "_seek", None)
    assert style_for(WISHES) is USUAL_STYLE


RED_NAME, BLUE_NAME = format_color(RED), format_color(BLUE)
OTHERS = {
    "line": replace(WISHES, lines=(FlowLine(((0.0, -1.2, 0.0), (0.5, -0.9, -0.35)), name="seam"),)),
    "size": replace(WISHES, sizes={RED_NAME: 0.12}),
    "poles": replace(WISHES, poles=(PolePin(BLUE_NAME, "none"),)),
}


@pytest.mark.parametrize("name", OTHERS)
def test_other_wishes_change_no_style(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    found: list[LayoutStyle] = []
    seek = chosen._seek

    def note(*given: object) -> list[trying.Try]:
        best = seek(*given)  # type: ignore[arg-type]
        found.append(best[0].style)
        return best

    monkeypatch.setattr(chosen, "_seek", note)
    assert style_for(WISHES) == style_for(OTHERS[name])
    assert len(found) == 2 and found[0] == found[1] != USUAL_STYLE


def test_plan_and_mesh_are_of_one_layout_in_any_order() -> None:
    first, second = open_sculpt(lobed()), open_sculpt(lobed())
    first.plan(OTHERS["line"])
    first.plan(replace(WISHES, budget=520))
    planned = first.plan(WISHES)
    built = second.build(WISHES)
    assert np.array_equal(planned.layout.counts, built.layout.counts)
    assert np.array_equal(first.build(WISHES).mesh.positions, built.mesh.positions)
    assert np.array_equal(plan(lobed(), options=WISHES).layout.counts, built.layout.counts)
    assert sum(patch.faces for patch in planned.layout.patches) == len(built.mesh.quads)


def test_a_first_change_cuts_only_what_it_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    sculpt = open_sculpt(lobed())
    sculpt.plan(WISHES)
    monkeypatch.setattr(cut_piece, "split_piece", None)
    sculpt.plan(OTHERS["poles"])


def test_wishes_that_have_no_place_in_a_style_get_the_usual_one(monkeypatch: pytest.MonkeyPatch) -> None:
    real = lay_out.lay_out

    def fails(*given: object, style: LayoutStyle, **named: object) -> object:
        if style != USUAL_STYLE:
            raise InfeasibleError("no room")
        return real(*given, style=style, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(pipeline, "lay_out", fails)
    made = open_sculpt(lobed()).plan(WISHES)
    monkeypatch.setattr(pipeline, "choose_style", lambda *given, **named: (USUAL_STYLE, None))
    assert np.array_equal(open_sculpt(lobed()).plan(WISHES).layout.counts, made.layout.counts)


def test_pins_on_no_border_are_told_before_styles_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    points, triangles = globe(20)
    apart = colored(points, triangles, (points[:, 2] > 0.7, RED), (points[:, 2] < -0.7, BLUE))
    monkeypatch.setattr(chosen, "_choose", None)
    with pytest.raises(MarksError, match="share no border"):
        open_sculpt(apart).plan(replace(WISHES, pins=(Pin(RED_NAME, BLUE_NAME, 8),)))


def test_names_that_mean_nothing_are_told_before_styles_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipeline, "choose_style", None)
    for asked in ({"pins": (Pin("nose", RED_NAME, 8),)}, {"poles": (PolePin("nose", "none"),)}):
        with pytest.raises(MarksError, match="nose"):
            open_sculpt(lobed()).plan(replace(WISHES, **asked))


def test_a_wish_for_poles_goes_before_the_style_of_a_region() -> None:
    regions = [Region(f"area {k}", (k, 0, 0)) for k in range(4)]
    own = {(1, 0, 0): LayoutStyle(inner_pole=0.05), (2, 0, 0): LayoutStyle(most=0.7), (9, 9, 9): LayoutStyle(most=9.0)}
    style = LayoutStyle(inner_pole=0.3, both=0.5, regions=own)
    turns = style.layout_options(regions, {1: 9.0}).turns
    assert turns.inner_pole == 0.3
    assert turns.region_poles == {1: 9.0, 2: USUAL_STYLE.inner_pole}
    assert turns.both == {0: 0.5, 3: 0.5}
    uneven = style.layout_options(regions[1:], {}).region_uneven  # colours stay where indices shift
    assert uneven[1].most == 0.7 and uneven[0].most == USUAL_STYLE.most and len(uneven) == 2


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
    behind.keep("square", (4,), lambda: 16)
    none = Shelf(0)
    with none.borrowing(behind, anew=("cube",)):
        behind.keep("cube", (2,), lambda: 8)
        assert none.keep("square", (4,), never) == 16
        with pytest.raises(AssertionError):
            none.keep("cube", (2,), never)


@pytest.mark.parametrize("both", [0.0, 0.5, 1.0])
def test_both_pairs_of_sides_count(both: float) -> None:
    sides: FloatArray = np.array([[8.0, 3.0, 4.0, 6.0]])
    worst, enclosed = compare_sides(sides, 1.0, both=both)
    assert worst[0] == pytest.approx((1.0 + both) * np.log(2.0))
    assert enclosed[0] == pytest.approx(6.0 * 4.5)


def test_where_counts_are_hard_no_style_is_sought(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_GOOD", 0.0)
    assert style_for(WISHES) != USUAL_STYLE
    monkeypatch.setattr(trying, "_BRANCHES", 1)
    assert style_for(WISHES) == USUAL_STYLE


def test_counts_that_a_build_waited_for_change_no_style(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chosen, "_GOOD", 0.0)
    monkeypatch.setattr(trying, "_BRANCHES", 1)
    ground, other = ground_of(), replace(WISHES, mirror_shape=True)  # which is the same, as there is no mirror
    pipeline.plan_on(ground, WISHES, Clock())
    assert style_for(other, ground) == style_for(other) == USUAL_STYLE
