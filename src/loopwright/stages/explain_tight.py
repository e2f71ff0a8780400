"""Explain pins that more segments everywhere would free: by the budget, or by the sizes that were asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.counts.find_region import find_region
from loopwright.counts.read_pins import is_opening
from loopwright.errors import Cancelled, InfeasibleError, LoopwrightError, TightBudgetError
from loopwright.layout.size_steps import surface_extent
from loopwright.options import LARGEST_BUDGET, BuildOptions
from loopwright.shelf import Shelf
from loopwright.stages.clock import Clock
from loopwright.stages.find_regions import FoundRegions, find_regions
from loopwright.stages.find_sizes import find_sizes
from loopwright.stages.lay_out import lay_out
from loopwright.stages.read_ground import Ground
from loopwright.stages.tell_budget import tell_budget, tell_sizes
from loopwright.types import BoolArray, RegionSurface

_MUCH_MORE = 4  # times the budget, with which edges come out half as long
_MORE = 2  # times it, below which too little changes to tell by
_LITTLE = 0.9  # share of its length below which an edge there has got shorter


def explain_tight(
    error: TightBudgetError, ground: Ground, regions: FoundRegions, wishes: BuildOptions, clock: Clock
) -> InfeasibleError:
    """Return the error that says what forbids the pins, and with which budget a plan was found, if one was."""
    if _are_sizes_fixed(error, ground, regions, wishes, clock):
        return tell_sizes(error)
    return tell_budget(
        error, wishes.budget, lambda budget: _try_budget(ground, regions, replace(wishes, budget=budget), clock)
    )


def _try_budget(ground: Ground, regions: FoundRegions, wishes: BuildOptions, clock: Clock) -> int:
    """Return the faces of a plan with another budget than the regions were found for, keeping nothing.

    Raises what such a plan raises.
    """
    regions = find_regions(ground, wishes, clock) if wishes.lines else regions
    bare = replace(ground, shelf=Shelf(depth=0))
    surface, vertex_size, _ = find_sizes(bare, regions, wishes, clock)
    made, _ = lay_out(bare, surface, vertex_size, wishes, clock, extent=surface_extent(regions.painted))
    return sum(patch.faces for patch in made.patches) * (1 if surface.mirror is None else 2)


def _are_sizes_fixed(
    error: TightBudgetError, ground: Ground, regions: FoundRegions, wishes: BuildOptions, clock: Clock
) -> bool:
    """Tell whether edges stay as long on the pinned borders, however large the budget, because sizes are asked for."""
    if not (wishes.sizes or wishes.size_dabs or wishes.vertex_sizes is not None):
        return False
    bare = replace(ground, shelf=Shelf(depth=0))
    much = replace(wishes, budget=min(_MUCH_MORE * wishes.budget, LARGEST_BUDGET))
    if much.budget < _MORE * wishes.budget:
        return False
    try:
        surface, now, _ = find_sizes(bare, regions, wishes, clock)
        _, then, _ = find_sizes(bare, regions, much, clock)
        at = _on_borders(surface, wishes, error.places)
    except Cancelled:
        raise
    except LoopwrightError:
        return False
    return len(now) == len(then) and bool(at.any()) and float(np.median(then[at] / now[at])) > _LITTLE


def _on_borders(surface: RegionSurface, wishes: BuildOptions, names: tuple[object, ...]) -> BoolArray:
    """Return (n,) which vertices lie on borders with the pins of these names; at openings, the whole region."""
    found = np.zeros(len(surface.positions), bool)
    for pin in wishes.pins:
        if pin.name in names:
            on = np.ones(len(found), bool)
            for name in (pin.region_a, pin.region_b):
                if not is_opening(surface.regions, name):
                    its = surface.triangles[surface.triangle_region == find_region(surface.regions, name)]
                    on &= np.bincount(its.ravel(), minlength=len(found)) > 0
            found |= on
    return found
