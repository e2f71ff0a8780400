"""Make the best single cut of a piece, or, where none runs along the crosses, any that helps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.errors import InternalError
from loopwright.layout.cut_misfit import DiscSides
from loopwright.layout.force_cut import can_go_on, refine_piece, shortest_graph
from loopwright.layout.judge_cuts import (
    Rim,
    SeenCuts,
    SplitOptions,
    burden,
    outcome_penalty,
    pick_starts,
    score_cuts,
    survey,
)
from loopwright.layout.make_cut import Growing, Outcome, apply_cut, take_cut
from loopwright.layout.piece import Piece
from loopwright.layout.piece_graph import piece_graph
from loopwright.layout.trace_cuts import CutGraph, cut_steps, trace_from

DRIFT = 50.0
"""How far, in degrees, a cut may leave the crosses at first."""

_DEAD_END = 1e3  # price, in edge lengths, of a part that can hardly be cut further
_SAME = 1e-6  # of an edge: prices that differ by less are taken as the same
_TRIED = 2000  # cuts by the shortest way of which the outcome is looked at
_STARTS = 200  # boundary points from which such cuts are traced


def cut_once(piece: Piece, surface: Growing, size: float, opt: SplitOptions, *, is_trial: bool = False) -> list[Piece]:
    """Make the best single cut along the crosses; where there is none, and this is no trial, any that helps.

    Raises
    ------
    InternalError : no cut brings the piece nearer to patches.
    """
    for drift_limit, more in ((DRIFT, 1), (85.0, 1), (DRIFT, 16), (85.0, 16)):
        found = _along_crosses(piece, surface, size, replace(opt, tried=more * opt.tried), drift_limit)
        if found is not None:
            return take_cut(found, surface)
    forced = None if is_trial else _force_cut(piece, surface, size, opt)
    if forced is not None:
        return forced
    place = surface.positions[piece.origin].mean(axis=0)
    raise InternalError(
        f"No cut was found in a piece of region {piece.region} with {len(piece.triangles)} triangles, "
        f"{len(piece.loops)} rims and {int((piece.quadrants == 1).sum())} corners near "
        "({:.4g}, {:.4g}, {:.4g}): move lines that run near there apart, or ask for more faces.".format(*place),
        places=[tuple(place.tolist())],
    )


def _force_cut(piece: Piece, surface: Growing, size: float, opt: SplitOptions) -> list[Piece] | None:
    """Cut a piece on finer triangles: along the crosses if that helps, else by the shortest way."""
    finer = refine_piece(piece, surface)
    for drift_limit in (DRIFT, 85.0):
        found = _along_crosses(finer, surface, size, replace(opt, tried=16 * opt.tried), drift_limit)
        if found is not None:
            return take_cut(found, surface)
    points = surface.positions[finer.origin]
    graph = shortest_graph(finer, points)
    rim = survey(finer, surface, points)
    for starts in (pick_starts(finer, surface, rim, opt), _all_starts(finer)):
        found = _best_cut(finer, surface, size, replace(opt, tried=_TRIED), graph, rim, starts, apart=0.0)
        if found is not None:
            return take_cut(found, surface)
    return None


def _all_starts(piece: Piece) -> list[tuple[int, int]]:
    """Return every boundary state, of a long boundary an even share of them."""
    states = [(v, j) for v in np.flatnonzero(piece.quadrants > 1).tolist() for j in range(1, int(piece.quadrants[v]))]
    return states[:: 1 + len(states) // _STARTS]


def _along_crosses(
    piece: Piece, surface: Growing, size: float, opt: SplitOptions, drift_limit: float
) -> Outcome | None:
    points = surface.positions[piece.origin]
    graph = piece_graph(piece, points, surface.bending(), size, drift_limit=np.radians(drift_limit))
    rim = survey(piece, surface, points)
    return _best_cut(piece, surface, size, opt, graph, rim, pick_starts(piece, surface, rim, opt), apart=2 * size)


def _best_cut(
    piece: Piece,
    surface: Growing,
    size: float,
    opt: SplitOptions,
    graph: CutGraph,
    rim: Rim,
    starts: list[tuple[int, int]],
    *,
    apart: float,
) -> Outcome | None:
    """Return what comes of the best cut in a graph from some starts; cuts nearer than ``apart`` count once."""
    if not starts:
        return None
    points = surface.positions[piece.origin]
    cuts, before = trace_from(graph, starts)
    prices = score_cuts(piece, rim, cuts, size, opt)
    seen = SeenCuts(points, cuts, apart)
    sides = DiscSides(piece, points) if len(piece.loops) == 1 and piece.euler == 1 else None
    best: tuple[float, Outcome] | None = None
    looked = 0
    old = burden(piece)
    order = np.lexsort((cuts.end_arm, cuts.end, cuts.start_arm, cuts.start, prices))
    for k in order[: np.isfinite(prices).sum()].tolist():
        # what comes of a cut only adds to its price
        if looked >= opt.tried or (best is not None and prices[k] >= best[0]):
            break
        if seen.covers[k]:
            continue
        cut = cuts[k]
        steps = cut_steps(graph, cut, before[cuts.row[k]])
        if sides is not None and best is not None:
            # taken as looked at, though it is not known whether it could be made
            least = opt.misfit * size * sides.misfit(cut, float(graph.steps.length[steps].sum()), size)
            if prices[k] + least > best[0] + _SAME * size:
                looked += 1
                seen.add(k)
                continue
        outcome = apply_cut(piece, points, graph, cut, steps)
        if outcome is None:
            continue
        looked += 1
        seen.add(k)
        penalty = outcome_penalty(outcome[0], old, surface, outcome[1], size, opt)
        if penalty is None:
            continue
        if not apart:
            penalty += _DEAD_END * size * sum(not can_go_on(part) for part in outcome[0])
        price = float(prices[k]) + penalty
        if best is None or price < best[0]:
            best = (price, outcome)
    return best[1] if best else None
