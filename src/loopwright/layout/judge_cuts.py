"""What cuts are worth: before they are made, by their ends and lengths, and after, by their parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.layout.cut_misfit import side_misfit
from loopwright.layout.make_cut import Growing
from loopwright.layout.piece import Piece
from loopwright.layout.trace_cuts import Cuts
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import arc_length
from loopwright.surface.proxy import surface_area
from loopwright.types import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class SplitOptions:
    """How pieces are cut.

    most_starts : boundary points tried per piece.
    tried : best cuts of which the outcome is looked at.
    near_node : a cut that ends nearer than this many edge lengths to a node pays for it.
    meet_node : share of its cost that a cut keeps when it runs on from another cut's end.
    misfit : price, in edge lengths, of each segment by which the sides of a part do not fit their pole.
    many : pieces with more missing cuts than this are cut in many places at once.
    """

    most_starts: int = 48
    tried: int = 10
    near_node: float = 1.5
    meet_node: float = 0.85
    misfit: float = 0.6
    many: int = 12


@dataclass(frozen=True)
class Rim:
    """What the search needs to know of a piece's boundary.

    Attributes
    ----------
    loop_of, place : (n,) int32, the loop of each vertex and its place in that; -1 inside.
    loops : local vertex ids.
    next_turns : for each loop, the sum of its turns before each of its vertices, and of all.
    is_node : (n,) whether a boundary vertex is a node of the surface.
    node_distance : (n,) how far the next node or corner is along the boundary; inf where there is none.
    """

    loop_of: IntArray
    place: IntArray
    loops: list[IntArray]
    next_turns: list[np.ndarray]
    is_node: BoolArray
    node_distance: FloatArray


def is_patch(piece: Piece) -> bool:
    """Tell whether a piece is a disc with 3 to 5 corners and nothing re-entrant."""
    return bool(
        (piece.quadrants <= 2).all()
        and 3 <= int((piece.quadrants == 1).sum()) <= 5
        and piece.euler == 1
        and len(piece.loops) == 1
    )


def burden(piece: Piece) -> tuple[int, int]:
    """How far a piece is from a patch: (missing connection, re-entrant corners + poles beyond one)."""
    loops = len(piece.loops)
    handles = 1 - piece.euler
    reentrant = int(np.maximum(piece.quadrants - 2, 0).sum())
    poles = abs(piece.index_sum) if loops == 1 else 0
    return (handles, 2 * reentrant + max(poles - 1, 0))


def survey(piece: Piece, surface: Growing, points: FloatArray) -> Rim:
    """Return what the search needs to know of a piece's boundary; ``points`` are those of the piece's vertices."""
    loops = piece.loops
    count = len(piece.origin)
    loop_of, place = np.full((2, count), -1, np.int32)
    known = np.zeros(count, bool)
    distance = np.full(count, np.inf)
    sums = []
    for k, loop in enumerate(loops):
        loop_of[loop], place[loop] = k, np.arange(len(loop))
        sums.append(np.concatenate([[0], np.cumsum(2 - piece.quadrants[loop])]))
        length = arc_length(points[np.append(loop, loop[0])])
        known[loop] = [origin in surface.nodes for origin in piece.origin[loop].tolist()]
        at = length[:-1][known[loop] | (piece.quadrants[loop] != 2)]
        if len(at):
            around = np.concatenate([at - length[-1], at, at + length[-1]])
            distance[loop] = np.abs(length[:-1, None] - around[None, :]).min(axis=1)
    return Rim(loop_of, place, loops, sums, known, distance)


def pick_starts(piece: Piece, surface: Growing, rim: Rim, opt: SplitOptions) -> list[tuple[int, int]]:
    """Boundary states to trace from: all re-entrant corners alone if there are any, else nodes and even samples."""
    reentrant = [
        (v, j) for v in np.flatnonzero(piece.quadrants > 2).tolist() for j in range(1, int(piece.quadrants[v]))
    ]
    if reentrant:
        return reentrant
    straight = [loop[piece.quadrants[loop] == 2] for loop in rim.loops]
    total = sum(len(s) for s in straight)
    every = max(1, int(np.ceil(total / opt.most_starts)))
    picked: set[int] = set()
    for loop in straight:
        picked.update(loop[::every].tolist())
        picked.update(v for v in loop.tolist() if int(piece.origin[v]) in surface.nodes)
    return [(v, 1) for v in sorted(picked)]


def score_cuts(piece: Piece, rim: Rim, cuts: Cuts, size: float, opt: SplitOptions) -> FloatArray:
    """Return (k,) the prices of cuts; inf for those that would not help."""
    is_reentrant = (piece.quadrants[cuts.start] > 2) | (piece.quadrants[cuts.end] > 2)
    cost = cuts.cost.copy()
    helps = np.ones(len(cuts), bool)
    if len(rim.loops) > 1:
        helps = (rim.loop_of[cuts.start] != rim.loop_of[cuts.end]) | is_reentrant
    elif piece.euler == 1:
        index = piece.index_sum
        left = _left_index(piece, rim, cuts)
        right = index - left
        extra = np.abs(left) + np.abs(right) - abs(index)
        helps = is_reentrant | ((extra <= 0) & (left != 0) & (right != 0))
        cost += 1.5 * size * extra
        if abs(index) > 2:
            cost *= 1.0 + 0.15 * np.abs(np.abs(left) - np.abs(right)) / abs(index)
    lack = np.maximum(0.0, 1.0 - rim.node_distance / (opt.near_node * size))
    for ends in (cuts.start, cuts.end):
        is_straight = piece.quadrants[ends] == 2
        met = is_straight & rim.is_node[ends]
        cost[met] *= opt.meet_node
        missed = is_straight & ~met
        cost[missed] += 3.0 * size * lack[ends[missed]]
    return np.where(helps, cost, np.inf)


def _left_index(piece: Piece, rim: Rim, cuts: Cuts) -> IntArray:
    """Return (k,) index sums of the parts of a disc that have the boundary from the cuts' starts on to their ends."""
    sums, a, b = rim.next_turns[0], rim.place[cuts.start], rim.place[cuts.end]
    between = sums[b] - sums[a + 1] + np.where(a < b, 0, sums[-1])
    at_start = 2 - cuts.start_arm
    at_end = 2 - (piece.quadrants[cuts.end] - cuts.end_arm)
    left: IntArray = 4 - (between + at_start + at_end)
    return left


class SeenCuts:
    """Which cuts end within ``apart`` of one that was looked at, so that looking at them tells nothing new.

    ``covers`` is (k,) of all cuts; with ``apart`` of 0 none is ever covered.
    """

    def __init__(self, points: FloatArray, cuts: Cuts, apart: float) -> None:
        self.ends = points[np.stack([cuts.start, cuts.end], axis=1)]
        self.along = [np.ascontiguousarray(self.ends[:, end, 0]) for end in range(2)]  # one axis, to sift by
        self.apart = apart
        self.covers = np.zeros(len(cuts), bool)

    def add(self, k: int) -> None:
        """Take note of a cut that was looked at."""
        if not self.apart:
            return
        for at in (self.ends[k], self.ends[k, ::-1]):
            gaps = [np.abs(along - x) for along, x in zip(self.along, at[:, 0].tolist(), strict=True)]
            near = np.flatnonzero((gaps[0] < self.apart) & (gaps[1] < self.apart) & ~self.covers)
            lengths = norms(self.ends[near] - at).sum(axis=1)
            self.covers[near[lengths < self.apart]] = True


def outcome_penalty(
    parts: list[Piece], old: tuple[int, int], surface: Growing, fresh: FloatArray, size: float, opt: SplitOptions
) -> float | None:
    """Return what is bad about the parts of a cut, or None where the cut brings no progress."""
    new = [burden(p) for p in parts]
    handles = sum(b[0] for b in new)
    if len(parts) == 1:
        if handles >= old[0]:
            return None
    elif any(b >= old for b in new):
        return None
    penalty = 0.0
    for part in parts:
        origin = part.origin
        points = np.where((origin >= 0)[:, None], surface.positions[np.maximum(origin, 0)], 0.0)
        if len(fresh):
            points = np.where(
                (origin < 0)[:, None], fresh[np.minimum(-origin - 1, len(fresh) - 1) * (origin < 0)], points
            )
        penalty += max(0.0, 4.0 - surface_area(points, part.triangles) / size**2) * size
        penalty += opt.misfit * size * side_misfit(part, points, size)
    return penalty
