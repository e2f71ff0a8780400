"""The one way to fill the corner between two sides of two edges."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.patterns.one_pole import PatchMesh

SideList = tuple[tuple[int, int], ...]


def find_tight_corner(side_counts: Sequence[int]) -> int | None:
    """Return the first side of two edges whose next side has two edges as well, or None.

    Three quads lie along such a pair, round one vertex x.  With four edges at
    x the rest would have a corner between two sides of one edge, which only
    a grid has; so x has five, and the rest is a patch with one side less.
    That holds for every patch except those with one pole or none.
    """
    n = len(side_counts)
    if n < 3:
        return None
    pairs = (k for k in range(n) if side_counts[k] == 2 and side_counts[(k + 1) % n] == 2)
    return next(pairs, None)


def cut_tight_corner(sides: SideList, place: int) -> SideList | None:
    """Return (count, length) of the sides of the rest, or None where no rest can be filled.

    The rest begins with the side of two edges that replaces the pair.
    """
    n = len(sides)
    turned = sides[place:] + sides[:place]
    bridge = (2, max(1, (turned[0][1] + turned[1][1]) // 2))
    others = [list(side) for side in turned[2:]]
    for side in (others[0], others[-1]):
        side[1] = max(1, side[1] * (side[0] - 1) // max(side[0], 1))
        side[0] -= 1
    if min(side[0] for side in others) < 1 or n < 3:
        return None
    return (bridge, *((count, length) for count, length in others))


def attach_tight_corner(rest: PatchMesh, place: int) -> PatchMesh:
    """Return the fill of the whole patch from the fill of its rest; the reverse of :func:`cut_tight_corner`."""
    p, x, q = rest.sides[0]
    start, first, corner, second, end = range(rest.vertex_count, rest.vertex_count + 5)
    quads = np.array([[p, start, first, x], [x, first, corner, second], [x, second, end, q]], dtype=np.int32)
    others = list(rest.sides[1:])
    others[0] = np.concatenate([[end], others[0]]).astype(np.int32)
    others[-1] = np.concatenate([others[-1], [start]]).astype(np.int32)
    pair = [np.array(ids, dtype=np.int32) for ids in ([start, first, corner], [corner, second, end])]
    sides = [*pair, *others]
    turn = len(sides) - place
    return PatchMesh(np.concatenate([rest.quads, quads]), rest.vertex_count + 5, tuple(sides[turn:] + sides[:turn]))
