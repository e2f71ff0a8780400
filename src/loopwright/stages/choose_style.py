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
from dataclasses import dataclass, replace

import numpy as np

from loopwright.errors import Cancelled, LoopwrightError
from loopwright.fit.keep_paint import SAFE_LEAD
from loopwright.fit.measure_quality import QualityReport, measure_quality
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.relax import RelaxOptions, relax
from loopwright.layout.size_steps import surface_extent
from loopwright.options import BuildOptions
from loopwright.shelf import Shelf
from loopwright.stages.clock import Clock
from loopwright.stages.even_out import even_out
from loopwright.stages.find_regions import FoundRegions, find_regions
from loopwright.stages.find_sizes import find_sizes
from loopwright.stages.hold_places import hold_places
from loopwright.stages.keep_in_paint import keep_in_paint, paint_index
from loopwright.stages.lay_out import lay_out
from loopwright.stages.layout_style import USUAL_STYLE, LayoutStyle
from loopwright.stages.make_quads import make_quads
from loopwright.stages.read_ground import Ground
from loopwright.types import FloatArray, QuadMesh, RegionSurface

_LAYOUTS = (
    LayoutStyle(both=1.0),
    LayoutStyle(most=0.7, gain=0.15, least_area=8.0),
    LayoutStyle(inner_pole=0.05),
    LayoutStyle(node_pole=0.5),
    LayoutStyle(both=1.0, inner_pole=0.05),
    LayoutStyle(most=1.5),
)
_COUNTS: tuple[Callable[[LayoutStyle], LayoutStyle], ...] = (
    lambda style: replace(style, extra_pole=7.0),
    lambda style: replace(style, oblong=0.5),
    lambda style: replace(style, unlike=0.5),
    lambda style: replace(style, extra_pole=2.5),
    lambda style: replace(style, oblong=0.35),
    lambda style: replace(style, extra_pole=5.0, unlike=0.3),
)
_SOUND, _LONG = 0.82, 2.5  # scaled Jacobian below which, and aspect above which, a quad lacks something
_LONG_PRICE = 0.2  # of aspect against scaled Jacobian
_WORST = 2.0  # how much more it counts, at the square, that a quad lacks much
_FLAT, _FLAT_PRICE = 0.25, 6.0  # scaled Jacobian below which a quad is of no use, and what it costs then
_PAINT_PRICE = 1.5  # of what a quad lacks of its paint
_POLE_PRICE, _MANY_PRICE = 0.1, 0.5  # of a pole, in quads that lack everything; and beyond ``_MANY`` of all quads
_MANY = 0.02
_LEAST_BUDGET, _MOST_BUDGET = 2000, 20_000  # faces: quads of fewer are rough anyway, of more they take long to try
_STYLES = 32  # times as many styles are kept as results of a stage
_GOOD, _HOPELESS = 0.003, 0.035  # mean lack of all quads up to which, and from which, nothing else is tried
_CLEARLY = 0.7, 0.3  # share of a region's lack, and quads, by which another style must be better there
_QUICK = RelaxOptions(rounds=12, retries=0, mends=False)  # it ranks meshes nearly as all rounds do
_MOST_TRIES = len(_LAYOUTS) + len(_COUNTS) + 6  # those of mixed styles, and those in full, counted
_KEPT = 16  # results of each stage while styles are tried


@dataclass(frozen=True)
class _Try:
    """A style, and what the quads lack with it.

    Attributes
    ----------
    price : the mean, with paint and poles counted.
    mean : of shape alone.
    by_region : sum, with paint, by colour.
    """

    style: LayoutStyle
    price: float
    mean: float
    by_region: dict[tuple[int, int, int], float]


def choose_style(
    ground: Ground,
    regions: FoundRegions,
    wishes: BuildOptions,
    clock: Clock,
    *,
    before: Callable[[], None] = lambda: None,
) -> tuple[LayoutStyle, Shelf | None]:
    """Return the style of the layout, and a shelf with what was made for it; None where it was known.

    It depends on the sculpt, what is left open, the mirror, the proxy and the budget alone. Where the sculpt has no
    paint and lines are drawn, they are its layout: that has the usual style. So have meshes of few faces, and of very
    many.

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
    shelf = Shelf(_KEPT, behind=ground.shelf)
    made: list[Shelf] = []

    def choose() -> LayoutStyle:
        before()
        made.append(shelf)
        try:
            with clock.stage("styles"):
                return _choose(replace(ground, shelf=shelf), None if wishes.lines else regions, bare, clock)
        except Cancelled:
            raise
        except LoopwrightError:
            return USUAL_STYLE  # what stands in the way is told when the wishes themselves are planned

    style = ground.shelf.keep("style", (bare,), choose, parts=_STYLES)
    return style, made[0] if made else None


def _choose(ground: Ground, regions: FoundRegions | None, bare: BuildOptions, clock: Clock) -> LayoutStyle:
    """Choose the style for wishes of which these regions come, if they are known."""
    share = _Share(clock)
    regions = regions or find_regions(ground, bare, share.clock)
    surface, vertex_size, _ = find_sizes(ground, regions, bare, share.clock)
    made = _Made(bare, regions, surface, vertex_size, surface_extent(regions.painted))
    first = made.try_style(ground, USUAL_STYLE, share)
    if not _GOOD < first.mean < _HOPELESS:  # beyond that there are too few faces for the regions
        return USUAL_STYLE
    usual = made.try_style(ground, USUAL_STYLE, share, is_quick=False)
    if usual.mean <= _GOOD:  # a quick look finds some meshes poorer than they come out
        return USUAL_STYLE
    best = _seek(made, ground, first, share)
    if best.style == USUAL_STYLE:
        return USUAL_STYLE
    last = [made.try_style(ground, style, share, is_quick=False, in_paint=True) for style in (USUAL_STYLE, best.style)]
    return min(last, key=lambda each: each.price).style


class _Share:
    """Tells the progress of all tries as that of one stage.

    Attributes
    ----------
    clock : for the stages of a try.
    """

    def __init__(self, clock: Clock) -> None:
        self._whole, self._tries = clock, 0
        self.clock = Clock(self._tell)

    def _tell(self, stage: str, done: float) -> None:
        self._whole.progress("styles", min(self._tries / _MOST_TRIES, 0.99))

    def next(self) -> None:
        """Count a try."""
        self._tries += 1


def _seek(made: _Made, ground: Ground, first: _Try, share: _Share) -> _Try:
    """Try styles one after the other until one is good, and return the best."""
    tried = [first]
    for style in _styles(tried):
        try:
            tried.append(made.try_style(ground, style, share))
        except Cancelled:
            raise
        except LoopwrightError:
            continue
        if _best(tried).mean <= _GOOD:
            break
    return _best(tried)


def _styles(tried: Sequence[_Try]) -> Iterator[LayoutStyle]:
    """Yield the styles to try, the later ones by what came of those before."""
    yield from _LAYOUTS
    yield from _mixed(tried)
    for change in _COUNTS:
        yield change(_best(tried).style)
    yield from _mixed(tried)


def _mixed(tried: Sequence[_Try]) -> list[LayoutStyle]:
    """Return the best style with others in the regions where those did clearly better; none if there are none."""
    best = _best(tried)
    regions = {}
    for color, lack in best.by_region.items():
        own = best.style.regions.get(color, best.style).for_region()
        others = [each for each in tried if each.style.regions.get(color, each.style).for_region() != own]
        if others:
            other = min(others, key=lambda each: each.by_region[color])
            if other.by_region[color] < min(_CLEARLY[0] * lack, lack - _CLEARLY[1]):
                regions[color] = replace(other.style.regions.get(color, other.style), regions={})
    return [replace(best.style, regions={**best.style.regions, **regions})] if regions else []


def _best(tried: Sequence[_Try]) -> _Try:
    return min(tried, key=lambda each: each.price)


@dataclass(frozen=True)
class _Made:
    """What is the same for all styles."""

    wishes: BuildOptions
    regions: FoundRegions
    surface: RegionSurface
    vertex_size: FloatArray
    extent: float

    def try_style(
        self, ground: Ground, style: LayoutStyle, share: _Share, *, is_quick: bool = True, in_paint: bool = False
    ) -> _Try:
        """Lay out, fill and even out, quickly or as a build does, and measure what comes of it.

        Parameters
        ----------
        in_paint : quads are grown for their paint too, as a build does, where both halves are equal.
        """
        share.next()
        clock, extent = share.clock, self.extent
        layout, _ = lay_out(ground, self.surface, self.vertex_size, self.wishes, clock, extent=extent, style=style)
        mesh = make_quads(ground, layout, clock)
        if is_quick:
            evened = ground.shelf.keep(
                "quick look",
                (mesh,),
                lambda: relax(mesh, ground.projector, options=_QUICK, progress=clock.progress),
            )
        else:
            evened = even_out(ground, hold_places(mesh, (), ground.projector)[0], self.surface.positions, clock)
        if in_paint and self.regions.is_equal and len(self.regions.paint.palette) > 1:
            evened = keep_in_paint(ground, evened, self.regions.paint, clock.progress).mesh
        return _weigh(style, evened, self._lack_of_paint(ground, evened), is_last=in_paint)

    def _lack_of_paint(self, ground: Ground, mesh: QuadMesh) -> FloatArray:
        """Return (m,) how much each quad's own colour lacks of a sure lead, as a share of its samples."""
        paint = self.regions.paint
        if len(paint.palette) < 2:
            return np.zeros(len(mesh.quads))
        whole = mesh if self.regions.is_equal else replace(mesh, mirror=None)  # sides of their own keep theirs
        lead, _ = PaintSampler(whole, paint, paint_index(ground, paint)).lead(mesh.positions)
        return np.maximum(SAFE_LEAD - lead, 0.0)


def _lack(quality: QualityReport) -> FloatArray:
    """Return (m,) how much each quad lacks of a sound shape."""
    lack: FloatArray = np.maximum(_SOUND - quality.scaled_jacobian, 0.0)
    return lack + _LONG_PRICE * np.clip(quality.aspect - _LONG, 0.0, _LONG)


def _weigh(style: LayoutStyle, mesh: QuadMesh, unpainted: FloatArray, *, is_last: bool = False) -> _Try:
    """Price a mesh of quads that lack so much of their paint; the worst count for more in the last look."""
    quality = measure_quality(mesh.positions, mesh.quads)
    shape = _lack(quality)
    lack, count = shape + _PAINT_PRICE * unpainted, len(mesh.quads)
    if is_last:
        lack += _WORST * shape**2 + _FLAT_PRICE * (quality.scaled_jacobian < _FLAT)
    by_region = np.bincount(mesh.quad_region, weights=lack, minlength=len(mesh.regions)).tolist()
    poles = sum(quality.poles.values())
    price = float(lack.sum()) + _POLE_PRICE * poles + _MANY_PRICE * max(0.0, poles - _MANY * count)
    colors = [region.color for region in mesh.regions]
    return _Try(style, price / count, float(shape.mean()), dict(zip(colors, by_region, strict=True)))
