"""Whether pins were kept: the segments that the layout gives their borders, and the edges that the mesh has on them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.counts.counted_layout import CountedLayout
from loopwright.counts.find_region import find_region
from loopwright.counts.read_pins import border_pins, is_opening
from loopwright.errors import UnknownRegionError
from loopwright.options import BuildOptions
from loopwright.types import IntArray, QuadMesh
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
    edges = _edges_between(mesh, *sorted(sides))
    count = len(mesh.positions)
    graph = coo_matrix((np.ones(len(edges), np.int8), (edges[:, 0], edges[:, 1])), shape=(count, count))
    parts = connected_components(graph, directed=False)[1][edges[:, 0]]
    return [int(number) for number in np.unique(parts, return_counts=True)[1]]


def _edges_between(mesh: QuadMesh, first: int, second: int) -> IntArray:
    """Return the (k, 2) edges with a quad of each of two regions beside them; -1 stands for no quad."""
    ends = np.stack([mesh.quads, np.roll(mesh.quads, -1, axis=1)], axis=2).reshape(-1, 2)
    edges, place, times = np.unique(np.sort(ends, axis=1), axis=0, return_inverse=True, return_counts=True)
    region = np.repeat(mesh.quad_region, 4)
    low, high = np.full(len(edges), np.iinfo(np.int32).max), np.full(len(edges), -1)
    np.minimum.at(low, place.reshape(-1), region)
    np.maximum.at(high, place.reshape(-1), region)
    low[times == 1] = -1
    found: IntArray = edges[(low == first) & (high == second)]
    return found
