"""Tell of regions that are painted, but smaller than a face, and what would make room; refuse wishes for them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

from loopwright.counts.find_region import find_region
from loopwright.counts.merge_unresolved import held_faces, merge_unresolved
from loopwright.counts.read_pins import is_opening
from loopwright.errors import InfeasibleError
from loopwright.options import LARGEST_BUDGET, BuildOptions
from loopwright.types import Finding, FloatArray, Region, RegionSurface

_ROUNDS = 2  # of bringing the budget to where a region holds a face
_STEP = 1.1  # factor between budgets that are tried after that
_SOUGHT = 3  # lost regions for which the budget is sought

SizesAt = Callable[[int], FloatArray]


def check_resolved(painted: RegionSurface, kept: RegionSurface, wishes: BuildOptions, sizes_at: SizesAt) -> None:
    """Refuse wishes for regions of ``painted`` that ``kept``, the surface without pieces too small, has no more.

    Parameters
    ----------
    sizes_at : wished edge lengths at the vertices of ``painted``, (n,), for a budget.

    Raises
    ------
    MarksError : a name that no region has.
    InfeasibleError : a size, pin or pole is wished for in such a region; names the least budget that would do.
    """
    lost = {region.name for region in painted.regions} - {region.name for region in kept.regions}
    for wish, wished, about, place in _wished_regions(wishes, painted.regions):
        name = painted.regions[find_region(painted.regions, wished)].name
        if name in lost:
            ways = ["paint it larger", f"drop {wish}"]
            if wished in wishes.sizes:
                ways.insert(0, "wish for shorter edges in it")
            budget = _least_budget(painted, name, wishes.budget, sizes_at)
            if budget is not None:
                ways.insert(0, f"raise the budget to {budget:,}")
            raise InfeasibleError(
                f'The region "{name}" is painted, but smaller than a face at a budget of {wishes.budget:,}, so '
                f"{wish} cannot be had: {', '.join(ways[:-1])}, or {ways[-1]}.",
                places=[name, place] if place else [name],
                about=about,
            )


def _wished_regions(wishes: BuildOptions, regions: Sequence[Region]) -> Iterator[tuple[str, str, str, str]]:
    """Yield what is wished for, the region that it names, and the list of a marks file that it is in.

    Last comes what it is called there, where that is not the region's name.
    """
    for name in wishes.sizes:
        yield f"the size of {name}", name, "sizes", ""
    for pin in wishes.pins:
        sides = (name for name in (pin.region_a, pin.region_b) if not is_opening(regions, name))
        yield from ((f"the pin on {pin.name}", name, "pins", pin.name) for name in sides)
    for pole in wishes.poles:
        yield f"the wish for poles in {pole.region}", pole.region, "poles", ""


def tell_lost(painted: RegionSurface, kept: RegionSurface, budget: int, sizes_at: SizesAt) -> list[Finding]:
    """Return a finding for each region of ``painted`` that ``kept`` has no more, with the least budget that keeps it.

    Parameters
    ----------
    sizes_at : as for :func:`check_resolved`; is called about three times for each of up to three regions, of which
        the budget is told.
    """
    left = {region.name for region in kept.regions}
    lost = [region.name for region in painted.regions if region.name not in left]
    findings = []
    for k, name in enumerate(lost):
        least = _least_budget(painted, name, budget, sizes_at) if k < _SOUGHT else None
        way = f"a budget of about {least:,} keeps it, and so may larger paint" if least else "paint it larger"
        if k >= _SOUGHT:
            way = "a larger budget, or larger paint, may keep it"
        text = f"The region {name} is painted, but smaller than a face at a budget of {budget:,}, and gets none: {way}."
        findings.append(Finding("region_lost", text, 1))
    return findings


def _least_budget(painted: RegionSurface, name: str, budget: int, sizes_at: SizesAt) -> int | None:
    """Return about the least budget, of two digits, at which a region is kept; None if none is large enough.

    A region is kept once one of its pieces holds a face, so the budget is sought at which the largest holds one.
    """

    def is_kept(faces: int) -> bool:
        surface, _ = merge_unresolved(painted, sizes_at(faces))
        return any(region.name == name for region in surface.regions)

    index = [region.name for region in painted.regions].index(name)
    if held_faces(painted, sizes_at(LARGEST_BUDGET), index) < 1.0 and not is_kept(LARGEST_BUDGET):
        return None  # its size is set, whatever the budget
    faces = budget
    for _ in range(_ROUNDS):  # were all sizes to shrink alike, one round would do
        held = held_faces(painted, sizes_at(faces), index)
        faces = math.ceil(min(max(faces / max(held, 1e-300), budget + 1), LARGEST_BUDGET))
    faces = _two_digits(faces)
    while not is_kept(faces):
        if faces == LARGEST_BUDGET:
            return None
        faces = _two_digits(math.ceil(_STEP * faces))
    return faces


def _two_digits(faces: int) -> int:
    """Return the least budget of two digits that is no smaller."""
    digit = int(10 ** max(int(math.log10(faces)) - 1, 0))
    return min(-(-faces // digit) * digit, LARGEST_BUDGET)
