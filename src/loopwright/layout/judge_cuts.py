"""What cuts are worth: before they are made, by their ends and lengths, and after, by their parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.layout.make_cut import Growing
from loopwright.layout.piece import Piece, side_chains
from loopwright.layout.trace_cuts import Cut
from loopwright.surface.half_edges import arc_length
from loopwright.surface.proxy import surface_area
from loopwright.types import FloatArray, IntArray


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
    """What the search needs to know of a piece's boundary."""

    loop_of: dict[int, int]
    place: dict[int, int]
    loops: list[IntArray]
    next_turns: list[np.ndarray]
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
    loop_of, place, sums = {}, {}, []
    distance = np.full(len(piece.origin), np.inf)
    for k, loop in enumerate(loops):
        for i, v in enumerate(loop.tolist()):
            loop_of[v], place[v] = k, i
        sums.append(np.concatenate([[0], np.cumsum(2 - piece.quadrants[loop])]))
        length = arc_length(points[np.append(loop, loop[0])])
        is_node = np.array([int(o) in surface.nodes for o in piece.origin[loop]]) | (piece.quadrants[loop] != 2)
        at = length[:-1][is_node]
        if len(at):
            around = np.concatenate([at - length[-1], at, at + length[-1]])
            distance[loop] = np.abs(length[:-1, None] - around[None, :]).min(axis=1)
    return Rim(loop_of, place, loops, sums, distance)


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


def score_cut(piece: Piece, surface: Growing, rim: Rim, cut: Cut, size: float, opt: SplitOptions) -> float | None:
    """Return the price of a cut, or None where it would not help."""
    start_loop, end_loop = rim.loop_of[cut.start], rim.loop_of[cut.end]
    is_disc = len(rim.loops) == 1 and piece.euler == 1
    from_reentrant = piece.quadrants[cut.start] > 2 or piece.quadrants[cut.end] > 2
    cost = cut.cost
    if len(rim.loops) > 1:
        if start_loop == end_loop and not from_reentrant:
            return None
    elif is_disc:
        index = piece.index_sum
        left = _left_index(piece, rim, cut)
        right = index - left
        extra = abs(left) + abs(right) - abs(index)
        if not from_reentrant and (extra > 0 or left == 0 or right == 0):
            return None
        cost += 1.5 * size * extra
        if abs(index) > 2:
            cost *= 1.0 + 0.15 * abs(abs(left) - abs(right)) / abs(index)
    for v in (cut.start, cut.end):
        if piece.quadrants[v] != 2:
            continue
        if int(piece.origin[v]) in surface.nodes:
            cost *= opt.meet_node
        else:
            lack = max(0.0, 1.0 - rim.node_distance[v] / (opt.near_node * size))
            cost += 3.0 * size * lack
    return cost


def _left_index(piece: Piece, rim: Rim, cut: Cut) -> int:
    """Index sum of the part of a disc that has the boundary from the cut's start on to its end."""
    sums, a, b = rim.next_turns[0], rim.place[cut.start], rim.place[cut.end]
    between = sums[b] - sums[a + 1] if a < b else sums[-1] - sums[a + 1] + sums[b]
    at_start = 2 - cut.start_arm
    at_end = 2 - (int(piece.quadrants[cut.end]) - cut.end_arm)
    return int(4 - (between + at_start + at_end))


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


def side_misfit(part: Piece, points: FloatArray, size: float) -> float:
    """How many segments the sides of a disc are off from what its pole, or none, needs; 0 for parts still to be cut.

    Sides of length e (in segments): opposite ones equal in a four-sided part,
    the two of a lens equal, the spokes of the one pole of a three- or
    five-sided part at least two.
    """
    if len(part.loops) != 1 or part.euler != 1 or (part.quadrants > 2).any():
        return 0.0
    sides = side_chains(part.loops[0], part.quadrants)
    e = np.array([arc_length(points[s])[-1] for s in sides]) / size
    n = len(e) if (part.quadrants == 1).any() else 0
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
