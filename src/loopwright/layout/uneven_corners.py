"""Corners that would make poor patches: opposite sides of very unlike lengths, or grids that are skewed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loopwright.layout.measure_uneven import compare_sides, skewness
from loopwright.layout.open_surface import OpenSurface
from loopwright.layout.piece import chain_rim
from loopwright.surface.half_edges import arc_length, directed_edges
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface

_CORNER, _STRAIGHT = np.radians(110.0), np.radians(160.0)  # angles up to which, and from which, there is no doubt
_MOST_OPEN = 8  # angles in doubt: a piece with more is not looked at
_MOST_CHOICES = 32  # of one piece: the poorest; rows of the plan's program that it takes long over
_SKEW = 4.0  # how much a skewed grid counts: it is poor everywhere, unlike sides cost some poles
_SIDES = 3, 5  # of a patch


@dataclass(frozen=True)
class DiscSides:
    """Where a piece that is a disc may have corners, in order.

    Attributes
    ----------
    wedges : (k,) places in the plan's list of wedges.
    lengths : (k,) from each to the next, in edges.
    points : (k, 3).
    both : how much it adds that the other pair of four sides is unlike too (see ``compare_sides``).
    """

    wedges: IntArray
    lengths: FloatArray
    points: FloatArray
    both: float = 0.0


def disc_sides(
    surface: RegionSurface,
    opened: OpenSurface,
    vertex_size: FloatArray,
    listed: IntArray,
    is_asked: Sequence[bool],
    both: Sequence[float],
) -> list[DiscSides]:
    """Return the sides of the pieces that are asked for and have more than three places for corners.

    Parameters
    ----------
    listed : the wedges of nodes and bends.
    both : of each piece, see :class:`DiscSides`.
    """
    place = np.full(len(opened.origin), -1, np.int32)
    place[listed] = np.arange(len(listed))
    edges = directed_edges(opened.wedges)
    found = []
    for c in np.flatnonzero(is_asked).tolist():
        loops = chain_rim(edges[opened.at_rim & np.repeat(opened.component == c, 3)])  # one, of a disc
        at = np.flatnonzero(place[loops[0]] >= 0)
        if len(at) <= _SIDES[0]:
            continue
        ids = opened.origin[np.append(loops[0], loops[0][0])]
        length = arc_length(surface.positions[ids], 1.0 / vertex_size[ids])
        lengths = np.diff(np.append(length[at], length[at[0]] + length[-1]))
        found.append(DiscSides(place[loops[0][at]], lengths, surface.positions[ids[at]], both[c]))
    return found


def uneven_choices(disc: DiscSides, angles: FloatArray, fair: float) -> list[tuple[BoolArray, float]]:
    """Return the choices of corners that make a disc a poor patch, and how poor: as a logarithm, more than ``fair``.

    Only those that the angles leave open: whether what is between ``_CORNER`` and ``_STRAIGHT`` is a corner. The
    poorest come first.

    Parameters
    ----------
    angles : (k,) of the disc at each place, in radians.
    """
    is_open = np.flatnonzero((angles > _CORNER) & (angles < _STRAIGHT))
    if not 0 < len(is_open) <= _MOST_OPEN:
        return []
    choices = np.repeat((angles <= _CORNER)[None], 2 ** len(is_open), axis=0)
    choices[:, is_open] = (np.arange(len(choices))[:, None] >> np.arange(len(is_open))) & 1
    number = choices.sum(axis=1)
    found = []
    whole = np.append(0.0, np.cumsum(disc.lengths))
    for chosen in choices[(number >= _SIDES[0]) & (number <= _SIDES[1])]:
        at = whole[:-1][chosen]
        sides = np.diff(np.append(at, at[0] + whole[-1]))
        uneven = float(compare_sides(sides[None], 1.0, both=disc.both)[0][0])
        if len(sides) == 4:
            uneven = max(uneven, _SKEW * skewness(disc.points[chosen]))
        if uneven > fair:
            found.append((chosen, uneven))
    return sorted(found, key=lambda each: -each[1])[:_MOST_CHOICES]
