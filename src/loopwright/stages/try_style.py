"""Try a style: lay out, fill and even out in it, and price what the quads lack."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loopwright.fit.measure_lack import FLAT, lack_of_paint, lack_of_shape
from loopwright.fit.measure_quality import QualityReport, measure_quality
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.relax import RelaxOptions, relax
from loopwright.fit.search_places import MOST_LONG, TOO_LONG
from loopwright.fit.touch_up import touch_up
from loopwright.options import BuildOptions
from loopwright.stages.clock import Clock
from loopwright.stages.even_out import even_out
from loopwright.stages.find_regions import FoundRegions
from loopwright.stages.hold_places import hold_places
from loopwright.stages.keep_in_paint import paint_index
from loopwright.stages.lay_out import lay_out
from loopwright.stages.layout_style import LayoutStyle
from loopwright.stages.make_quads import make_quads
from loopwright.stages.read_ground import Ground
from loopwright.stages.wished_sizes import face_goal
from loopwright.types import FloatArray, QuadMesh, RegionSurface

_LONG = 2.2  # aspect above which a quad lacks something
_LONG_PRICE = 0.3  # of aspect against scaled Jacobian
_EXCESS_PRICE = 0.5  # of a quad that is too long, beyond what is many, at last
_WORST = 2.0  # how much more it counts, at the square, that a quad lacks much
_FLAT_PRICE = 6.0  # of a quad that is of no use
_LOST_PRICE = 4.0  # of a quad that other paint outweighs, after all that can be done for it
_POLE_PRICE = 0.1  # of a pole, in quads that lack everything
_MANY, _MANY_PRICE = 0.02, 0.6  # of the quads wished for: what poles beyond that cost besides, and ...
_TOO_MANY, _TOO_MANY_PRICE = 100, 6.0  # ... what those cost that are beyond so many of the whole mesh as well, ...
_LAST_DEARER = 6.0  # ... times this in the last look: one such layout is not taken for a little more shape
_BRANCHES = 50  # for which counts are waited for: where they take more, styles would be sought for minutes
_QUICK = RelaxOptions(rounds=12, retries=0, mends=False)  # it ranks meshes much as all rounds do
_QUICK_SHARE = 0.6  # of what quads lack after it is still lacking after all rounds


@dataclass(frozen=True)
class Try:
    """A style, and what the quads lack with it.

    Attributes
    ----------
    price : the mean, with paint and poles counted.
    mean : of shape alone.
    by_region : sum, with paint, by colour.
    has_many_poles : more than a mesh of as many quads as are wished for should have.
    """

    style: LayoutStyle
    price: float
    mean: float
    by_region: dict[tuple[int, int, int], float]
    has_many_poles: bool = False


class Tries:
    """Tells the progress of all tries, ``most`` at most, as that of one stage.

    Attributes
    ----------
    clock : for the stages of a try.
    """

    def __init__(self, clock: Clock, most: int) -> None:
        self._whole, self._most, self._count = clock, most, 0
        self.clock = Clock(self._tell)

    def _tell(self, stage: str, done: float) -> None:
        self._whole.progress("styles", min(self._count / self._most, 0.99))

    def next(self) -> None:
        """Count a try."""
        self._count += 1


@dataclass(frozen=True)
class StyleTrial:
    """Tries styles on what is the same for all of them."""

    wishes: BuildOptions
    regions: FoundRegions
    surface: RegionSurface
    vertex_size: FloatArray
    extent: float

    def try_style(
        self, ground: Ground, style: LayoutStyle, tries: Tries, *, is_quick: bool = True, is_touched_up: bool = False
    ) -> Try:
        """Lay out, fill and even out, quickly or as a build does, and measure what comes of it.

        Parameters
        ----------
        is_touched_up : as a build does it, but before the limit surface is laid on.
        """
        tries.next()
        clock, extent = tries.clock, self.extent
        layout, _ = lay_out(
            ground, self.surface, self.vertex_size, self.wishes, clock, extent=extent, style=style, patience=_BRANCHES
        )
        mesh = make_quads(ground, layout, clock)
        if is_quick:
            evened = ground.shelf.keep(
                "quick look",
                (mesh,),
                lambda: relax(mesh, ground.projector, options=_QUICK, progress=clock.progress),
            )
        else:
            evened = even_out(ground, hold_places(mesh, (), ground.projector)[0], self.surface.positions, clock)
        sampler = self._sampler(ground, evened)
        if is_touched_up:  # sides of their own find theirs later
            seen = sampler if self.regions.is_equal else None
            evened = touch_up(evened, ground.projector, seen, progress=clock.progress, is_quick=True)
        lead = sampler.lead(evened.positions)[0] if sampler else np.ones(len(evened.quads))
        return _weigh(style, evened, lead, face_goal(self.surface, self.wishes), is_last=is_touched_up)

    def _sampler(self, ground: Ground, mesh: QuadMesh) -> PaintSampler | None:
        """Return what samples this mesh's paint; one side alone where both have their own."""
        paint = self.regions.paint
        if len(paint.palette) < 2:
            return None
        seen = mesh if self.regions.is_equal else replace(mesh, mirror=None)
        return PaintSampler(seen, paint, paint_index(ground, paint))


def _lack(quality: QualityReport) -> FloatArray:
    """Return (m,) how much each quad lacks of a sound shape."""
    return lack_of_shape(quality.scaled_jacobian) + _LONG_PRICE * np.clip(quality.aspect - _LONG, 0.0, _LONG)


def _weigh(style: LayoutStyle, mesh: QuadMesh, lead: FloatArray, goal: float, *, is_last: bool = False) -> Try:
    """Price a mesh of quads whose own paint leads by so much; the worst count for more in the last look.

    Parameters
    ----------
    goal : the wished number of quads.
    """
    quality = measure_quality(mesh.positions, mesh.quads)
    shape = _lack(quality)
    lack, count = shape + lack_of_paint(lead), len(mesh.quads)
    if is_last:
        lack += _LOST_PRICE * (lead <= 0.0)
        lack += _WORST * shape**2 + _FLAT_PRICE * (quality.scaled_jacobian < FLAT)
        long = quality.aspect > TOO_LONG
        lack[long] += _EXCESS_PRICE * max(0.0, 1.0 - MOST_LONG * count / max(long.sum(), 1))
    by_region = np.bincount(mesh.quad_region, weights=lack, minlength=len(mesh.regions)).tolist()
    poles = sum(quality.poles.values())
    fair = _MANY * goal
    most = max(fair, _TOO_MANY / (1 if mesh.mirror is None else 2))  # regions do not get fewer with the quads
    many, too_many = max(0.0, min(poles, most) - fair), max(0.0, poles - most)
    price = float(lack.sum()) * (1.0 if is_last else _QUICK_SHARE) + _POLE_PRICE * poles
    price += _MANY_PRICE * many + _TOO_MANY_PRICE * too_many * (_LAST_DEARER if is_last else 1.0)
    colors = [region.color for region in mesh.regions]
    return Try(style, price / count, float(shape.mean()), dict(zip(colors, by_region, strict=True)), too_many > 0.0)
