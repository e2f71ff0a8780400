"""The sizes stage: how long edges shall be, and which painted pieces are too small for a face."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from loopwright.counts.check_resolved import SizesAt, check_resolved, tell_lost
from loopwright.counts.check_sizes import check_sizes
from loopwright.counts.merge_unresolved import merge_unresolved
from loopwright.counts.paint_sizes import paint_sizes
from loopwright.counts.read_pins import region_sizes
from loopwright.counts.size_field import size_field
from loopwright.options import BuildOptions
from loopwright.stages.clock import Clock
from loopwright.stages.find_regions import FoundRegions
from loopwright.stages.read_ground import Ground
from loopwright.stages.wished_sizes import carry_sizes, face_goal, wished_sizes
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, RegionSurface

Sized = tuple[RegionSurface, FloatArray, list[Finding]]


def find_sizes(ground: Ground, regions: FoundRegions, wishes: BuildOptions, clock: Clock) -> Sized:
    """Return the surface without painted pieces that are smaller than a face, and (n,) wished edge lengths.

    Raises
    ------
    MarksError : a size or a dab does not fit the surface.
    InfeasibleError : something is wished for in a region that is smaller than a face.
    """
    surface, painted = regions.surface, regions.painted
    reads = (surface, painted, wishes.budget, wishes.sizes, wishes.size_dabs, wishes.vertex_sizes)
    made: list[Sized] = []

    def make() -> Sized:
        made.append(_find_sizes(ground, regions, wishes))
        return made[0]

    with clock.stage("sizes"):
        sized = ground.shelf.keep("sizes", reads, make)
        if not made and len(sized[0].regions) < len(surface.regions):  # other pins and poles with sizes as before
            check_resolved(surface, sized[0], wishes, _sizes_at(ground, regions, wishes))
    return sized


def _find_sizes(ground: Ground, regions: FoundRegions, wishes: BuildOptions) -> Sized:
    surface = regions.surface
    painted = _paint(ground, surface, wishes)
    findings = check_sizes(surface, region_sizes(surface, wishes.sizes), painted, wishes.budget)
    if painted is None:  # a line changes no size where it does not run, so that what was planned there stays
        vertex_size = carry_sizes(regions.painted, wished_sizes(ground, regions.painted, wishes), surface)
    else:
        vertex_size = _sizes(surface, painted, wishes)
    kept, merged = merge_unresolved(surface, vertex_size)
    if merged:
        sizes_at = _sizes_at(ground, regions, wishes)
        check_resolved(surface, kept, wishes, sizes_at)
        vertex_size = _sizes(kept, painted, wishes)
        pieces = plural(merged, "painted piece is", "painted pieces are")
        theirs = "its surroundings got it" if merged == 1 else "their surroundings got them"
        findings.append(Finding("unresolved", f"{pieces} smaller than a face of this mesh; {theirs}.", merged))
        findings += tell_lost(surface, kept, wishes.budget, sizes_at)
    return kept, vertex_size, findings


def _paint(ground: Ground, surface: RegionSurface, wishes: BuildOptions) -> FloatArray | None:
    return paint_sizes(surface, wishes.size_dabs, ground.given, wishes.vertex_sizes)


def _sizes(surface: RegionSurface, painted: FloatArray | None, wishes: BuildOptions) -> FloatArray:
    return size_field(surface, face_goal(surface, wishes), sizes=region_sizes(surface, wishes.sizes), painted=painted)


def _sizes_at(ground: Ground, regions: FoundRegions, wishes: BuildOptions) -> SizesAt:
    """Return what gives the wished edge lengths on the surface for another budget, as they would be with that."""
    surface, bare = regions.surface, regions.painted
    painted = _paint(ground, surface, wishes)

    @cache
    def sizes_at(budget: int) -> FloatArray:
        changed = replace(wishes, budget=budget)
        if painted is None:
            return carry_sizes(bare, _sizes(bare, None, changed), surface)
        return _sizes(surface, painted, changed)

    return sizes_at
