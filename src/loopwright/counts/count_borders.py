"""Segment counts of the borders between regions and of the openings, in the whole mesh, as pins count them."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.counts.count_program import rim_loops
from loopwright.counts.read_pins import connected_arcs, crosses_mirror
from loopwright.layout.types import Layout
from loopwright.types import IntArray


@dataclass(frozen=True)
class BorderCount:
    """A connected border between two regions.

    Attributes
    ----------
    between : the regions' names, in order.
    segments : number of edges on it in the whole mesh: the N of a pin A/B=N.
    times : 2 where its mirror image is a border of its own with as many segments, else 1.
    """

    between: tuple[str, str]
    segments: int
    times: int


def count_borders(layout: Layout, counts: IntArray) -> tuple[BorderCount, ...]:
    """Return all borders between regions, by name and then by number of segments."""
    arcs_of: dict[tuple[str, str], list[int]] = {}
    for index, arc in enumerate(layout.arcs):
        if arc.kind == "border" and len(set(arc.sides)) == 2:
            first, second = sorted(layout.surface.regions[side].name for side in arc.sides)
            arcs_of.setdefault((first, second), []).append(index)
    found = []
    for between, arcs in arcs_of.items():
        for group in connected_arcs(layout, arcs):
            is_whole = layout.surface.mirror is None or crosses_mirror(layout, group)
            factor = 2 if is_whole and layout.surface.mirror is not None else 1
            found.append(BorderCount(between, factor * int(counts[group].sum()), 1 if is_whole else 2))
    return tuple(sorted(found, key=lambda border: (border.between, border.segments)))


def count_openings(layout: Layout, counts: IntArray) -> tuple[int, ...]:
    """Return the number of segments round each opening of the whole mesh, the largest first."""
    found: list[int] = []
    for loop, is_half in rim_loops(layout):
        segments = int(counts[loop].sum())
        if layout.surface.mirror is None:
            found.append(segments)
        else:
            found += [2 * segments] if is_half else [segments, segments]
    return tuple(sorted(found, reverse=True))
