"""What is promised of drawn lines: where edges of the mesh shall run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from loopwright.layout.border_graph import constrained_edges
from loopwright.marks.draw_line import whole_drawer
from loopwright.marks.local_size import LocalSize
from loopwright.marks.split_at_mirror import split_at_mirror
from loopwright.shelf import Shelf
from loopwright.surface.half_edges import arc_length
from loopwright.types import BoolArray, FloatArray, RegionSurface
from loopwright.wishes import FlowLine

_END = 1.0  # edges of a loose end that may run to what is near instead
_SHARP = 45.0  # degrees: a turn by more within an edge is sharper than edges can be
_NEAR = 0.6  # edges from a border or an earlier line within which a line is left to that


@dataclass(frozen=True)
class Promise:
    """A part of a drawn line on the kept half.

    Attributes
    ----------
    name : the line's.
    points : (k, 3) dense, joined the shortest way on the surface and not smoothed; loose ends are left out.
    sharp : (k,) whether the line turns more sharply there than edges can.
    beside : (k,) whether a border, a rim, the mirror plane or an earlier line runs within 0.6 edges.
    """

    name: str
    points: FloatArray
    sharp: BoolArray
    beside: BoolArray


def promise_lines(
    surface: RegionSurface, lines: Sequence[FlowLine], *, reach: float | FloatArray, shelf: Shelf | None = None
) -> tuple[Promise, ...]:
    """Return what edges shall follow.

    Parameters
    ----------
    surface : without the lines.
    reach : about the edge length that the mesh will have, everywhere or at each vertex of the surface.
    shelf : of the surface's sculpt: keeps what draws lines on this surface.
    """
    drawer, size = whole_drawer(surface, shelf or Shelf(depth=0)), LocalSize(surface, reach)
    raw = []
    for line in lines:
        points = np.array(line.points, np.float64)
        if surface.mirror is not None and float(surface.mirror.signed_distance(points).mean()) < 0.0:
            points = surface.mirror.reflect(points)
        dense = drawer.connect(points, line.closed, line.name)[0]
        if len(dense) < 2:
            continue  # all of it lands on one point
        dense = dense[:-1] if line.closed else dense
        raw.append(replace(line, points=tuple((float(x), float(y), float(z)) for x, y, z in dense)))
    held = [surface.positions[np.unique(constrained_edges(surface).edges)]]
    out = []
    for part in split_at_mirror(tuple(raw), surface.mirror, lambda points: np.zeros(len(points))):
        dense = np.concatenate([part.points, part.points[:1]]) if part.closed else part.points
        along, edge = arc_length(dense), size(dense)
        kept = np.ones(len(dense), bool)
        if not part.closed:
            kept &= (along > _END * edge) | part.starts_in_plane
            kept &= (along < along[-1] - _END * edge) | part.ends_in_plane
        before = np.concatenate(held)
        beside = np.zeros(len(dense), bool)
        if len(before):
            beside = cKDTree(before, balanced_tree=False).query(dense)[0] < _NEAR * edge
        held.append(dense)
        if kept.any():
            out.append(Promise(part.name, dense[kept], turns_sharply(dense, edge)[kept], beside[kept]))
    return tuple(out)


def turns_sharply(line: FloatArray, edge: FloatArray) -> BoolArray:
    """Tell which points lie within half an edge of one where a line turns by over 45 degrees within an edge."""
    along = arc_length(line)

    def at(place: FloatArray) -> FloatArray:
        return np.stack([np.interp(place, along, line[:, k]) for k in range(3)], axis=1)

    before, after = line - at(along - 0.5 * edge), at(along + 0.5 * edge) - line
    lengths = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
    sharp: BoolArray = (before * after).sum(axis=1) < np.cos(np.radians(_SHARP)) * lengths
    if sharp.any():
        sharp = np.abs(along[:, None] - along[sharp][None]).min(axis=1) < 0.5 * edge
    return sharp
