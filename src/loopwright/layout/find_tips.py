"""Tips: where a part ends in a round tongue, so that its rows want two corners there although none is sharp."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from loopwright.layout.border_graph import constrained_edges, node_mask
from loopwright.layout.open_surface import OpenSurface, open_surface
from loopwright.layout.piece import chain_rim
from loopwright.layout.ring_pieces import find_rings
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import directed_edges, edge_keys
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface

_REACH = 2.0  # edges to both sides of a tip's middle within which its border turns
_LEAST_TURN, _MOST_TURN = np.radians(130.0), np.radians(230.0)  # within that
_BESIDE = 1.2  # edges beyond that in which it hardly turns
_MOST_BESIDE = np.radians(35.0)
_LEAST_BREADTH = 1.2  # edges along the border between the two corners: a narrower tip has one
_NEAR = 0.75  # edges up to which a junction is one of the corners
_STEPS = 81  # places along a tip at which its turn is looked up


@dataclass(frozen=True)
class Tips:
    """The corners of round tips.

    Attributes
    ----------
    angles : wedge of the surface cut open -> the angle that it counts as: were the tip square, about a right one.
    corners : the vertices of those that are no junctions.
    within : all vertices on the borders of tips.
    """

    angles: dict[int, float]
    corners: list[int]
    within: set[int]


def find_tips(surface: RegionSurface, vertex_size: FloatArray) -> Tips:
    """Return the corners of the tips of all parts but rings, whose loops run on round them.

    The border of a part turns by a half circle or so within a few edges there, and runs about straight on both sides.

    Parameters
    ----------
    vertex_size : (n,) wished edge length.
    """
    count = len(surface.positions)
    opened, constrained = open_surface(surface), constrained_edges(surface)
    is_node = node_mask(constrained, count)
    keys = edge_keys(constrained.edges, count)
    order = np.argsort(keys)
    edges, turn = directed_edges(opened.wedges), _turns(surface, opened)
    tips = Tips({}, [], set())
    for c in np.flatnonzero(~np.array(find_rings(surface))).tolist():
        for wedges in chain_rim(edges[opened.at_rim & np.repeat(opened.component == c, 3)]):
            vertices = opened.origin[wedges]
            ways = np.sort(np.column_stack([vertices, np.roll(vertices, -1)]), axis=1)
            kind = constrained.kind[order[np.searchsorted(keys, edge_keys(ways, count), sorter=order)]]
            step = norms(np.diff(surface.positions[ways], axis=1)[:, 0]) / vertex_size[ways].mean(axis=1)
            loop = _Loop(wedges, vertices, step, turn[wedges], is_node[vertices])
            for run in _runs(kind):
                _add_tips(tips, loop, run)
    return tips


def with_tips(bends: Iterable[int], tips: Tips) -> list[int]:
    """Return the bends with the corners of tips, which take the place of others there."""
    return sorted({*(bend for bend in bends if bend not in tips.within), *tips.corners})


@dataclass(frozen=True)
class _Loop:
    """A boundary of a part: its (k,) wedges, their vertices, the way to the next in edges, the turns to the left."""

    wedges: IntArray
    vertices: IntArray
    step: FloatArray
    turn: FloatArray
    is_node: BoolArray


@dataclass(frozen=True)
class _Run:
    """Places along a loop that borders join, in order, and whether the first and the last lie in the mirror plane."""

    places: IntArray
    is_closed: bool
    at_mirror: tuple[bool, bool]


@dataclass(frozen=True)
class _Way:
    """Places along a run, -1 for those in its image; how far on they are, in edges, and the turn up to each.

    ``length`` is how far round a closed run is, which is followed three times; else inf.
    """

    places: IntArray
    at: FloatArray
    turned: FloatArray
    length: float = np.inf

    def turn_at(self, s: FloatArray) -> FloatArray:
        """Return the turn up to there."""
        return np.interp(s, self.at, self.turned)


def _turns(surface: RegionSurface, opened: OpenSurface) -> FloatArray:
    """Return (w,) by how much a boundary turns to the left at each wedge, as seen in the part itself."""
    p = surface.positions[surface.triangles]
    ahead, back = np.roll(p, -1, axis=1) - p, np.roll(p, 1, axis=1) - p
    angle: FloatArray = np.arctan2(norms(np.cross(ahead, back)), (ahead * back).sum(axis=2))
    inside = np.bincount(opened.wedges.reshape(-1), angle.reshape(-1), len(opened.origin))
    turn: FloatArray = (np.pi - inside).astype(np.float64)
    return turn


def _runs(kind: IntArray) -> list[_Run]:
    """Return the runs of borders in a loop; ``kind`` is of the edges from each place to the next."""
    count, is_border = len(kind), kind == 0
    if is_border.all():
        return [_Run(np.arange(count, dtype=np.int32), True, (False, False))]
    runs = []
    for start in np.flatnonzero(is_border & ~np.roll(is_border, 1)).tolist():
        length = int(np.argmin(np.roll(is_border, -start)))
        ends = bool(kind[start - 1] == 2), bool(kind[(start + length) % count] == 2)
        runs.append(_Run((start + np.arange(length + 1, dtype=np.int32)) % np.int32(count), False, ends))
    return runs


def _follow(loop: _Loop, run: _Run) -> _Way | None:
    """Follow a run: a closed one goes on beyond its ends, and one that ends in the mirror plane in its image."""
    places, turn = run.places, loop.turn[run.places]
    at = np.concatenate([[0.0], np.cumsum(loop.step[places if run.is_closed else places[:-1]])])
    if run.is_closed:
        if at[-1] < 4 * _REACH:
            return None
        whole = np.concatenate([at[:-1] - at[-1], at[:-1], at[:-1] + at[-1]])
        return _Way(np.tile(places, 3), whole, _up_to(np.tile(turn, 3)), float(at[-1]))
    beyond = np.full(len(places), -1, np.int32)
    # of both halves in the mirror plane; at a rim nothing is known
    ends = [2.0 * turn[end] - np.pi if there else 0.0 for end, there in zip((0, -1), run.at_mirror, strict=True)]
    turn = np.concatenate([ends[:1], turn[1:-1], ends[1:]])
    parts = [(places, at, turn)]
    if run.at_mirror[0]:
        parts.insert(0, (beyond[1:], -at[:0:-1], turn[:0:-1]))
    if run.at_mirror[1]:
        parts.append((beyond[1:], 2 * at[-1] - at[-2::-1], turn[-2::-1]))
    along, where, turns = (np.concatenate(each) for each in zip(*parts, strict=True))
    return _Way(along, where, _up_to(turns))


def _up_to(turns: FloatArray) -> FloatArray:
    """Return the turn up to each place, with half of its own."""
    whole: FloatArray = np.cumsum(turns) - 0.5 * turns
    return whole


def _add_tips(tips: Tips, loop: _Loop, run: _Run) -> None:
    way = _follow(loop, run)
    if way is None:
        return
    wide, middles = _REACH + _BESIDE, way.at[(way.places >= 0) & (way.at >= 0.0) & (way.at < way.length)]
    middles = middles[(middles - wide >= way.at[0]) & (middles + wide <= way.at[-1])]
    before, low, high, after = (way.turn_at(middles + reach) for reach in (-wide, -_REACH, _REACH, wide))
    turn, beside = high - low, np.maximum(np.abs(low - before), np.abs(after - high))
    fits = (turn >= _LEAST_TURN) & (turn <= _MOST_TURN) & (beside <= _MOST_BESIDE)
    in_plane = run.places[[end for end, there in zip((0, -1), run.at_mirror, strict=True) if there]]
    taken: list[float] = []
    for k in np.argsort(beside - turn, kind="stable").tolist():
        middle = float(middles[k])
        gaps = [abs(middle - other) for other in taken]
        if not fits[k] or any(min(gap, way.length - gap) < 2 * _REACH for gap in gaps):
            continue
        taken.append(middle)
        s = np.linspace(middle - _REACH, middle + _REACH, _STEPS)
        first, second = (s[int(np.argmax(way.turn_at(s) - low[k] >= share * turn[k]))] for share in (0.25, 0.75))
        chosen = {_choose(way, loop.is_node, in_plane, mark) for mark in (first, second)}
        if second - first < _LEAST_BREADTH or len(chosen) < 2:
            continue
        for place in chosen - {-1}:
            tips.angles[int(loop.wedges[place])] = float(np.pi - turn[k] / 2)
            if not loop.is_node[place]:
                tips.corners.append(int(loop.vertices[place]))
        around = way.places[(np.abs(way.at - middle) <= _REACH) & (way.places >= 0)]
        tips.within.update(loop.vertices[around].tolist())


def _choose(way: _Way, is_node: BoolArray, in_plane: IntArray, mark: float) -> int:
    """Return the place nearest to a mark, that of a junction if one is near; -1 if it is in the run's image.

    None in the mirror plane is taken, where the corner would be one in the middle of the tip.
    """
    far = np.where(np.isin(way.places, in_plane), np.inf, np.abs(way.at - mark))
    nodes = np.flatnonzero((far <= _NEAR) & (way.places >= 0) & is_node[way.places])
    best = nodes[far[nodes].argmin()] if len(nodes) else far.argmin()
    return int(way.places[best])
