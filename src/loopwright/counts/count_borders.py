"""Segment counts of the borders between regions and of the openings, in the whole mesh, as pins count them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.counts.program_rows import rim_loops
from loopwright.counts.read_pins import OPENING, connected_arcs, crosses_mirror, is_opening, piece_near
from loopwright.layout.types import Layout
from loopwright.types import IntArray
from loopwright.wishes import Point


@dataclass(frozen=True)
class BorderCount:
    """A connected border between two regions, or where a region ends at an opening.

    Attributes
    ----------
    between : the regions' names, in order; of a region and an opening, its name and ``opening``.
    segments : number of edges on it in the whole mesh: the N of a pin A/B=N.
    near : (x, y, z), a place on it for a pin's ``near``, where the same regions share several borders; else None.
    times : 2 where its mirror image is a border of its own with as many segments, else 1.
    """

    between: tuple[str, str]
    segments: int
    times: int
    near: Point | None = None


def count_borders(layout: Layout, counts: IntArray) -> tuple[BorderCount, ...]:
    """Return all borders of regions with each other and with openings, by name and then by number of segments."""
    regions, arcs_of = layout.surface.regions, dict[tuple[str, str], list[int]]()
    kinds = ("border", "rim") if is_opening(regions, OPENING) else ("border",)  # no pin can mean rims else
    for index, arc in enumerate(layout.arcs):
        if arc.kind in kinds and len(set(arc.sides)) == 2:
            names = sorted(regions[side].name for side in arc.sides if side >= 0)
            first, second = [*names, OPENING][:2]
            arcs_of.setdefault((first, second), []).append(index)
    found = []
    for between, arcs in arcs_of.items():
        groups = connected_arcs(layout, arcs)
        for group in groups:
            near = _place_on(layout, arcs, group) if len(groups) > 1 else None
            is_whole = layout.surface.mirror is None or crosses_mirror(layout, group)
            factor = 2 if is_whole and layout.surface.mirror is not None else 1
            found.append(BorderCount(between, factor * int(counts[group].sum()), 1 if is_whole else 2, near))
    return tuple(sorted(found, key=lambda border: (border.between, border.segments, border.near or ())))


def _place_on(layout: Layout, arcs: list[int], group: list[int]) -> Point | None:
    """Return a place, rounded, whose nearest piece of all the arcs is this group; None if it has several pieces."""
    digits = 3 - int(np.floor(np.log10(max(float(np.ptp(layout.positions, axis=0).max()), 1e-300))))
    for arc in sorted(group, key=lambda i: (-layout.arcs[i].length, i)):
        points = layout.arcs[arc].points
        x, y, z = (round(float(v), digits) + 0.0 for v in points[len(points) // 2])
        if piece_near(layout, arcs, (x, y, z)) == sorted(group):
            return x, y, z
    return None


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
