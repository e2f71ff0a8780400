"""Poles beyond the layout's: what fills add where the counts of a patch's sides do not fit its one pole, or none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from loopwright.counts.count_program import SumPin
from loopwright.counts.measure_faces import UNFILLED, fill_poles, side_counts
from loopwright.layout.types import Layout, Patch
from loopwright.numerics.norms import norms
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, IntArray

_SHOWN = 3  # patches that are named
_POLES = 4  # poles in each of them

Places: TypeAlias = Mapping[int, Sequence[tuple[FloatArray, int]]]
"""Patch -> place and valence of each pole inside it."""


def patch_poles(sides: Sequence[int]) -> tuple[int, ...]:
    """Return the valences of the poles inside a patch with these side counts.

    They are of three and five alone, and the fours less their valences add up to four less the number of sides, by the
    index law.
    """
    planned = abs(4 - len(sides))
    poles = fill_poles(tuple(sides))
    if poles == UNFILLED:
        poles = planned
    threes = (poles + 4 - len(sides)) // 2
    return (3,) * threes + (5,) * (poles - threes)


def patch_middle(layout: Layout, patch: Patch) -> FloatArray:
    """Return the (3,) place of the patch's vertex that is nearest to its middle."""
    points = layout.positions[patch.origin]
    middle: FloatArray = points[int(norms(points - points.mean(axis=0)).argmin())]
    return middle


def extra_poles(layout: Layout, counts: IntArray) -> list[int]:
    """Return for each patch how many poles its fill adds to its one pole, or none."""
    return [len(patch_poles(each)) - abs(4 - len(each)) for each in side_counts(layout, counts)]


def tell_added_poles(
    layout: Layout, counts: IntArray, pins: Sequence[SumPin], *, places: Places | None = None
) -> list[Finding]:
    """Return a finding on the poles of the whole mesh that fills add to those of the layout; none if they add none.

    It names the places, the counts of the sides that do not fit, and the pins on those sides.

    Parameters
    ----------
    places : where the poles inside each patch lie in the finished mesh; without it the patches' middles are named.
    """
    copies = 1 if layout.surface.mirror is None else 2
    sides, extra = side_counts(layout, counts), extra_poles(layout, counts)
    found = sorted((i for i in range(len(sides)) if extra[i] > 0), key=lambda i: (-extra[i], i))
    if not found:
        return []
    here = sum(extra)
    total = copies * here
    where = "; ".join(_place(layout, i, sides[i], extra[i], (places or {}).get(i, ())) for i in found[:_SHOWN])
    more = sum(extra[i] for i in found[_SHOWN:])
    rest = f"; and {more} in {plural(len(found) - _SHOWN, 'more patch', 'more patches')}" if more else ""
    each = f" ({here}, and as many mirror images)" if copies == 2 else ""
    text = (
        f"{total} poles more than the layout needs{each}, in pairs of valence 3 and 5, fill patches whose sides do not "
        f"fit: {where}{rest}. {_way_out(layout, found, counts, pins)}"
    )
    data = {"patches": [_as_data(layout, i, sides[i], extra[i], copies, (places or {}).get(i)) for i in found]}
    return [Finding("poles_added", text, total, data=data)]


def _as_data(
    layout: Layout,
    index: int,
    sides: Sequence[int],
    extra: int,
    times: int,
    poles: Sequence[tuple[FloatArray, int]] | None,
) -> dict[str, object]:
    """Return a patch with more poles than planned as plain values; ``times`` is 2 where its mirror image has as many.

    ``poles`` are those inside it where the mesh is known, else left out.
    """
    patch = layout.patches[index]
    told: dict[str, object] = {
        "region": layout.surface.regions[patch.region].name,
        "near": patch_middle(layout, patch).tolist(),
        "sides": [int(side) for side in sides],
        "added": extra,
        "times": times,
    }
    if poles is not None:
        told["poles"] = [{"at": place.tolist(), "valence": int(valence)} for place, valence in poles]
    return told


def _place(
    layout: Layout, index: int, sides: Sequence[int], extra: int, poles: Sequence[tuple[FloatArray, int]]
) -> str:
    """Say how many poles a patch has too many, of how many, and where they are."""
    patch = layout.patches[index]
    inside = len(patch_poles(sides))
    of = f"{extra} of the {inside}" if inside > extra else str(extra)
    at = f"{of} near {_point(patch_middle(layout, patch))}"
    if poles:
        shown = ", ".join(f"{_point(place)} of valence {valence}" for place, valence in poles[:_POLES])
        lost = "" if len(poles) == inside else f", of which {len(poles)} {'is' if len(poles) == 1 else 'are'} left,"
        at = f"{of}{lost} at {shown}{f' and {len(poles) - _POLES} more' if len(poles) > _POLES else ''}"
    return f"{at} in {layout.surface.regions[patch.region].name}, sides of {', '.join(map(str, sides))} segments"


def _point(place: FloatArray) -> str:
    return "({:.4g}, {:.4g}, {:.4g})".format(*place)


def _way_out(layout: Layout, found: Sequence[int], counts: IntArray, pins: Sequence[SumPin]) -> str:
    """Name what decides the counts of the patches' sides: the pins on them, else the borders, else the budget."""
    arcs = {arc for i in found for side in layout.patches[i].sides for arc, _ in side}
    pinned = list(dict.fromkeys(pin.wish for pin in pins if arcs & set(pin.arcs)))
    if pinned:
        return f"Another number for {', '.join(pinned)}, or no pin there, may free them; so may another budget."
    names = layout.surface.regions
    borders = sorted(
        {
            "/".join(sorted(names[side].name for side in layout.arcs[arc].sides))
            for arc in arcs
            if layout.arcs[arc].kind == "border" and len(set(layout.arcs[arc].sides)) == 2
        }
    )
    pin = f", or a pin on {', '.join(borders[:_SHOWN])}" if borders else ""
    return f"Another budget{pin} may free them."
