"""Bring drawn lines onto the half that is meshed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from loopwright.types import FloatArray, MirrorPlane
from loopwright.wishes import FlowLine


@dataclass(frozen=True)
class DrawnPart:
    """One part of a drawn line on the kept half.

    Attributes
    ----------
    name : the line's name.
    points : (k, 3) float64; a closed one does not repeat its first.
    closed : whether it runs back to its first point.
    starts_in_plane, ends_in_plane : whether its ends lie where the line crosses the mirror plane.
    """

    name: str
    points: FloatArray
    closed: bool
    starts_in_plane: bool = False
    ends_in_plane: bool = False


def split_at_mirror(
    lines: tuple[FlowLine, ...], mirror: MirrorPlane | None, near: Callable[[FloatArray], FloatArray]
) -> list[DrawnPart]:
    """Cut lines where they cross the mirror plane and reflect what lies behind it.

    Stretches nearer to the plane than ``near`` says count as lying in it and are left
    out: the plane is a line of its own.
    """
    parts = []
    for line in lines:
        points = np.array(line.points, np.float64)
        if mirror is None:
            parts.append(DrawnPart(line.name, points, line.closed))
        else:
            parts.extend(_split(line, points, mirror, near))
    return parts


def _split(
    line: FlowLine, points: FloatArray, mirror: MirrorPlane, near: Callable[[FloatArray], FloatArray]
) -> list[DrawnPart]:
    height, within = mirror.signed_distance(points), near(points)
    side = np.where(height > within, 1, np.where(height < -within, -1, 0))
    if (side == side[0]).all():
        kept = mirror.reflect(points) if side[0] < 0 else points
        return [] if side[0] == 0 else [DrawnPart(line.name, kept, line.closed)]
    if line.closed:
        start = int(np.flatnonzero(side != np.roll(side, 1))[0])
        order = np.append((np.arange(len(points)) + start) % len(points), start)
        points, height, within, side = points[order], height[order], within[order], side[order]
    cuts = [0, *(np.flatnonzero(np.diff(side) != 0) + 1).tolist(), len(points)]
    if line.closed:
        cuts[-1] -= 1  # the repeated first point is only there to cross over to
    out = []
    for first, last in zip(cuts[:-1], cuts[1:], strict=True):
        if first >= last or side[first] == 0:
            continue
        run = [points[first:last]]
        before, after = first > 0 or line.closed, last < len(points)
        if before:
            run.insert(0, _crossing(points, height, first - 1 if first else len(points) - 2, first, within))
        if after:
            run.append(_crossing(points, height, last, last - 1, within))
        joined = np.concatenate(run)
        kept = mirror.reflect(joined) if side[first] < 0 else joined
        if len(kept) >= 2:
            out.append(DrawnPart(line.name, kept, False, before, after))
    return out


def _crossing(points: FloatArray, height: FloatArray, outside: int, inside: int, near: FloatArray) -> FloatArray:
    """Return the (1, 3) point where the way from ``outside`` to ``inside`` crosses the plane or is nearest to it."""
    share = 0.0
    if abs(height[outside]) > near[outside]:
        share = float(height[outside] / (height[outside] - height[inside]))
    crossing: FloatArray = points[outside] + share * (points[inside] - points[outside])
    return crossing.reshape(1, 3)
