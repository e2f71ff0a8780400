"""What is promised of drawn lines: where edges of the mesh shall run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from loopwright.layout.border_graph import KIND_CODES, ArcKind, constrained_edges
from loopwright.marks.draw_line import whole_drawer
from loopwright.marks.local_size import LocalSize
from loopwright.marks.split_at_mirror import split_at_mirror
from loopwright.numerics.norms import norms
from loopwright.shelf import Shelf
from loopwright.surface.half_edges import arc_length
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface
from loopwright.wishes import FlowLine

_END = 1.0  # edges of a loose end that may run to what is near instead
_SHARP = 45.0  # degrees: a turn by more within an edge is sharper than edges can be
_THINGS: dict[ArcKind, str] = {
    "border": "a border",
    "rim": "the rim of an opening",
    "mirror": "the mirror plane",
    "flow": "a ridge",
}
_NEAR = 0.6  # edges from a border or an earlier line within which a line is left to that


@dataclass(frozen=True)
class Promise:
    """A part of a drawn line on the kept half.

    Attributes
    ----------
    name : the line's.
    points : (k, 3) dense, joined the shortest way on the surface and not smoothed; loose ends are left out.
    sharp : (k,) whether the line turns more sharply there than edges can.
    beside : (k,) int32, which of ``things`` (borders, rims, the mirror plane, earlier lines) runs within 0.6 edges;
        -1 for none.
    things : their names.
    """

    name: str
    points: FloatArray
    sharp: BoolArray
    beside: IntArray
    things: tuple[str, ...] = ()


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
    things, held = _borders(surface)
    out = []
    for part in split_at_mirror(tuple(raw), surface.mirror, lambda points: np.zeros(len(points))):
        dense = np.concatenate([part.points, part.points[:1]]) if part.closed else part.points
        along, edge = arc_length(dense), size(dense)
        kept = np.ones(len(dense), bool)
        if not part.closed:
            kept &= (along > _END * edge) | part.starts_in_plane
            kept &= (along < along[-1] - _END * edge) | part.ends_in_plane
        beside = np.full(len(dense), -1, np.int32)
        if held:
            which = np.repeat(np.arange(len(held), dtype=np.int32), [len(points) for points in held])
            gap, nearest = cKDTree(np.concatenate(held), balanced_tree=False).query(dense)
            beside = np.where(gap < _NEAR * edge, which[np.minimum(nearest, len(which) - 1)], -1).astype(np.int32)
        named = tuple("another part of it" if thing == part.name else thing for thing in things)
        if kept.any():
            out.append(Promise(part.name, dense[kept], turns_sharply(dense, edge)[kept], beside[kept], named))
        held.append(dense)
        things.append(part.name)
    return tuple(out)


def _borders(surface: RegionSurface) -> tuple[list[str], list[FloatArray]]:
    """Return the kinds of constrained edges that there are, and the (k, 3) vertices of each, no vertex twice."""
    found, seen = constrained_edges(surface), np.zeros(len(surface.positions), bool)
    things, held = [], []
    for code in (1, 2, 4, 0):  # where several meet, that tells most
        vertices = np.unique(found.edges[found.kind == code])
        vertices = vertices[~seen[vertices]]
        seen[vertices] = True
        if len(vertices):
            things.append(_THINGS[KIND_CODES[code]])
            held.append(surface.positions[vertices])
    return things, held


def turns_sharply(line: FloatArray, edge: FloatArray) -> BoolArray:
    """Tell which points lie within half an edge of one where a line turns by over 45 degrees within an edge."""
    along = arc_length(line)

    def at(place: FloatArray) -> FloatArray:
        return np.stack([np.interp(place, along, line[:, k]) for k in range(3)], axis=1)

    before, after = line - at(along - 0.5 * edge), at(along + 0.5 * edge) - line
    lengths = norms(before) * norms(after)
    sharp: BoolArray = (before * after).sum(axis=1) < np.cos(np.radians(_SHARP)) * lengths
    if sharp.any():
        sharp = np.abs(along[:, None] - along[sharp][None]).min(axis=1) < 0.5 * edge
    return sharp
