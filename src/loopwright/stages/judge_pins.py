"""Whether pins were kept: the segments that the layout gives their borders, and the edges that the mesh has on them."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.counts.count_mesh_borders import border_edges, connected_edges
from loopwright.counts.counted_layout import CountedLayout
from loopwright.counts.find_region import find_region
from loopwright.counts.read_pins import border_pins, is_opening
from loopwright.errors import UnknownRegionError
from loopwright.options import BuildOptions
from loopwright.types import Finding, QuadMesh
from loopwright.wishes import Pin, WishOutcome


def judge_planned_pins(pins: Sequence[Pin], made: CountedLayout) -> list[WishOutcome]:
    """Return the pins, each with whether all borders that it is for have its count in a layout."""
    return [WishOutcome("pin", pin.name, _is_planned(pin, made)) for pin in pins]


def judge_mesh_pins(wishes: BuildOptions, made: CountedLayout, mesh: QuadMesh) -> list[WishOutcome]:
    """Return the pins, each with whether all borders that it is for have its count in the finished mesh.

    A pin with a place is for a piece of a border, which the mesh alone does not tell from the others: there the
    layout's count is taken, and None where edits may have changed it, or have merged one of its regions away.

    Parameters
    ----------
    mesh : whole.
    """
    out = []
    for pin in wishes.pins:
        if pin.near is not None:
            is_kept = None if wishes.edits else _is_planned(pin, made)
        else:
            counts = _count_edges(pin, mesh)
            is_kept = None if counts is None else set(counts) == {pin.count}
        out.append(WishOutcome("pin", pin.name, is_kept))
    return out


def _is_planned(pin: Pin, made: CountedLayout) -> bool:
    sums = border_pins(made.layout, [pin])
    return all(int(made.counts[list(each.arcs)].sum()) * each.copies == pin.count for each in sums)


def _count_edges(pin: Pin, mesh: QuadMesh) -> list[int] | None:
    """Return the edges on each connected border that a pin is for; None where one of its regions is no more."""
    try:
        sides = [
            -1 if is_opening(mesh.regions, n) else find_region(mesh.regions, n) for n in (pin.region_a, pin.region_b)
        ]
    except UnknownRegionError:
        return None
    edges, regions = border_edges(mesh)
    mine = edges[(regions == sorted(sides)).all(axis=1)]
    return [len(group) for group in connected_edges(mine, len(mesh.positions))]


def tell_lost_pins(wishes: BuildOptions, mesh: QuadMesh) -> list[Finding]:
    """Return a finding for each pin whose count edits have changed, with the counts that its borders have now."""
    if not wishes.edits:
        return []
    found = []
    for pin in wishes.pins:
        counts = None if pin.near is not None else _count_edges(pin, mesh)
        if counts is not None and set(counts) != {pin.count}:
            different = sorted(set(counts))
            now = " and ".join(str(count) for count in different) or "none"
            asked = 2 * pin.count - different[0] if len(different) == 1 else 0  # edits come after the counts are solved
            way = f"pin it to {asked}, which they change to {pin.count}, or leave" if asked > 0 else "leave"
            text = f"Edits change the pin {pin.name}: its border has {now} now; {way} the edit out."
            found.append(Finding("pin_edited", text, names=(pin.name,)))
    return found
