"""Make many cuts of a piece at once, from one field and one graph.

A region with many holes or spots needs hundreds of cuts.  To trace anew for
every one takes time with the square of their number or worse.  So while a
piece is far from being patches, the cheap cuts that keep clear of one another
are all made before the field is solved again in each part: a constant share
of those that are missing each time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.layout.judge_cuts import SplitOptions, burden, outcome_penalty, pick_starts, score_cuts, survey
from loopwright.layout.make_cut import CutPiece, Growing, Path, apply_path, path_of, take_cut
from loopwright.layout.piece import Piece
from loopwright.layout.piece_graph import piece_graph
from loopwright.layout.trace_cuts import cut_steps, trace_from
from loopwright.numerics.norms import norms
from loopwright.surface.proxy import surface_area
from loopwright.types import FloatArray, IntArray

_CHUNK = 16  # starts traced at once: bounds the memory
_KEPT = 6  # cheapest cuts kept of each start
_REACH = 4.0  # cuts are traced so far, in mean distances between the things to be cut apart
_SHARE = 3  # of the missing cuts, one in so many is made from one field
_CLEAR = 2.0  # ends of cuts made at once are so far apart, in edge lengths


@dataclass(frozen=True)
class Candidate:
    """A cut that may be made: its price, its ends, the pieces of rim that they lie on, and its way."""

    price: float
    ends: tuple[int, int]
    loops: tuple[int, int]
    way: Path


def cut_many(piece: Piece, surface: Growing, size: float, opt: SplitOptions, drift_limit: float) -> list[Piece]:
    """Return the parts after as many good cuts as keep clear of one another; the piece alone where there are none.

    At most a third of the missing cuts are made.
    """
    points = surface.positions[piece.origin]
    clear = _Clear(piece, points, _CLEAR * size)
    parts = _Parts(piece, points)
    missing = len(piece.loops) - 1 if len(piece.loops) > 1 else abs(piece.index_sum) // 2
    made = 0
    for candidate in _candidates(piece, points, surface, size, opt, drift_limit):
        if made >= max(1, missing // _SHARE):
            break
        if not clear.allows(candidate):
            continue
        found = parts.cut(candidate.way)
        if found is None:
            continue
        place, cut = found
        if not _helps(parts.pieces[place], cut, surface, size, opt):
            continue
        parts.replace(place, cut, surface)
        clear.add(candidate)
        made += 1
    return parts.pieces


def _candidates(
    piece: Piece, points: FloatArray, surface: Growing, size: float, opt: SplitOptions, drift_limit: float
) -> list[Candidate]:
    """Return the cheapest cuts from each start, the cheapest first."""
    graph = piece_graph(piece, points, surface.bending(), size, drift_limit=drift_limit)
    rim = survey(piece, surface, points)
    starts = pick_starts(piece, surface, rim, opt)
    reach = _reach(piece, points)
    out: list[Candidate] = []
    for first in range(0, len(starts), _CHUNK):
        part = starts[first : first + _CHUNK]
        cuts, before = trace_from(graph, part, limit=reach)
        prices = score_cuts(piece, rim, cuts, size, opt)
        for row in range(len(part)):
            mine = np.flatnonzero((cuts.row == row) & np.isfinite(prices))
            for i in mine[np.argsort(prices[mine], kind="stable")[:_KEPT]].tolist():
                cut = cuts[i]
                way = path_of(piece, graph, cut, cut_steps(graph, cut, before[row]))
                loops = (int(rim.loop_of[cut.start]), int(rim.loop_of[cut.end]))
                out.append(Candidate(float(prices[i]), (cut.start, cut.end), loops, way))
    out.sort(key=lambda c: (c.price, c.ends))
    return out


def _reach(piece: Piece, points: FloatArray) -> float:
    """How far cuts are traced: some mean distances between what is to be cut apart."""
    area = surface_area(points, piece.triangles)
    return float(_REACH * np.sqrt(area / max(1, sum(burden(piece)))))


def _helps(piece: Piece, cut: CutPiece, surface: Growing, size: float, opt: SplitOptions) -> bool:
    """Whether a cut brings parts nearer to patches, without poles of both signs, and leaves none that is a sliver."""
    parts, fresh, _, _ = cut.outcome
    penalty = outcome_penalty(parts, burden(piece), surface, fresh, size, opt)
    if penalty is None or penalty > size:
        return False
    if len(parts) == 1:
        return True
    poles = [p.index_sum for p in parts]
    return 0 not in poles and sum(abs(n) for n in poles) <= abs(piece.index_sum)


class _Clear:
    """Keeps the cuts of one round apart, and from closing rings round parts of a piece with several rims."""

    def __init__(self, piece: Piece, points: FloatArray, gap: float) -> None:
        self.points, self.gap = points, gap
        self.busy = np.zeros(len(piece.origin), bool)
        self.ends: list[int] = []
        self.joined = list(range(len(piece.loops)))

    def allows(self, cut: Candidate) -> bool:
        """Whether the cut keeps clear of those made, and joins rims that they do not, if there are several."""
        if len(self.joined) > 1 and self._root(cut.loops[0]) == self._root(cut.loops[1]):
            return False
        if self.busy[cut.way.touched].any():
            return False
        if not self.ends:
            return True
        away = norms(self.points[self.ends][:, None] - self.points[list(cut.ends)])
        return bool(away.min() > self.gap)

    def add(self, cut: Candidate) -> None:
        """Take note of a cut that is made."""
        self.busy[cut.way.touched] = True
        self.ends.extend(cut.ends)
        self.joined[self._root(cut.loops[0])] = self._root(cut.loops[1])

    def _root(self, loop: int) -> int:
        while self.joined[loop] != loop:
            loop = self.joined[loop]
        return loop


class _Parts:
    """The parts of a piece while it is cut, and where its vertices are in them."""

    def __init__(self, piece: Piece, points: FloatArray) -> None:
        self.pieces = [piece]
        self.points = [points]
        self.whole: list[IntArray] = [np.arange(len(piece.origin), dtype=np.int32)]
        self.part: IntArray = np.zeros(len(piece.origin), np.int32)
        self.local: IntArray = self.whole[0].copy()

    def cut(self, way: Path) -> tuple[int, CutPiece] | None:
        """Return the place of the part that holds a way, and the part cut along it."""
        places = np.unique(self.part[way.touched])
        if len(places) != 1:
            return None
        place = int(places[0])
        vertices = np.where(way.vertices >= 0, self.local[np.maximum(way.vertices, 0)], way.vertices)
        here = Path(vertices, self.local[way.edges], way.shares, way.start_arm, way.end_arm)
        made = apply_path(self.pieces[place], self.points[place], here)
        return None if made is None else (place, made)

    def replace(self, place: int, cut: CutPiece, surface: Growing) -> None:
        """Put the parts of a cut in the place of what was cut."""
        whole = self.whole[place]
        for k, (part, below) in enumerate(zip(take_cut(cut.outcome, surface), cut.below, strict=True)):
            origin: IntArray = np.where(below >= 0, whole[np.maximum(below, 0)], -1).astype(np.int32)
            at = place if k == 0 else len(self.pieces)
            if k:
                self.pieces.append(part)
                self.points.append(surface.positions[part.origin])
                self.whole.append(origin)
            else:
                self.pieces[at], self.points[at], self.whole[at] = part, surface.positions[part.origin], origin
            known = np.flatnonzero(origin >= 0)
            self.part[origin[known]] = at
            self.local[origin[known]] = known
