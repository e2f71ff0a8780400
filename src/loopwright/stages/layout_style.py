"""Styles: the weights by which corners, cuts and counts are chosen, for a whole sculpt and for single regions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from loopwright.counts.count_options import CountOptions
from loopwright.layout.measure_uneven import UnevenOptions
from loopwright.layout.plan_layout import LayoutOptions
from loopwright.layout.plan_turns import TurnOptions
from loopwright.types import Region

_TURNS, _UNEVEN, _COUNTS = TurnOptions(), UnevenOptions(), CountOptions()


@dataclass(frozen=True)
class LayoutStyle:
    """One way to weigh what a layout may cost; the defaults are those of the options they stand for.

    Attributes
    ----------
    node_pole, inner_pole : see :class:`~loopwright.layout.plan_turns.TurnOptions`.
    both, most, gain, least_area, ring, ring_wander, quarter : see
        :class:`~loopwright.layout.measure_uneven.UnevenOptions`.
    extra_pole, oblong, unlike : see :class:`~loopwright.counts.count_options.CountOptions`; the last is its ``uneven``.
    regions : styles of regions, by their colours, for which ``inner_pole`` and the second line are others.
    """

    node_pole: float = _TURNS.node_pole
    inner_pole: float = _TURNS.inner_pole
    both: float = _UNEVEN.both
    most: float = _UNEVEN.most
    gain: float = _UNEVEN.gain
    least_area: float = _UNEVEN.least_area
    ring: float = _UNEVEN.ring
    ring_wander: float = _UNEVEN.ring_wander
    quarter: float = _UNEVEN.quarter
    extra_pole: float = _COUNTS.extra_pole
    oblong: float = _COUNTS.oblong
    unlike: float = _COUNTS.uneven
    regions: Mapping[tuple[int, int, int], LayoutStyle] = field(default_factory=dict)

    def layout_options(self, regions: Sequence[Region], asked: Mapping[int, float]) -> LayoutOptions:
        """Return the options of the layout stage.

        Parameters
        ----------
        regions : of the surface; their indices are those of the options.
        asked : what one pole costs in the turn plan, by region index, where the artist has a wish for it.
        """
        each = {index: self.regions.get(region.color, self) for index, region in enumerate(regions)}
        inner = {region: style.inner_pole for region, style in each.items() if style.inner_pole != self.inner_pole}
        turns = TurnOptions(
            node_pole=self.node_pole,
            inner_pole=self.inner_pole,
            both={region: style.both for region, style in each.items() if style.both},
            region_poles={**inner, **asked},
        )
        own = {region: style._uneven() for region, style in each.items() if style is not self}
        return LayoutOptions(turns=turns, uneven=self._uneven(), region_uneven=own)

    def count_options(self, factors: Mapping[int, float]) -> CountOptions:
        """Return the options of the counts; ``factors`` on what a pole costs, by region index, are the artist's."""
        return CountOptions(extra_pole=self.extra_pole, oblong=self.oblong, uneven=self.unlike, region_poles=factors)

    def for_region(self) -> tuple[float, ...]:
        """Return what a region may have of its own."""
        return (
            self.inner_pole,
            self.both,
            self.most,
            self.gain,
            self.least_area,
            self.ring,
            self.ring_wander,
            self.quarter,
        )

    def key(self) -> tuple[object, ...]:
        """Return what tells this style from others, as a value that can be in a set."""
        own = self.for_region()
        others = (
            (color, style.for_region()) for color, style in sorted(self.regions.items(), key=lambda item: item[0])
        )
        regions = tuple(other for other in others if other[1] != own)
        return (*own, self.node_pole, self.extra_pole, self.oblong, self.unlike, *regions)

    def _uneven(self) -> UnevenOptions:
        return UnevenOptions(
            most=self.most,
            gain=self.gain,
            least_area=self.least_area,
            both=self.both,
            ring=self.ring,
            ring_wander=self.ring_wander,
            quarter=self.quarter,
        )


USUAL_STYLE = LayoutStyle()
"""The style that most sculpts have."""
