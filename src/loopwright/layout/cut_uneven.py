"""Cut patches further whose sides do not suit one another: a grid in them would be stretched beyond use.

A patch may have the right corners and still be no place for a grid: a ring
round a hole far off its middle, cut where it is thinnest; a region that
bends round another.  Such patches are cut once more, from side to side, as
long as the worse of the two parts is clearly better than the whole.  The
cut's ends lie within sides, where neighbours need not go on with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.layout.cross_field import cross_field, polar_frames
from loopwright.layout.piece import Piece, arc_length, side_chains
from loopwright.layout.split_patches import Growing, Outcome, apply_cut, is_patch, take_cut
from loopwright.layout.trace_cuts import Cut, build_graph, collect_steps, cut_steps, trace_from
from loopwright.types import FloatArray


@dataclass(frozen=True)
class UnevenOptions:
    """When a patch is cut further.

    most : the unevenness (see :func:`unevenness`) up to which a patch is left alone.
    gain : how much lower that of the parts must be, weighted by area.
    least_area : parts smaller than this many faces are not made.
    bent : how much a cut's bend counts: its price over its ends' distance, less one.
    starts : boundary points tried. tried : best cuts whose outcome is looked at.
    deepest : cuts of cuts.
    drift : how far, in degrees, a cut may leave the field.
    """

    most: float = 1.0
    gain: float = 0.25
    least_area: float = 4.0
    bent: float = 0.1
    starts: int = 48
    tried: int = 8
    deepest: int = 6
    drift: float = 60.0


def cut_uneven(
    patch: Piece, surface: Growing, size: float, *, options: UnevenOptions | None = None, depth: int = 0
) -> list[Piece]:
    """Return the patch, or the patches that it is cut into.

    Parameters
    ----------
    size : the wished edge length in the patch.
    """
    opt = options or UnevenOptions()
    points = surface.positions[patch.origin]
    now = unevenness(patch, points)
    if depth >= opt.deepest or now <= opt.most or _area(patch, points) < 2 * opt.least_area * size**2:
        return [patch]
    outcome = _best_halves(patch, points, size, now - opt.gain, opt)
    if outcome is None:
        return [patch]
    parts = take_cut(outcome, surface)
    return [p for part in parts for p in cut_uneven(part, surface, size, options=opt, depth=depth + 1)]


def unevenness(patch: Piece, points: FloatArray) -> float:
    """How far a patch is from a place for a grid, as a logarithm: 0 is fair, 1 is a factor of e.

    The larger of two: how much the sides differ that a grid makes equal
    (left out in a ring, whose rows may grow longer outward), and how much
    the area differs from what the sides would enclose.
    """
    sides = side_chains(patch.loops[0], patch.quadrants)
    lengths = np.array([arc_length(points[s])[-1] for s in sides])
    return _judge(lengths, _area(patch, points), patch.is_ring)


def _judge(lengths: FloatArray, area: float | None, is_ring: bool) -> float:
    e, n = lengths, len(lengths)
    if n == 4:
        spokes = np.sqrt(np.array([e[0] * e[2], e[1] * e[3]]))
        worst = 0.0 if is_ring else float(np.abs(np.log([e[0] / e[2], e[1] / e[3]])).max())
        enclosed = (e[0] + e[2]) * (e[1] + e[3]) / 4
    else:
        if n == 3:
            spokes = e.sum() / 2 - e
        else:
            spokes = np.array([e[(i + 1) % 5] + e[i - 1] + e[i] - e[(i + 2) % 5] - e[i - 2] for i in range(5)]) / 2
        mean = float(e.mean()) / 2
        spokes = np.maximum(spokes, 0.05 * mean)
        worst = float(np.log(mean / spokes.min()))
        enclosed = float((spokes * np.roll(spokes, -1)).sum())
    if area is None:
        return worst
    return max(worst, float(abs(np.log(area / enclosed))))


def _area(patch: Piece, points: FloatArray) -> float:
    p = points[patch.triangles]
    return float(0.5 * np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1).sum())


def _best_halves(patch: Piece, points: FloatArray, size: float, most: float, opt: UnevenOptions) -> Outcome | None:
    """Return the cut with the least mean unevenness of its parts, weighted by area, if that is at most ``most``."""
    frames = polar_frames(points, patch.triangles, patch.quadrants)
    crosses = cross_field(points, patch.triangles, patch.quadrants, frames)
    steps = collect_steps(points, patch.triangles, patch.quadrants, frames)
    graph = build_graph(steps, crosses, patch.quadrants, drift_limit=np.radians(opt.drift))
    loop = patch.loops[0]
    straight = loop[patch.quadrants[loop] == 2]
    starts = [(int(v), 1) for v in straight[:: max(1, len(straight) // opt.starts)]]
    if not starts:
        return None
    cuts, _, before = trace_from(graph, starts)
    row = {start: k for k, start in enumerate(starts)}
    rim = _Rim(patch, points)
    ranked = []
    for cut in cuts:
        guess = rim.judge(cut)
        if guess is not None:
            bend = cut.cost / max(float(np.linalg.norm(points[cut.start] - points[cut.end])), 1e-300) - 1.0
            ranked.append((guess + opt.bent * bend, bend, cut.start, cut.end, cut))
    ranked.sort(key=lambda r: r[:4])
    best: tuple[float, Outcome] | None = None
    seen: list[tuple[int, int]] = []
    for _, bend, start, end, cut in ranked:
        if len(seen) >= opt.tried:
            break
        if any(_is_near(points, (start, end), other, size) for other in seen):
            continue
        seen.append((start, end))
        outcome = apply_cut(patch, points, graph, cut, cut_steps(graph, cut, before[row[cut.start, cut.start_arm]]))
        if outcome is None or len(outcome[0]) != 2 or not all(is_patch(p) for p in outcome[0]):
            continue
        placed = [_points(part, points, patch, outcome[1]) for part in outcome[0]]
        areas = [_area(p, q) for p, q in zip(outcome[0], placed, strict=True)]
        if min(areas) < opt.least_area * size**2:
            continue
        mean = float(np.average([unevenness(p, q) for p, q in zip(outcome[0], placed, strict=True)], weights=areas))
        if mean <= most and (best is None or mean + opt.bent * bend < best[0]):
            best = (mean + opt.bent * bend, outcome)
    return None if best is None else best[1]


def _is_near(points: FloatArray, one: tuple[int, int], other: tuple[int, int], size: float) -> bool:
    a, b = points[list(one)], points[list(other)]
    straight = np.linalg.norm(a - b, axis=1).sum()
    return bool(min(straight, np.linalg.norm(a - b[::-1], axis=1).sum()) < 2 * size)


def _points(part: Piece, points: FloatArray, patch: Piece, fresh: FloatArray) -> FloatArray:
    """Return the points of a part whose fresh vertices have origin -1, -2, ..."""
    place = {int(o): i for i, o in enumerate(patch.origin.tolist())}
    return np.array([points[place[o]] if o >= 0 else fresh[-o - 1] for o in part.origin.tolist()])


class _Rim:
    """Side lengths of the parts of a cut, before it is made."""

    def __init__(self, patch: Piece, points: FloatArray) -> None:
        loop = np.concatenate([s[:-1] for s in side_chains(patch.loops[0], patch.quadrants)])
        along = arc_length(points[np.append(loop, loop[0])])
        self.at = {int(v): float(s) for v, s in zip(loop, along[:-1], strict=True)}
        self.corners = along[:-1][patch.quadrants[loop] == 1]
        self.total = float(along[-1])

    def judge(self, cut: Cut) -> float | None:
        """Return the mean unevenness by lengths alone, weighted by them, or None where a part would be no patch."""
        a, b = sorted((self.at[cut.start], self.at[cut.end]))
        found = 0.0
        for low, high in ((a, b), (b, a + self.total)):
            corners = np.concatenate([self.corners, self.corners + self.total])
            within = corners[(corners > low) & (corners < high)]
            if not 1 <= len(within) <= 3:
                return None
            share = (high - low) / self.total
            found += share * _judge(np.append(np.diff([low, *within, high]), cut.cost), None, False)
        return found
