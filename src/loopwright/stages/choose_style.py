"""Choose the style of a layout by what counts: how good the quads are once they are evened out.

What a fill looks like on the sculpt can hardly be foretold from corners, cuts
and counts. So a mesh is evened out while it is planned; where its quads come
out poor, layouts of other styles are made too, and the best of them, region
by region, is taken. All this is done for the paint and the budget alone, so
that on a painted sculpt lines, pins, sizes and edits change what they are
about and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from loopwright.errors import Cancelled, LoopwrightError
from loopwright.layout.size_steps import surface_extent
from loopwright.options import BuildOptions
from loopwright.shelf import Shelf
from loopwright.stages.clock import Clock
from loopwright.stages.find_regions import FoundRegions, find_regions
from loopwright.stages.find_sizes import find_sizes
from loopwright.stages.layout_style import USUAL_STYLE, LayoutStyle
from loopwright.stages.read_ground import Ground
from loopwright.stages.try_style import StyleTrial, Tries, Try

_LAYOUTS = (
    LayoutStyle(both=1.0),
    LayoutStyle(most=0.7, gain=0.15, least_area=8.0),
    LayoutStyle(inner_pole=0.05),
    LayoutStyle(node_pole=0.5),
    LayoutStyle(both=1.0, inner_pole=0.05),
    LayoutStyle(most=1.5),
    LayoutStyle(ring=0.0),
    LayoutStyle(both=1.0, ring=0.0, ring_wander=1.4),
    LayoutStyle(ring=-0.2, ring_wander=1.1, most=0.7, gain=0.15, least_area=8.0),
    LayoutStyle(quarter=0.3, most=0.7, gain=0.15, least_area=8.0),
    LayoutStyle(quarter=0.3, both=1.0, inner_pole=0.05),
    LayoutStyle(quarter=0.15),
    LayoutStyle(quarter=0.3, extra_pole=2.5),
    LayoutStyle(node_pole=1.0),
    LayoutStyle(node_pole=1.0, most=0.7, gain=0.15, least_area=8.0),
)
_WHERE_MANY_POLES = (  # tried besides where the usual style has more poles than a mesh should have
    LayoutStyle(node_pole=1.0, extra_pole=2.5, unlike=0.5),
    LayoutStyle(node_pole=1.0, most=0.7, gain=0.15, least_area=8.0, extra_pole=7.0, unlike=0.5),
)
_COUNTS: tuple[Callable[[LayoutStyle], LayoutStyle], ...] = (
    lambda style: replace(style, extra_pole=7.0),
    lambda style: replace(style, oblong=0.5),
    lambda style: replace(style, unlike=0.5),
    lambda style: replace(style, extra_pole=2.5),
    lambda style: replace(style, oblong=0.35),
    lambda style: replace(style, extra_pole=5.0, unlike=0.3),
)
_FEWER_POLES: tuple[Callable[[LayoutStyle], LayoutStyle], ...] = (
    lambda style: replace(style, node_pole=1.0, inner_pole=0.4, regions={}),
    lambda style: replace(style, node_pole=1.0, inner_pole=0.4, ring=0.0, regions={}),
    lambda style: replace(style, node_pole=0.5),
)
_LEAST_BUDGET, _MOST_BUDGET = 2000, 20_000  # faces: quads of fewer are rough anyway, of more they take long to try
_STYLES = 32  # times as many styles are kept as results of a stage
_GOOD, _HOPELESS = 0.005, 0.15  # mean lack of all quads up to which, and from which, nothing else is tried
_CLEARLY = 0.7, 0.3  # share of a region's lack, and quads, by which another style must be better there
_SINGLE = 6  # tries in which one region gets another style
_OTHERS = 9  # tries of mixed styles, and in full
_MOST_TRIES = len((*_LAYOUTS, *_WHERE_MANY_POLES, *_COUNTS, *_FEWER_POLES)) + _SINGLE + _OTHERS
_LAST = 4  # of the best styles are looked at in full, besides the usual one
_KEPT = 16  # results of each stage while styles are tried


def choose_style(
    ground: Ground,
    regions: FoundRegions,
    wishes: BuildOptions,
    clock: Clock,
    *,
    before: Callable[[], None] = lambda: None,
) -> tuple[LayoutStyle, Shelf | None]:
    """Return the style of the layout, and a shelf with what was made to find it, None where none is sought.

    It depends on the sculpt, what is left open, the mirror, the proxy and the budget alone. Where the sculpt has no
    paint and lines are drawn, they are its layout: that has the usual style. So have meshes of few faces, and of very
    many, and sculpts whose counts are hard to find.

    Parameters
    ----------
    regions : for these wishes.
    before : what is done first where a style has to be sought: it may raise, and then is not waited for.
    """
    is_drawn = bool(wishes.lines) and len(regions.paint.palette) < 2
    if is_drawn or not _LEAST_BUDGET <= wishes.budget <= _MOST_BUDGET:
        return USUAL_STYLE, None
    bare = BuildOptions(
        budget=wishes.budget,
        leave_open=wishes.leave_open,
        mirror=wishes.mirror,
        mirror_shape=wishes.mirror_shape,
        proxy_faces=wishes.proxy_faces,
    )
    shelf = Shelf(_KEPT)

    def choose() -> LayoutStyle:
        before()
        try:
            # counts that a build waited for are not known here: a style shall not hang on what was made before
            with clock.stage("styles"), shelf.borrowing(ground.shelf, anew=("counts", "freed pins")):
                return _choose(replace(ground, shelf=shelf), None if wishes.lines else regions, bare, clock)
        except Cancelled:
            raise
        except LoopwrightError:
            return USUAL_STYLE  # what stands in the way is told when the wishes themselves are planned

    return ground.shelf.keep("style", (bare,), choose, parts=_STYLES), shelf


def _choose(ground: Ground, regions: FoundRegions | None, bare: BuildOptions, clock: Clock) -> LayoutStyle:
    """Choose the style for wishes of which these regions come, if they are known."""
    tries = Tries(clock, _MOST_TRIES)
    regions = regions or find_regions(ground, bare, tries.clock)
    surface, vertex_size, _ = find_sizes(ground, regions, bare, tries.clock)
    trial = StyleTrial(bare, regions, surface, vertex_size, surface_extent(regions.painted))
    first = trial.try_style(ground, USUAL_STYLE, tries)
    if not _GOOD < first.mean < _HOPELESS:  # beyond that there are too few faces for the regions
        return USUAL_STYLE
    usual = trial.try_style(ground, USUAL_STYLE, tries, is_quick=False)
    if usual.mean <= _GOOD:  # a quick look finds some meshes poorer than they come out
        return USUAL_STYLE
    best = _seek(trial, ground, first, tries)
    if best[0].style == USUAL_STYLE:
        return USUAL_STYLE
    styles = [USUAL_STYLE, *(each.style for each in best if each.style != USUAL_STYLE)]
    last = [trial.try_style(ground, style, tries, is_quick=False, is_touched_up=True) for style in styles]
    return min(last, key=lambda each: each.price).style


def _seek(trial: StyleTrial, ground: Ground, first: Try, tries: Tries) -> list[Try]:
    """Try styles one after the other until one is good, and return the best."""
    tried = [first]
    for style in _styles(tried):
        try:
            tried.append(trial.try_style(ground, style, tries))
        except Cancelled:
            raise
        except LoopwrightError:
            continue
        if _best(tried).mean <= _GOOD:
            break
    return _few_best(tried)


def _few_best(tried: Sequence[Try]) -> list[Try]:
    """Return the best, of each price the first; at least one with no more poles than a mesh should have, if any has."""
    unlike = {each.price: each for each in reversed(tried)}
    ranked = sorted(unlike.values(), key=lambda each: each.price)
    best, fair = ranked[:_LAST], [each for each in ranked if not each.has_many_poles]
    return best if not fair or fair[0] in best else [*best[:-1], fair[0]]


def _styles(tried: Sequence[Try]) -> Iterator[LayoutStyle]:
    """Yield the styles to try, the later ones by what came of those before."""
    yield from _LAYOUTS
    if tried[0].has_many_poles:
        yield from _WHERE_MANY_POLES
    yield from _mixed(tried)
    for change in _COUNTS:
        yield change(_best(tried).style)
    for change in _FEWER_POLES:
        if _best(tried).has_many_poles:
            yield change(_best(tried).style)
    yield from _mixed(tried)
    yield from _one_by_one(tried)


def _mixed(tried: Sequence[Try]) -> list[LayoutStyle]:
    """Return the best style with others in the regions where those did clearly better; none if there are none."""
    best = _best(tried)
    regions = dict(_better(tried))
    return [replace(best.style, regions={**best.style.regions, **regions})] if regions else []


def _one_by_one(tried: Sequence[Try]) -> Iterator[LayoutStyle]:
    """Yield the best style so far with another in one region: where several change at once, counts tell on others."""
    seen = {each.style.key() for each in tried}  # and, as they come, those that cannot be laid out
    left = _SINGLE
    while left:
        best = _best(tried)
        styles = [replace(best.style, regions={**best.style.regions, color: style}) for color, style in _better(tried)]
        fresh = next((style for style in styles if style.key() not in seen), None)
        if fresh is None:
            return
        seen.add(fresh.key())
        count = len(tried)
        yield fresh
        if len(tried) == count or tried[-1].price != best.price:  # one that changes nothing takes little time
            left -= 1


def _better(tried: Sequence[Try]) -> list[tuple[tuple[int, int, int], LayoutStyle]]:
    """Return, for each region where another style did clearly better than the best, that style; most gained first."""
    best = _best(tried)
    found = []
    for color, lack in best.by_region.items():
        own = best.style.regions.get(color, best.style).for_region()
        others = [each for each in tried if each.style.regions.get(color, each.style).for_region() != own]
        if others:
            other = min(others, key=lambda each: each.by_region[color])
            if other.by_region[color] < min(_CLEARLY[0] * lack, lack - _CLEARLY[1]):
                style = replace(other.style.regions.get(color, other.style), regions={})
                found.append((lack - other.by_region[color], color, style))
    return [(color, style) for _, color, style in sorted(found, key=lambda each: (-each[0], each[1]))]


def _best(tried: Sequence[Try]) -> Try:
    return min(tried, key=lambda each: each.price)
