"""Refuse wishes for what is painted but no region of the mesh, and say what it is instead."""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.counts.find_region import find_region
from loopwright.counts.read_pins import OPENING, is_opening
from loopwright.errors import UnknownRegionError
from loopwright.marks.options import MarksReport, RegionShare
from loopwright.options import BuildOptions
from loopwright.stages.read_ground import Ground
from loopwright.stages.tell_mirror import lost_behind, plane_that_fits
from loopwright.types import Region, RegionSurface


def check_names(report: MarksReport, painted: RegionSurface, ground: Ground, wishes: BuildOptions) -> None:
    """Raise where a size, a pin or a wish for poles names a colour that is left open, or of which nothing is left.

    Names that mean nothing at all are left to those who use them.

    Raises
    ------
    UnknownRegionError : says why it is no region, and what to write or do instead.
    """
    for name, opening in _wished(wishes, painted):
        if _finds(painted.regions, name) is None:
            found = _finds(tuple(Region(share.name, share.color) for share in report.regions), name)
            if found is not None:
                share = report.regions[found]
                raise UnknownRegionError(_why(share, name, opening, report, painted, ground, wishes), places=[name])


def _wished(wishes: BuildOptions, painted: RegionSurface) -> Iterator[tuple[str, str]]:
    """Yield names of regions in the wishes, and how a pin names the opening if it is meant; empty for other wishes."""
    yield from ((name, "") for name in wishes.sizes)
    for pin in wishes.pins:
        for name, other in ((pin.region_a, pin.region_b), (pin.region_b, pin.region_a)):
            if not is_opening(painted.regions, name):
                yield name, f"{other}/{OPENING}"
    yield from ((pole.region, "") for pole in wishes.poles)


def _finds(regions: tuple[Region, ...], name: str) -> int | None:
    try:
        return find_region(regions, name)
    except UnknownRegionError:
        return None


def _why(
    share: RegionShare,
    name: str,
    opening: str,
    report: MarksReport,
    painted: RegionSurface,
    ground: Ground,
    wishes: BuildOptions,
) -> str:
    if share.is_open:
        way = f"write {opening} for where that region ends at an opening" if opening else "leave the wish out"
        return f'"{name}" is left open, so it is no region but an opening and has no faces; {way}.'
    if share.name in lost_behind(report, painted, ground):
        text = f'The region "{name}" is painted only on the half that the mirror plane leaves out'
        if fits := plane_that_fits(report, ground, wishes):
            return f"{text}, and the sculpt is not mirrored across that plane. {fits}"
        return f"{text}: paint both halves alike, or cover the sculpt as a whole (--mirror none)."
    return f'The region "{name}" is painted, but too small to be meant, so it is none: paint it larger.'
