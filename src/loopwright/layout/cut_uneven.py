"""Cut patches further whose sides do not suit one another: a grid in them would be stretched beyond use.

A patch may have the right corners and still be no place for a grid: a ring
round a hole far off its middle, cut where it is thinnest; a region that
bends round another.  Such patches are cut once more, from side to side, as
long as the worse of the two parts is clearly better than the whole.  The
cut's ends lie within sides, where neighbours need not go on with it.  Where
no such cut helps, one is tried whose parts are no patches yet: a lens on one
side of a long smooth border is cut on into two patches of three sides.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from loopwright.errors import InternalError
from loopwright.layout.judge_cuts import SeenCuts, is_patch
from loopwright.layout.make_cut import Growing, Outcome, apply_cut, take_cut
from loopwright.layout.measure_uneven import UnevenOptions, compare_sides, is_stray, unevenness
from loopwright.layout.piece import Piece, side_chains
from loopwright.layout.piece_graph import piece_graph
from loopwright.layout.quarter_ring import quarter_ring
from loopwright.layout.split_patches import split_piece
from loopwright.layout.trace_cuts import Cuts, cut_steps, trace_from
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import arc_length
from loopwright.surface.proxy import surface_area
from loopwright.types import FloatArray

_LEAST_LENS = 0.15  # share of the rim that a part must have that is no patch yet


def cut_uneven(
    patch: Piece, surface: Growing, size: float, *, options: UnevenOptions | None = None, depth: int = 0
) -> list[Piece]:
    """Return the patch, or the patches that it is cut into.

    Parameters
    ----------
    size : the wished edge length in the patch.
    """
    opt = options or UnevenOptions()
    whole, points = patch, surface.positions[patch.origin]
    now = unevenness(patch, points, size, surface.scale_of(patch), both=opt.both, ring=opt.ring)
    strays = is_stray(patch, points, now, opt)
    is_grave = strays or (now >= opt.grave and not patch.is_ring)
    if is_grave:
        opt = replace(opt, least_area=opt.least_grave, shattered=opt.shattered_grave)
    if patch.is_ring and not strays and np.isfinite(opt.quarter):
        parts = quarter_ring(patch, surface, size, opt)
        if parts is not None:
            return parts
    keeps = not strays and (patch.is_ring or now <= opt.most)
    if keeps or depth >= opt.deepest or surface_area(points, patch.triangles) < 2 * opt.least_area * size**2:
        return [patch]
    if strays:  # if it was a ring, not for long
        patch = replace(patch, is_ring=False)
        again = unevenness(patch, points, size, surface.scale_of(patch), both=opt.both, ring=opt.ring)
        now = max(again, opt.most + opt.gain)
    search = _Search(patch, points, size, opt, surface)
    parts = search.halve_or_shatter(surface, now - opt.gain, try_both=is_grave)
    return [p for part in parts or [] for p in cut_uneven(part, surface, size, options=options, depth=depth + 1)] or [
        whole
    ]


_Found = tuple[float, list[Piece], Growing]
"""Score, parts, and the surface with the cuts that make them."""


class _Search:
    """The cuts of one patch, traced once."""

    def __init__(self, patch: Piece, points: FloatArray, size: float, opt: UnevenOptions, surface: Growing) -> None:
        self.patch, self.points, self.size, self.opt = patch, points, size, opt
        self.surface = surface
        self.least = opt.least_area * size**2
        self.graph = piece_graph(patch, points, surface.bending(), size, drift_limit=np.radians(opt.drift))
        loop = patch.loops[0]
        straight = loop[patch.quadrants[loop] == 2]
        starts = [(int(v), 1) for v in straight[:: max(1, len(straight) // opt.starts)]]
        self.cuts, self.before = trace_from(self.graph, starts)

    def halve_or_shatter(self, surface: Growing, most: float, *, try_both: bool) -> list[Piece] | None:
        """Make the cut of the least mean unevenness, if that is at most ``most``.

        Cuts whose parts have to be cut on are tried where none leaves two patches, or always.
        """
        found = self._halve(surface, most)
        if found is None or try_both:
            shattered = self._shatter(surface, most)
            if found is None or (shattered is not None and shattered[0] < found[0] - self.opt.gain):
                found = shattered
        if found is None:
            return None
        surface.become(found[2])
        return found[1]

    def _halve(self, surface: Growing, most: float) -> _Found | None:
        best: tuple[float, Outcome] | None = None
        for bend, outcome in self._outcomes(are_patches=True, tried=self.opt.tried):
            if len(outcome[0]) != 2 or not all(is_patch(p) for p in outcome[0]):
                continue
            placed = [_points(part, self.points, self.patch, outcome[1]) for part in outcome[0]]
            score = self._score(outcome[0], placed)
            if score <= most and (best is None or score + bend < best[0]):
                best = (score + bend, outcome)
        if best is None:
            return None
        trial = surface.copy()
        return best[0], take_cut(best[1], trial), trial

    def _shatter(self, surface: Growing, most: float) -> _Found | None:
        best: _Found | None = None
        mark, in_vain = np.inf, 0
        for bend, outcome in self._outcomes(are_patches=False, tried=self.opt.shattered):
            found = self._split(outcome, surface)
            if found is not None and found[0] <= most and (best is None or found[0] + bend < best[0]):
                best = (found[0] + bend, *found[1:])
            if best is not None and best[0] < mark - self.opt.least_gain:
                mark, in_vain = best[0], 0
            elif found is not None and np.isfinite(found[0]):
                in_vain += 1
            if in_vain == self.opt.patience:
                break
        return best

    def _split(self, outcome: Outcome, surface: Growing) -> _Found | None:
        """Make a cut on a copy of the surface, and cut its parts on; None where that does not go or one is small."""
        placed = [_points(part, self.points, self.patch, outcome[1]) for part in outcome[0]]
        if _areas(outcome[0], placed).min() < self.least:
            return None
        trial = surface.copy()
        try:
            parts = [q for p in take_cut(outcome, trial) for q in split_piece(p, trial, self.size, is_trial=True)]
        except InternalError:
            return None
        return self._score(parts, [trial.positions[p.origin] for p in parts]), parts, trial

    def _score(self, parts: list[Piece], placed: list[FloatArray]) -> float:
        areas = _areas(parts, placed)
        if areas.min() < self.least:
            return np.inf
        each = np.array(
            [
                unevenness(p, q, self.size, self.surface.scale_of(p), both=self.opt.both, ring=self.opt.ring)
                for p, q in zip(parts, placed, strict=True)
            ]
        )
        return float(np.sqrt(np.average(each**2, weights=areas)))

    def _outcomes(self, *, are_patches: bool, tried: int) -> Iterator[tuple[float, Outcome]]:
        """Yield the most promising cuts, no two in about the same place, each with the price of its bend."""
        cuts, points = self.cuts, self.points
        straight = norms(points[cuts.start] - points[cuts.end])
        guesses = _Rim(self.patch, points, self.size, self.opt.both).judge(cuts, straight, are_patches=are_patches)
        bends = self.opt.bent * (cuts.cost / np.maximum(straight, 1e-300) - 1.0)
        near = SeenCuts(points, cuts, 2 * self.size)
        order = np.lexsort((cuts.end, cuts.start, bends, guesses + bends))
        seen = 0
        for k in order[: np.isfinite(guesses).sum()].tolist():
            if seen >= tried:
                break
            if near.covers[k]:
                continue
            near.add(k)
            seen += 1
            ids = cut_steps(self.graph, cuts[k], self.before[cuts.row[k]])
            outcome = apply_cut(self.patch, points, self.graph, cuts[k], ids)
            if outcome is not None:
                yield float(bends[k]), outcome


def _areas(parts: list[Piece], placed: list[FloatArray]) -> FloatArray:
    return np.array([surface_area(q, p.triangles) for p, q in zip(parts, placed, strict=True)])


def _points(part: Piece, points: FloatArray, patch: Piece, fresh: FloatArray) -> FloatArray:
    """Return the points of a part whose fresh vertices have origin -1, -2, ..."""
    order = np.argsort(patch.origin, kind="stable")
    # a vertex that the patch has twice is in one place: the last of its copies will do as well as any
    at = order[np.maximum(np.searchsorted(patch.origin[order], part.origin, side="right") - 1, 0)]
    both = np.concatenate([points, fresh])
    out: FloatArray = both[np.where(part.origin >= 0, at, len(points) - part.origin - 1)]
    return out


class _Rim:
    """Side lengths of the parts of a cut, before it is made.

    They are lengths and not wished segments: which cuts are likely shall not hang on sizes, or patches round a dab of
    small ones come out small enough that as many segments as elsewhere do for them, and edges stay long.
    """

    def __init__(self, patch: Piece, points: FloatArray, size: float, both: float) -> None:
        self.size, self.both = size, both
        loop = np.concatenate([s[:-1] for s in side_chains(patch.loops[0], patch.quadrants)])
        along = arc_length(points[np.append(loop, loop[0])])
        self.at = np.zeros(len(points))
        self.at[loop] = along[:-1]
        self.corners = along[:-1][patch.quadrants[loop] == 1]
        self.total = float(along[-1])

    def judge(self, cuts: Cuts, straight: FloatArray, *, are_patches: bool) -> FloatArray:
        """Return (k,) mean unevennesses by lengths alone, weighted by them; inf where the parts are (no) patches.

        Parameters
        ----------
        straight : (k,) how far the ends of each cut are apart, as which its length counts; inf too where they are not.
        """
        length = np.maximum(straight, 1e-9 * self.size)
        ends = np.sort(self.at[np.stack([cuts.start, cuts.end], axis=1)], axis=1)
        found, patches = np.zeros(len(cuts)), np.zeros(len(cuts), np.int64)
        corners = np.concatenate([self.corners, self.corners + self.total])
        for low, high in ((ends[:, 0], ends[:, 1]), (ends[:, 1], ends[:, 0] + self.total)):
            share = (high - low) / self.total
            first, last = np.searchsorted(corners, low, side="right"), np.searchsorted(corners, high, side="left")
            number = 2 + last - first
            for sides in range(2, 6):
                mine = np.flatnonzero(number == sides)
                within = [corners[first[mine] + k] for k in range(sides - 2)]
                lengths = np.column_stack([np.diff(np.column_stack([low[mine], *within, high[mine]])), length[mine]])
                if sides == 2:
                    worst = np.abs(np.log(lengths[:, 0] / lengths[:, 1]))
                else:
                    worst, _ = compare_sides(lengths, self.size, both=self.both)
                    patches[mine] += 1
                found[mine] += share[mine] * worst
            found[((number < 3) | (number > 5)) & (share < _LEAST_LENS)] = np.inf
        return np.where(((patches == 2) == are_patches) & (straight > 0.0), found, np.inf)
