"""From the artist's names to arcs and regions: pinned borders, sizes by region."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from loopwright.check_wishes import check_pins, check_sizes_agree
from loopwright.counts.count_program import SumPin
from loopwright.counts.explain_clash import Nearest, list_wishes, part_blocking
from loopwright.counts.find_region import find_region
from loopwright.errors import InfeasibleError, MarksError, UnknownRegionError
from loopwright.layout.types import Layout
from loopwright.numerics.norms import norms
from loopwright.options import Pin
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, Region, RegionSurface
from loopwright.wishes import PolePin

OPENING = "opening"
"""In place of a region's name in a pin: the openings that the other region ends at."""

_NAMED = (
    f'A region is called "{OPENING}", so in pins that word means the region, and openings can be neither pinned nor '
    "listed among the borders: call the region something else."
)


def region_sizes(surface: RegionSurface, sizes: Mapping[str, float]) -> dict[int, float]:
    """Return region index -> edge length.

    Raises
    ------
    MarksError : a name that no region has, or two lengths for one region.
    """
    found = {name: find_region(surface.regions, name) for name in sizes}
    check_sizes_agree(tuple(sizes.items()), lambda name: surface.regions[found[name]].name)
    return {found[name]: length for name, length in sizes.items()}


def border_pins(layout: Layout, pins: Sequence[Pin], *, nearest: Nearest | None = None) -> tuple[SumPin, ...]:
    """Return the pins as sums over arcs, one for each connected border between the two regions.

    A pin with a place is for the one piece between two junctions that lies nearest to it.

    A border that the mirror plane cuts has half of its segments on this half.

    Parameters
    ----------
    nearest : finds counts that can be had, for the message on an odd one; else its even neighbours are named.

    Raises
    ------
    MarksError : a name that no region has, two that share no border, or two counts for one border.
    InfeasibleError : fewer segments than pieces; or an odd count on a border that the mirror plane cuts.
    """
    found: list[SumPin] = []
    odd: list[SumPin] = []
    for pin in _once(layout, pins):
        name = pin.name
        arcs = border_arcs(layout, pin)
        groups = connected_arcs(layout, arcs) if pin.near is None else [piece_near(layout, arcs, pin.near)]
        for group in groups:
            copies = 2 if crosses_mirror(layout, group) else 1
            if pin.count < copies * len(group):
                raise InfeasibleError(
                    f"The border {name} has {copies * len(group)} pieces between junctions and cannot have fewer "
                    f"segments; {plural(pin.count, 'is', 'are')} pinned.",
                    places=[name],
                    about="pins",
                )
            (odd if pin.count % copies else found).append(SumPin(tuple(group), pin.count // copies, name, copies))
    if odd:
        raise _odd_error(odd[0], tuple(found), nearest)
    return tuple(found)


def _once(layout: Layout, pins: Sequence[Pin]) -> list[Pin]:
    """Return the pins, of those on one border, however its regions are meant, the first; refuse two counts for one."""

    def call(name: str) -> str:
        side = _find_side(layout, name)
        return OPENING if side < 0 else layout.surface.regions[side].name

    check_pins(pins, call=call)
    found: dict[object, Pin] = {}
    for pin in pins:
        border = frozenset((call(pin.region_a), call(pin.region_b)))
        found.setdefault((border, None if pin.near is None else tuple(pin.near)), pin)
    return list(found.values())


def border_arcs(layout: Layout, pin: Pin) -> list[int]:
    """Return all arcs on borders between the two regions that a pin names, or where one region ends at openings.

    Raises
    ------
    MarksError : a name that no region has, or two that share no border; the message tells what borders there are.
    """
    wanted = {_find_side(layout, name) for name in (pin.region_a, pin.region_b)}
    arcs = [i for i, a in enumerate(layout.arcs) if a.kind in ("border", "rim") and set(a.sides) == wanted]
    if not arcs:
        raise MarksError(_no_border(layout, pin, wanted), places=[pin.name], about="pins")
    return arcs


def tell_opening_named(layout: Layout) -> list[Finding]:
    """Return a finding where a region bears the word by which pins name openings, and there are some."""
    has_openings = any(arc.kind == "rim" for arc in layout.arcs)
    is_taken = any(region.name == OPENING for region in layout.surface.regions)
    return [Finding("opening_named", _NAMED, 1)] if has_openings and is_taken else []


def is_opening(regions: Sequence[Region], name: str) -> bool:
    """Tell whether a pin means openings by this name: the word, unless a region bears it."""
    return name == OPENING and all(region.name != name for region in regions)


def _find_side(layout: Layout, name: str) -> int:
    regions = layout.surface.regions
    if is_opening(regions, name):
        return -1
    try:
        return find_region(regions, name)
    except UnknownRegionError as error:
        if all(arc.kind != "rim" for arc in layout.arcs):
            raise
        text = f'{error} Where a region ends at an opening, "{OPENING}" stands for that.'
        raise UnknownRegionError(text, places=error.places) from error


def _no_border(layout: Layout, pin: Pin, wanted: set[int]) -> str:
    """Say that two regions share no border, and which ones each of them has."""
    names = [region.name for region in layout.surface.regions]
    around: dict[int, set[str]] = {side: set() for side in sorted(wanted) if side >= 0}
    for arc in layout.arcs:
        if arc.kind in ("border", "rim"):
            for side, other in (arc.sides, arc.sides[::-1]):
                if side in around and side != other:
                    around[side].add(OPENING if other < 0 else names[other])
    told = "; ".join(
        f"{names[side]} borders on {', '.join(sorted(found)) or 'nothing'}" for side, found in around.items()
    )
    first, second = pin.region_a, pin.region_b
    if -1 in wanted:
        return f"The region {second if is_opening(layout.surface.regions, first) else first} has no opening: {told}."
    text = f"The regions {first} and {second} share no border: {told}."
    if OPENING in (first, second) and any(arc.kind == "rim" for arc in layout.arcs):
        text += f" {_NAMED}"
    return text


def _odd_error(pin: SumPin, others: tuple[SumPin, ...], nearest: Nearest | None) -> InfeasibleError:
    """Return the error on an odd count that its border cannot have; where no even one beside it can be had, say that.

    ``pin`` has half of the count, rounded down.
    """
    asked, around = 2 * pin.count + 1, [pin.count, pin.count + 1]
    if nearest is not None:
        kept = tuple(other for other in others if other.name != pin.name)
        can_be_had = _even_beside(pin, kept, nearest)
        free = [count for count in _even_beside(pin, (), nearest) if count in around] if kept else []
        if free and not set(can_be_had) & set(around):
            stays, goes = part_blocking(pin, kept, free[0], nearest)
            freed = [count for count in free if count in _even_beside(pin, tuple(stays), nearest)]
            if goes and freed:
                text = (
                    f"The border {pin.name} crosses the mirror plane, so both halves have equally many segments: "
                    f"{_doubled(freed, ' or ')} instead of {asked} can be had, but not beside {list_wishes(goes)}; "
                    f"change this and remove {'that one' if len(goes) == 1 else 'those'}."
                )
                return InfeasibleError(text, places=[pin.name, *(other.name for other in goes)], about="pins")
        if can_be_had and not set(can_be_had) & set(around):
            verb = "are" if len(can_be_had) > 1 else "is"
            text = (
                f"The pin {pin.name}={asked} cannot be met: the nearest that can be had {verb} {_doubled(can_be_had)}, "
                "and an odd number can be had there with no budget."
            )
            return InfeasibleError(text, places=[pin.name], about="pins")
        if not can_be_had:
            text = f"The pin {pin.name}={asked} is odd, and no even count fits the other pins: free one of them."
            return InfeasibleError(text, places=[pin.name], about="pins")
        around = can_be_had
    return InfeasibleError(
        f"The border {pin.name} crosses the mirror plane, so both halves have equally many segments: "
        f"pin it to {_doubled(around, ' or ')} instead of {asked}.",
        places=[pin.name],
        about="pins",
    )


def _even_beside(pin: SumPin, others: tuple[SumPin, ...], nearest: Nearest) -> list[int]:
    """Return the halves of the even counts next to an odd one, below and above it, that can be had beside others."""
    steps = ((replace(pin, count=pin.count + 1), -1), (pin, 1))
    return [found for each, way in steps if (found := nearest(each, others, way)) is not None]


def _doubled(halves: Sequence[int], link: str = " and ") -> str:
    return link.join(str(2 * count) for count in halves)


_NONE_PRICE, _NONE_FACTOR = 4.0, 8.0  # a pole in a region that shall have none, against 0.2 and 1 elsewhere


def pole_prices(surface: RegionSurface, poles: Sequence[PolePin]) -> tuple[dict[int, float], dict[int, float]]:
    """Return what poles cost in the turn plan, and a factor on what they cost in the counts, by region index.

    Raises
    ------
    MarksError : a name that no region has, or two wishes for one region.
    """
    wishes: dict[int, str] = {}
    for pole in poles:
        region = find_region(surface.regions, pole.region)
        if wishes.setdefault(region, pole.wish) != pole.wish:
            name = surface.regions[region].name
            text = f"The region {name} is wished to have poles and to have none; keep one."
            raise MarksError(text, places=[name], about="poles")
    turns = {region: _NONE_PRICE if wish == "none" else 0.0 for region, wish in wishes.items()}
    counts = {region: _NONE_FACTOR for region, wish in wishes.items() if wish == "none"}
    return turns, counts


def crosses_mirror(layout: Layout, arcs: list[int]) -> bool:
    """Tell whether one of these arcs ends on the mirror plane."""
    return any(layout.on_mirror[layout.arcs[i].vertices[[0, -1]]].any() for i in arcs)


def connected_arcs(layout: Layout, arcs: list[int]) -> list[list[int]]:
    """Return the arcs in groups that hang together by their ends."""
    groups: list[tuple[set[int], list[int]]] = []
    for i in arcs:
        ends = {int(layout.arcs[i].vertices[0]), int(layout.arcs[i].vertices[-1])}
        touching = [g for g in groups if g[0] & ends]
        groups = [g for g in groups if not g[0] & ends]
        members = sorted([i, *(m for g in touching for m in g[1])])
        groups.append((ends.union(*(g[0] for g in touching)), members))
    return [members for _, members in groups]


def onto_half(layout: Layout, place: tuple[float, float, float]) -> FloatArray:
    """Return a place as an array, reflected where it lies behind the mirror plane."""
    mirror, point = layout.surface.mirror, np.array(place)
    if mirror is not None and float(mirror.signed_distance(point[None])[0]) < 0:
        point = mirror.reflect(point[None])[0]
    return point


def piece_near(layout: Layout, arcs: list[int], place: tuple[float, float, float]) -> list[int]:
    """Return the arcs of the border piece, from junction to junction, that is nearest to a place."""
    point = onto_half(layout, place)
    gap = [float(norms(layout.arcs[i].points - point).min()) for i in arcs]
    lines_at: dict[int, int] = {}
    for arc in layout.arcs:
        if arc.kind not in ("cut", "guide"):
            for v in (int(arc.vertices[0]), int(arc.vertices[-1])):
                lines_at[v] = lines_at.get(v, 0) + 1
    found = {arcs[int(np.argmin(gap))]}
    while True:
        ends = {int(v) for i in found for v in layout.arcs[i].vertices[[0, -1]]}
        through = {v for v in ends if lines_at[v] == 2}
        more = {i for i in arcs if through & {int(v) for v in layout.arcs[i].vertices[[0, -1]]}}
        if more <= found:
            return sorted(found)
        found |= more
