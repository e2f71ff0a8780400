"""Carry the loose end of a line on over the surface until it meets a border or another line.

It goes on the way it runs, turns with the flow of the edges around, and
meets what lies ahead at about a right angle, by a short way.  It does not
wind back to the end that it leaves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from loopwright.marks.flow_field import FlowField
from loopwright.marks.steer_way import across_at, along_flow, find_targets
from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.marks.trace_way import Steer, trace_way
from loopwright.numerics.norms import norms
from loopwright.surface.edges import cross_rows, row_lengths
from loopwright.surface.half_edges import arc_length
from loopwright.types import FloatArray

_ANGLES = (0.0, 15.0, -15.0, 30.0, -30.0, 45.0, -45.0)
_KINK = 20.0  # a kink of so many degrees at the end is as bad as twice the way
_BEND = 90.0  # and so is a turn of so many degrees on the way
_ASLANT = 35.0  # and so is meeting something so many degrees off a right angle
_ACROSS = 1.0  # how much longer a way counts that runs at half a right angle to the flow all along
_JOIN = 0.6  # a way that passes something nearer than this, in mesh edges, joins it
_FREE = 1.3  # the first part of the way that joins nothing, in mesh edges
_OWN = 2.0  # the last part of the line itself that no way may come back to, in mesh edges
_WINDS = 1.5  # from so many times its ends' distance on (a half circle has 1.57) a way's length counts by the square
_MEETS = 0.8  # length over which the angle at which a way meets something is taken, in mesh edges


@dataclass(frozen=True)
class Way:
    """A way on from a loose end.

    Attributes
    ----------
    points : (k, 3) from the end on.
    joins : the vertex it joins, or None at a crossed edge.
    aslant : degrees that it meets what it ends on off a right angle.
    """

    points: FloatArray
    joins: int | None
    aslant: float = 0.0


@dataclass(frozen=True)
class _Search:
    """Where a way starts, what is around, and the vertices of the line just behind."""

    cutter: SurfaceCutter
    vertex: int
    reach: float
    held: np.ndarray
    tree: cKDTree
    own: frozenset[int]


def carry_on(
    cutter: SurfaceCutter,
    vertex: int,
    direction: FloatArray,
    reach: float,
    limit: float,
    field: Callable[[], FlowField],
) -> Way | None:
    """Return the best way on.

    Straight ways (geodesics of the triangles) in directions up to 45 degrees
    off are tried, one that turns with the flow, and arcs that end at right
    angles on places ahead.  Of all the one is taken that is short, hardly
    turns, runs along the flow and ends square.  One that comes back to the
    line just behind its end is none, and one that winds, or leads over a
    form that stands out, counts as longer than it is.

    Parameters
    ----------
    direction : (3,) the line's own at its end.
    reach : the wished edge length of the mesh.
    limit : longest way.
    field : makes the flow.
    """
    held = np.array(sorted(cutter.held), np.int64)
    if len(held) == 0:
        return None
    own = _just_behind(cutter, vertex, _OWN * reach)
    search, up, flow = _Search(cutter, vertex, reach, held, cutter.tree_of(held), own), cutter.normal(vertex), field()
    best: tuple[float, Way | None] = (np.inf, None)
    for angle in _ANGLES:
        kink = 1.0 + (angle / _KINK) ** 2
        way = _try(search, _rotate(direction, up, np.radians(angle)), min(best[0] / kink, limit), None)
        if way is not None:
            best = min(best, (_length(way) * kink * _flaws(way, flow), way), key=_price)
    for steer in _steers(search, _rotate(direction, up, 0.0), min(best[0], limit), flow):
        way = _try(search, direction, min(best[0], limit), steer)
        if way is not None:
            best = min(best, (_length(way) * _bend(way, up, direction, reach) * _flaws(way, flow), way), key=_price)
    return best[1]


def _price(priced: tuple[float, Way | None]) -> float:
    return priced[0]


def _steers(search: _Search, heading: FloatArray, most: float, flow: FlowField) -> Iterator[Steer]:
    yield along_flow(flow, search.reach)
    at = search.cutter.points[search.vertex]
    for target in find_targets(search.cutter, search.held, at, heading, search.reach, most):
        yield across_at(target, search.reach)


def _try(search: _Search, direction: FloatArray, most: float, steer: Steer | None) -> Way | None:
    points, met = trace_way(search.cutter, search.vertex, direction, most, steer)
    return _join(search, points, met)


def _join(search: _Search, points: FloatArray, met: tuple[int, int] | None) -> Way | None:
    """Shorten a way to the first thing that it passes closely."""
    reach = search.reach
    if len(points) > 1:
        length = arc_length(points)
        gap, nearest = search.tree.query(points)
        close = np.flatnonzero((gap < _JOIN * reach) & (length > _FREE * reach))
        if len(close):
            first = int(close[0])
            window = close[(close >= first) & (length[close] < length[first] + _JOIN * reach)]
            chosen = int(window[gap[window].argmin()])
            joined = int(search.held[nearest[chosen]])
            if joined in search.own:
                return None
            points = np.concatenate([points[: chosen + 1], search.tree.data[nearest[chosen]][None]])
            return Way(points, joined, _aslant(search, points, ((joined, -1),)))
    if met is None or len(points) < 2 or search.own.issuperset(met):
        return None
    return Way(points, None, _aslant(search, points, (met, met[::-1])))


def _just_behind(cutter: SurfaceCutter, vertex: int, far: float) -> frozenset[int]:
    """Return a line's end and its vertices no further along it than that, up to a junction or before its other end."""
    own, gone, ends = [vertex], 0.0, [w for w in cutter.neighbours(vertex) if cutter.is_held_edge(vertex, w)]
    while len(ends) == 1 and ends[0] not in own:
        gone += float(np.linalg.norm(cutter.points[ends[0]] - cutter.points[own[-1]]))
        if gone > far:
            break
        ahead, behind = ends[0], own[-1]
        ends = [w for w in cutter.neighbours(ahead) if w != behind and cutter.is_held_edge(ahead, w)]
        if not ends:
            break  # where the line may close
        own.append(ahead)
    return frozenset(own)


def _aslant(search: _Search, points: FloatArray, starts: tuple[tuple[int, int], ...]) -> float:
    """Return by how much less than 90 degrees a way makes with the nearest of the borders and lines it ends on.

    Each start is a vertex to follow them from, and one that lies behind.
    """
    length = arc_length(points)
    start = int(np.searchsorted(length, length[-1] - _MEETS * search.reach, side="right")) - 1
    back = points[max(start, 0)] - points[-1]
    least = 90.0
    for v, behind in starts:
        for w in sorted(search.cutter.neighbours(v)):
            if w != behind and search.cutter.is_held_edge(v, w):
                along = _follow(search, v, w) - points[-1]
                least = min(least, _degrees(along, back))
    return 90.0 - least


def _follow(search: _Search, v: int, w: int) -> FloatArray:
    """Return the place so far along a border or line from a vertex as angles are taken over, or its end."""
    cutter, start = search.cutter, search.cutter.points[v]
    while float(np.linalg.norm(cutter.points[w] - start)) < _MEETS * search.reach:
        on = [u for u in sorted(cutter.neighbours(w)) if u != v and cutter.is_held_edge(w, u)]
        if len(on) != 1:
            break
        v, w = w, on[0]
        if cutter.points[w] is start:
            break
    return cutter.points[w]


def _flaws(way: Way, flow: FlowField) -> float:
    """Return how much longer a way counts for the angle it ends at, for running across the flow and for winding."""
    step = np.diff(way.points, axis=0)
    length = norms(step)
    arms, strength = flow.near(way.points[:-1] + 0.5 * step)
    cosine = np.einsum("ij,ij->i", step, arms) / np.maximum(length, 1e-300)
    off = 4.0 * cosine**2 * (1.0 - np.minimum(cosine**2, 1.0)) * strength  # the squared sine of twice the angle
    across = float(off @ length) / max(float(length.sum()), 1e-300)
    straight = float(np.linalg.norm(way.points[-1] - way.points[0]))
    winds = max(float(length.sum()) / max(_WINDS * straight, 1e-150), 1.0) ** 2
    return (1.0 + (way.aslant / _ASLANT) ** 2) * (1.0 + _ACROSS * across) * winds


def _bend(way: Way, up: FloatArray, direction: FloatArray, reach: float) -> float:
    """Return how much longer a way counts for its turns, from the line's own direction to its last step."""
    length = arc_length(way.points)
    count = max(int(length[-1] / reach), 1) + 1
    at = np.linspace(0.0, length[-1], count)
    coarse = np.stack([np.interp(at, length, way.points[:, k]) for k in range(3)], axis=1)
    steps = np.concatenate([_rotate(direction, up, 0.0)[None], np.diff(coarse, axis=0)])
    turns = sum(_degrees(a, b) for a, b in zip(steps[:-1], steps[1:], strict=True))
    return 1.0 + (turns / _BEND) ** 2


def _length(way: Way) -> float:
    return float(arc_length(way.points)[-1])


def _degrees(a: FloatArray, b: FloatArray) -> float:
    """Return the angle between two vectors."""
    return float(np.degrees(np.arctan2(row_lengths(cross_rows(a[None], b[None]))[0], a @ b)))


def _rotate(vector: FloatArray, axis: FloatArray, angle: float) -> FloatArray:
    flat = vector - (vector @ axis) * axis
    flat = flat / max(float(np.linalg.norm(flat)), 1e-300)
    turned: FloatArray = np.cos(angle) * flat + np.sin(angle) * np.cross(axis, flat)
    return turned
