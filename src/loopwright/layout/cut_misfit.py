"""How well the sides of a part fit the one pole, or none, that is to fill it: of a part, and before a cut is made."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.layout.piece import Piece, side_chains
from loopwright.layout.trace_cuts import Cut
from loopwright.surface.half_edges import arc_length
from loopwright.types import FloatArray


def side_misfit(part: Piece, points: FloatArray, size: float) -> float:
    """How many segments the sides of a disc are off from what its pole, or none, needs; 0 for parts still to be cut."""
    if len(part.loops) != 1 or part.euler != 1 or (part.quadrants > 2).any():
        return 0.0
    if not (part.quadrants == 1).any():
        return 0.0
    sides = side_chains(part.loops[0], part.quadrants)
    return misfit([arc_length(points[s])[-1] / size for s in sides])


def misfit(sides: Sequence[float]) -> float:
    """How many segments sides of these lengths, in segments, are off from what a grid or one pole needs.

    Opposite ones are equal in a part of four sides, the two of a lens are, and
    the spokes of the one pole of a part of three or five have two at least.
    Other parts will be cut on: 0.
    """
    e, n = np.array(sides), len(sides)
    if n == 2:
        return float(abs(e[0] - e[1])) / 2
    if n == 4:
        return float(abs(e[0] - e[2]) + abs(e[1] - e[3])) / 2
    if n == 3:
        spokes = e.sum() / 2 - e
    elif n == 5:
        spokes = np.array([e[(i + 1) % 5] + e[i - 1] + e[i] - e[(i + 2) % 5] - e[i - 2] for i in range(5)]) / 2
    else:
        return 0.0
    return float(np.maximum(0.0, 2.0 - spokes).sum())


class DiscSides:
    """The boundary of a disc by length, to tell what sides the parts of a cut get.

    Parameters
    ----------
    piece : of one loop.
    points : (n, 3) places of its vertices.
    """

    def __init__(self, piece: Piece, points: FloatArray) -> None:
        loop = piece.loops[0]
        along = arc_length(points[np.append(loop, loop[0])])
        self.quadrants = piece.quadrants
        self.total = float(along[-1])
        self.at = np.full(len(points), np.nan)
        self.at[loop] = along[:-1]
        turns = piece.quadrants[loop]
        twice = np.concatenate([along[:-1], along[:-1] + self.total])
        self.corners = twice[np.tile(turns == 1, 2)]
        self.reentrant = twice[np.tile(turns > 2, 2)]

    def misfit(self, cut: Cut, length: float, size: float) -> float:
        """Return the misfits of both parts of a cut of this length: what :func:`side_misfit` finds once it is made."""
        at_start, at_end = int(self.quadrants[cut.start]), int(self.quadrants[cut.end])
        first, last = float(self.at[cut.start]), float(self.at[cut.end])
        ahead = self._part(first, last, cut.start_arm, at_end - cut.end_arm, length)
        behind = self._part(last, first, cut.end_arm, at_start - cut.start_arm, length)
        return misfit([e / size for e in ahead]) + misfit([e / size for e in behind])

    def _part(self, low: float, high: float, at_low: int, at_high: int, length: float) -> list[float]:
        """Return the sides of the part with the boundary from ``low`` on to ``high``; none where it will be cut on."""
        high = high if high > low else high + self.total
        if max(at_low, at_high) > 2 or ((self.reentrant > low) & (self.reentrant < high)).any():
            return []
        between = self.corners[(self.corners > low) & (self.corners < high)].tolist()
        ends = ([low] if at_low == 1 else []) + between + ([high] if at_high == 1 else [])
        if not ends:
            return []
        # the side that holds the cut goes on along the boundary where that has no corner at the cut's ends
        return [*np.diff(ends).tolist(), length + (ends[0] - low) + (high - ends[-1])]
