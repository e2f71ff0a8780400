"""A cheap measure of evenness: where would the chords, feet and poles of a pattern lie in its polygon?"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from loopwright.patterns.cut_patterns import Cut, Leaf, Pattern, Tree, cut_count
from loopwright.patterns.embed_fill import convex_corners
from loopwright.patterns.one_pole import doubled_spoke_matrix
from loopwright.types import FloatArray, IntArray

Places: TypeAlias = NDArray[np.complex128]
"""Points of the plane."""

_ROOM = 0.25  # wanted edges between pole and rim, as a share of the shortest side
_ROOM_BETWEEN = 0.7  # the same between a pole and a chord, as a share of that


def unevenness(
    pattern: Pattern, side_counts: Sequence[int], side_lengths: Sequence[float], params: IntArray
) -> FloatArray:
    """Return (k,) how uneven the edges along spokes and chords would be for (k, 3 cuts) parameters.

    Chords are drawn straight between their ends and poles near the middle of
    the feet of their spokes, so this costs a few array operations only.
    """
    corners = _corners_of(tuple(side_lengths))
    ends = np.roll(corners, -1)
    lift = 0.35 if len(side_counts) == 2 else 0.08
    sides = []
    for count, start, end in zip(side_counts, corners, ends, strict=True):
        each = np.full(len(params), float(count))
        bend: Places = np.asarray(-1j * lift * (end - start))
        sides.append(_Side(each, start, end, bend, is_rim=True))
    step = float(np.abs(ends - corners).sum()) / sum(side_counts)
    room = max(0.5, _ROOM * min(side_counts))
    costs: list[FloatArray] = []
    _measure(pattern.tree, sides, params.astype(np.float64).T, step, room, costs)
    total: FloatArray = np.stack(costs).sum(axis=0)
    return total


@lru_cache(maxsize=256)
def _corners_of(side_lengths: tuple[float, ...]) -> Places:
    corners: Places = convex_corners(side_lengths) @ np.array([1.0, 1j])
    return corners


class _Side:
    """A batch of parabolic arcs: counts (k,), ends and bends (k,) or one; on the rim of the patch or a chord inside."""

    def __init__(
        self, count: FloatArray, start: Places, end: Places, bend: Places | float, *, is_rim: bool = False
    ) -> None:
        self.count, self.start, self.end, self.bend, self.is_rim = count, start, end, bend, is_rim

    def at(self, edges: FloatArray) -> Places:
        """Return the points a number of edges after the start."""
        t = edges / np.maximum(self.count, 1.0)
        point: Places = self.start + t * (self.end - self.start)
        return point + t * (1.0 - t) * (4.0 * self.bend) if self.is_rim else point

    def piece(self, low: FloatArray, high: FloatArray) -> _Side:
        """Return the part between two numbers of edges."""
        share = (high - low) / np.maximum(self.count, 1.0)
        return _Side(
            high - low, self.at(low), self.at(high), np.asarray(self.bend * share**2, np.complex128), is_rim=self.is_rim
        )


def _measure(
    tree: Tree, sides: list[_Side], params: FloatArray, step: float, room: float, costs: list[FloatArray]
) -> None:
    """Add the costs of a tree's chords and poles, for (3 cuts, k) parameters."""
    if isinstance(tree, Leaf):
        costs.append(_measure_leaf(sides, step, room))
        return
    a, b, c = params[:3]
    first, second, zero = sides[tree.first], sides[tree.second], np.zeros(params.shape[1])
    head, tail = first.at(a), second.at(b)
    costs.append(0.5 * _squared_log(np.abs(head - tail) / c, step))
    inside = _inside_sides(tree, sides, first, second, a, b)
    outside = [second.piece(b, second.count), *_sides_between(tree, sides), first.piece(zero, a)]
    middle = 3 + 3 * cut_count(tree.inside)
    _measure(tree.inside, [*inside, _Side(c, tail, head, 0.0)], params[3:middle], step, room, costs)
    _measure(tree.outside, [*outside, _Side(c, head, tail, 0.0)], params[middle:], step, room, costs)


def _inside_sides(
    tree: Cut, sides: list[_Side], first: _Side, second: _Side, a: FloatArray, b: FloatArray
) -> list[_Side]:
    if tree.first == tree.second:
        return [first.piece(a, b)]
    return [first.piece(a, first.count), *sides[tree.first + 1 : tree.second], second.piece(np.zeros(len(b)), b)]


def _sides_between(tree: Cut, sides: list[_Side]) -> list[_Side]:
    return [sides[k % tree.side_count] for k in range(tree.second + 1, tree.first + tree.side_count)]


def _measure_leaf(sides: list[_Side], step: float, room: float) -> FloatArray:
    """Return (k,) the unevenness of one pole; ``room`` edges between it and a side of the patch are enough."""
    n = len(sides)
    counts = np.stack([side.count for side in sides])
    spokes = np.maximum(0.5 * doubled_spoke_matrix(n) @ counts, 0.25)
    feet = np.stack([side.at(spokes[k - 1]) for k, side in enumerate(sides)])
    pole = (feet / spokes).sum(axis=0) / (1.0 / spokes).sum(axis=0)
    arms = feet - pole
    turns = np.concatenate([arms[1:], arms[:1]]) * np.conj(arms)
    angles = np.arctan2(turns.imag, turns.real)
    reach = np.array([[room if side.is_rim else _ROOM_BETWEEN * room] for side in sides])
    uneven = _squared_log(np.abs(arms) / spokes, step) + (angles - 2.0 * np.pi / n) ** 2 + (reach / spokes) ** 2
    cost: FloatArray = uneven.sum(axis=0)
    return cost


def _squared_log(lengths: FloatArray, step: float) -> FloatArray:
    squared: FloatArray = np.log(np.maximum(lengths, 1e-9 * step) / step) ** 2
    return squared
