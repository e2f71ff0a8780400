"""Cut a ring across where it is wide and where it is narrow.

A grid takes as many segments round the one loop of a ring as round the other.
Where one is much longer, rows have to end.  Cut into sectors, each with one pair of
poles, a ring gets more rows where it is wide than where it is narrow, and by so
many segments fewer round its inner loop: poles are then spread round it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from loopwright.layout.judge_cuts import is_patch
from loopwright.layout.make_cut import Growing, apply_cut, take_cut
from loopwright.layout.measure_uneven import UnevenOptions, loop_side
from loopwright.layout.piece import Piece, side_chains
from loopwright.layout.piece_graph import piece_graph
from loopwright.layout.trace_cuts import cut_steps, trace_from
from loopwright.surface.half_edges import arc_length
from loopwright.types import BoolArray, FloatArray

_TRIED = 8  # cuts from one place, the cheapest first
_ROUND = 0.06  # of the mean width: waves of the width that are lower tell nothing
_NEAR = 0.05  # of the loop, from an end, within which no cut is made


def quarter_ring(patch: Piece, surface: Growing, size: float, opt: UnevenOptions) -> list[Piece] | None:
    """Return the sectors of a ring, opened by one cut or half; None where it cannot be cut so.

    Parameters
    ----------
    patch : of four sides.
    size : the wished edge length in the patch.
    """
    points = surface.positions[patch.origin]
    sides = side_chains(patch.loops[0], patch.quadrants)
    first = loop_side(patch, points, sides)
    long, short = sides[first], sides[first + 2]
    if arc_length(points[long])[-1] < arc_length(points[short])[-1]:
        long, short = short, long
    if np.log(arc_length(points[long])[-1] / arc_length(points[short])[-1]) < opt.quarter:
        return None
    is_closed = bool(np.array_equal(patch.origin[sides[1 - first]], patch.origin[sides[3 - first]][::-1]))
    far = set(patch.origin[short].tolist())
    trial, parts, along = surface.copy(), [patch], arc_length(points[long])
    for place in _places(points[long], points[short], is_closed=is_closed):
        at = int(np.abs(along - place * along[-1]).argmin())
        if not 0 < at < len(long) - 1:
            return None
        start = int(patch.origin[long[at]])
        found = [(k, vertex) for k, part in enumerate(parts) for vertex in _straight(part, start)]
        if not found:
            return None
        index, vertex = found[0]
        cut = _cut_across(parts[index], trial, size, opt, vertex, far)
        if cut is None:
            return None
        parts[index : index + 1] = cut
    surface.become(trial)
    return [replace(part, is_ring=False, is_sector=True) for part in parts]


def _places(long: FloatArray, short: FloatArray, *, is_closed: bool) -> list[float]:
    """Return where to cut, as shares of the long loop, none near its ends: where it is widest and narrowest."""
    share = arc_length(long) / arc_length(long)[-1]
    width, _ = cKDTree(short, balanced_tree=False).query(long)
    step = np.gradient(share)
    if not is_closed:  # half a ring: its image makes it whole
        return [0.5]
    waves = [complex((width * step * np.exp(2j * np.pi * k * share)).sum()) for k in (1, 2)]
    mean = float((width * step).sum())
    order = 1 if abs(waves[0]) > abs(waves[1]) > 0 and abs(waves[0]) > _ROUND * mean else 2
    phase = float(np.angle(waves[order - 1])) / (2 * np.pi * order) if abs(waves[order - 1]) > _ROUND * mean else 0.0
    found = np.sort((phase + np.arange(2 * order) / (2 * order)) % 1.0)
    return [float(place) for place in found if _NEAR < place < 1.0 - _NEAR]


def _straight(part: Piece, vertex: int) -> list[int]:
    """Return the part's own numbers of a vertex of the surface where its boundary runs straight on there."""
    found: list[int] = np.flatnonzero((part.origin == vertex) & (part.quadrants == 2)).tolist()
    return found


def _cut_across(
    part: Piece, surface: Growing, size: float, opt: UnevenOptions, vertex: int, far: set[int]
) -> list[Piece] | None:
    """Cut from a vertex of one loop to the other loop, the cheapest way."""
    points = surface.positions[part.origin]
    graph = piece_graph(part, points, surface.bending(), size, drift_limit=np.radians(opt.drift))
    cuts, before = trace_from(graph, [(vertex, 1)])
    ends = np.array([int(v) in far for v in part.origin[cuts.end]], bool) & (part.quadrants[cuts.end] == 2)
    for k in _cheapest(cuts.cost, ends):
        outcome = apply_cut(part, points, graph, cuts[k], cut_steps(graph, cuts[k], before[cuts.row[k]]))
        if outcome is not None and len(outcome[0]) == 2 and all(is_patch(each) for each in outcome[0]):
            return take_cut(outcome, surface)
    return None


def _cheapest(cost: FloatArray, allowed: BoolArray) -> list[int]:
    """Return the places of the cheapest of those allowed, the cheapest first, a few at most."""
    order = np.argsort(np.where(allowed, cost, np.inf), kind="stable")
    return [int(k) for k in order[: min(_TRIED, int(allowed.sum()))]]
