"""The stage that ends regions where they run out too thin for a face, and tells so."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

from loopwright.counts.find_region import find_region
from loopwright.counts.read_pins import OPENING
from loopwright.errors import MarksError
from loopwright.marks.blunt_ends import RIM, Blunted, blunt_ends
from loopwright.options import BuildOptions
from loopwright.stages.read_ground import Ground
from loopwright.stages.wished_sizes import wished_sizes
from loopwright.stages.without_names import without_names
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, Region, RegionSurface

_THINNEST = 0.8  # of a face: where a region runs out thinner than that, it ends
_NAMED = 4  # places in a message


def end_where_thin(ground: Ground, painted: RegionSurface, wishes: BuildOptions) -> tuple[RegionSurface, list[Finding]]:
    """Return the painted surface with regions ended where they run out too thin for a face, and what is told of it.

    Ends by which alone two regions meet whose border is pinned stay.
    """
    bare, size, kept = without_names(painted), wished_sizes(ground, painted, wishes), _pinned_pairs(painted, wishes)

    def blunt(kept: tuple[frozenset[int], ...]) -> Blunted:
        reads = (bare, size, kept)
        return ground.shelf.keep("thin ends", reads, lambda: blunt_ends(bare, size, _THINNEST, ground.projector, kept))

    blunted = blunt(())
    if kept and len(blunted.places):
        blunted = blunt(kept)
    count = len(blunted.places)
    if count == 0:
        return painted, []
    owners = [painted.regions[k].name for k in blunted.regions]
    places = [
        f"{name} near ({place[0]:.4g}, {place[1]:.4g}, {place[2]:.4g})"
        for name, place in zip(owners, blunted.places.tolist(), strict=True)
    ]
    more = [f"in {plural(count - _NAMED, 'more place')}"] if count > _NAMED else []
    runs, ends = ("A region runs", "It ends") if count == 1 else ("Regions run", "Each ends")
    text = (
        f"{runs} out thinner than {_THINNEST:g} of a face{' on each half' if painted.mirror is not None else ''}: "
        f"{', '.join([*places[:_NAMED], *more])}. {ends} there, and those beside it get what lies beyond. A larger "
        "budget, a shorter size of the region or wider paint keeps more of it."
    )
    data = {"places": blunted.places.tolist(), "regions": owners}
    found = Finding("thin_ends", text, count, names=tuple(dict.fromkeys(owners)), data=data)
    return replace(blunted.surface, regions=painted.regions), [found]


def _pinned_pairs(painted: RegionSurface, wishes: BuildOptions) -> tuple[frozenset[int], ...]:
    """Return the pairs of regions whose borders are pinned; names that are none are told later."""
    found = []
    for pin in wishes.pins:
        with suppress(MarksError):
            pair = [_find_or_rim(painted.regions, name) for name in (pin.region_a, pin.region_b)]
            found.append(frozenset(pair))
    return tuple(found)


def _find_or_rim(regions: Sequence[Region], name: str) -> int:
    is_opening = name == OPENING and all(region.name != OPENING for region in regions)
    return RIM if is_opening else find_region(regions, name)
