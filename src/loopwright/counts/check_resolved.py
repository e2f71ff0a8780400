"""Refuse wishes for regions that are painted, but smaller than a face, and tell what would make room for them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from loopwright.counts.find_region import find_region
from loopwright.counts.merge_unresolved import merge_unresolved
from loopwright.errors import InfeasibleError
from loopwright.options import LARGEST_BUDGET, BuildOptions
from loopwright.types import FloatArray, RegionSurface

_HALVINGS = 5  # of the gap between a budget that is too small and one that will do

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
    for wish, wished in _wished_regions(wishes):
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
                places=[name],
            )


def _wished_regions(wishes: BuildOptions) -> Iterator[tuple[str, str]]:
    """Yield what is wished for and the region that it names."""
    for name in wishes.sizes:
        yield f"the size of {name}", name
    for pin in wishes.pins:
        yield from ((f"the pin on {pin.name}", name) for name in (pin.region_a, pin.region_b))
    for pole in wishes.poles:
        yield f"the wish for poles in {pole.region}", pole.region


def _least_budget(painted: RegionSurface, name: str, budget: int, sizes_at: SizesAt) -> int | None:
    """Return about the least budget, of two digits, at which a region is kept; None if none is large enough."""

    def is_kept(faces: int) -> bool:
        surface, _ = merge_unresolved(painted, sizes_at(faces))
        return any(region.name == name for region in surface.regions)

    low, high = budget, min(2 * budget, LARGEST_BUDGET)
    while not is_kept(high):
        if high == LARGEST_BUDGET:
            return None
        low, high = high, min(2 * high, LARGEST_BUDGET)
    for _ in range(_HALVINGS):
        middle = (low + high) // 2
        low, high = (low, middle) if is_kept(middle) else (middle, high)
    digit = 10 ** max(int(math.log10(high)) - 1, 0)
    rounded = min(-(-high // digit) * digit, LARGEST_BUDGET)
    return rounded if is_kept(rounded) else high
