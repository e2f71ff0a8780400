"""Refuse sizes that cannot be had, before anything is planned by them, and tell where they take most of the budget."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.counts.size_field import asked_lengths, triangle_areas
from loopwright.errors import InfeasibleError, MarksError
from loopwright.options import LARGEST_BUDGET
from loopwright.surface.half_edges import surface_twins
from loopwright.types import Finding, FloatArray, RegionSurface

_LARGE_SHARE = 0.4  # of the budget: what is left is then visibly coarser than without sizes
_ROOM = 0.5  # of a region's width: an edge that long leaves it about four faces
_MANY = 10**12


def check_sizes(
    surface: RegionSurface, asked: Mapping[int, float], painted: FloatArray | None, budget: int
) -> list[Finding]:
    """Refuse edges longer than their region or too short for the budget; tell where they take a large share of it.

    Parameters
    ----------
    asked : region index -> edge length asked for.
    painted : (n,) edge lengths painted on the surface, 0 where none is; None if nothing is painted.
    budget : faces of the whole mesh.

    Raises
    ------
    MarksError : an edge is longer than its region; names the longest that makes sense.
    InfeasibleError : the sizes take more faces than the budget; names the least ones that fit.
    """
    for region, length in asked.items():
        _check_width(surface, region, length)
    lengths = asked_lengths(surface, asked, painted)
    is_asked = lengths > 0
    halves = 1 if surface.mirror is None else 2
    with np.errstate(over="ignore", divide="ignore"):
        load = halves * triangle_areas(surface)[is_asked] / lengths[is_asked] ** 2
    faces = float(load.sum())
    if faces > budget:
        raise _too_many(surface, asked, painted, faces, budget)
    if faces <= _LARGE_SHARE * budget:
        return []
    rest = "" if is_asked.all() else "; the rest is coarser"
    text = f"The sizes asked for alone take about {round(faces):,} of {budget:,} faces{rest}."
    return [Finding("sizes", text, round(faces))]


def _check_width(surface: RegionSurface, region: int, length: float) -> None:
    """Refuse an edge that is longer than a square as large as the region's largest piece is wide."""
    mine = surface.triangle_region == region
    twin = surface_twins(surface)
    here = np.flatnonzero((twin >= 0) & np.repeat(mine, 3))
    there = twin[here] // 3
    here, there = here[mine[there]] // 3, there[mine[there]]
    graph = coo_matrix((np.ones(len(here), np.int8), (here, there)), shape=(len(mine),) * 2)
    piece = connected_components(graph, directed=False)[1]
    areas = np.bincount(piece[mine], triangle_areas(surface)[mine])
    width = math.sqrt(float(areas.max()))
    if length > width:
        name = surface.regions[region].name
        raise MarksError(
            f"The size of {name} is {length:g}, which is larger than the region: it is about {width:.2g} across. "
            f"Ask for {round_length(_ROOM * width, up=False)} or less.",
            places=[name],
            about="sizes",
        )


def _too_many(
    surface: RegionSurface, asked: Mapping[int, float], painted: FloatArray | None, faces: float, budget: int
) -> InfeasibleError:
    """Name the sizes that take most, the least ones that fit, and a budget that would do."""
    areas = (1 if surface.mirror is None else 2) * np.bincount(
        surface.triangle_region, triangle_areas(surface), len(surface.regions)
    )
    held = {region: float(areas[region]) / length / length for region, length in asked.items()}
    largest = max(held, key=lambda region: held[region], default=-1)
    others = sum(load for region, load in held.items() if region != largest)
    if painted is None and others < 0.5 * budget:
        name = surface.regions[largest].name
        least = round_length(math.sqrt(float(areas[largest]) / (budget - others)), up=True)
        way, places = f"the smallest size of {name} that fits is {least}", [name]
    else:
        times = round_length(math.sqrt(faces / budget), up=True)
        way, places = f"sizes {times} times as long would fit", [surface.regions[region].name for region in asked]
    needed = -(-faces // 100) * 100
    more = f", or raise the budget to {needed:,.0f}" if needed <= LARGEST_BUDGET else ""
    told = f"about {faces:,.0f}" if faces < _MANY else f"more than {_MANY:,}"
    return InfeasibleError(
        f"The sizes asked for take {told} faces alone, but the budget is {budget:,}: {way}{more}.",
        places=places,
        in_marks=painted is not None,
        about="sizes",
    )


def round_length(value: float, *, up: bool) -> str:
    """Return a positive length with two digits, rounded up or down."""
    digit = 10.0 ** (math.floor(math.log10(value)) - 1)
    steps = math.ceil(value / digit - 1e-9) if up else math.floor(value / digit + 1e-9)
    return f"{steps * digit:.6g}"
