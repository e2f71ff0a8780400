"""Split a piece into patches: discs with three to five corners and no re-entrant one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from operator import itemgetter

import numpy as np

from loopwright.errors import InternalError
from loopwright.layout.cut_many import cut_many
from loopwright.layout.judge_cuts import (
    Rim,
    SplitOptions,
    burden,
    is_patch,
    outcome_penalty,
    pick_starts,
    score_cut,
    survey,
)
from loopwright.layout.make_cut import Growing, Outcome, apply_cut, take_cut
from loopwright.layout.piece import Piece
from loopwright.layout.piece_graph import piece_graph
from loopwright.layout.trace_cuts import Cut, cut_steps, trace_from
from loopwright.types import FloatArray

_DRIFT = 50.0  # how far, in degrees, a cut may leave the field at first


def split_piece(piece: Piece, surface: Growing, size: float, *, options: SplitOptions | None = None) -> list[Piece]:
    """Cut a piece until each part is a patch.

    Parameters
    ----------
    size : the wished edge length near the piece.

    Returns
    -------
    The patches: discs with 3 to 5 corners, no boundary vertex with more than two quadrants.
    """
    opt = options or SplitOptions()
    return _split([piece], surface, size, opt, _Rounds(piece.region, _most_cuts(piece)))


@dataclass
class _Rounds:
    """How many more times the parts of a region may be cut."""

    region: int
    left: int

    def use(self) -> None:
        """Count one; raise where none is left."""
        self.left -= 1
        if self.left < 0:
            raise InternalError(f"Cutting region {self.region} does not end.")


def _split(stack: list[Piece], surface: Growing, size: float, opt: SplitOptions, rounds: _Rounds) -> list[Piece]:
    done: list[Piece] = []
    while stack:
        part = stack.pop()
        if is_patch(part):
            done.append(part)
            continue
        rounds.use()
        found = _split_many(part, surface, size, opt, rounds) if _is_far(part, opt) else None
        if found is None:
            stack.extend(cut_once(part, surface, size, opt))
        else:
            done.extend(found)
    return done


def _split_many(piece: Piece, surface: Growing, size: float, opt: SplitOptions, rounds: _Rounds) -> list[Piece] | None:
    """Cut in many places at once and go on with the parts; None where that is not possible or ends nowhere."""
    trial = surface.copy()
    parts = cut_many(piece, trial, size, opt, np.radians(_DRIFT))
    if parts[0] is piece:
        return None
    try:
        done = _split(parts, trial, size, opt, rounds)
    except InternalError:
        if rounds.left < 0 or len(parts) == 1:
            raise
        return None  # some part was left without a cut: fewer at once
    surface.become(trial)
    return done


def _most_cuts(piece: Piece) -> int:
    """Return a bound of the cuts that a piece needs: some for each rim and each turn of its boundary."""
    turns = int(np.abs(piece.quadrants[piece.quadrants > 0] - 2).sum())
    return 50 + 20 * (len(piece.loops) + abs(piece.euler) + turns)


def _is_far(piece: Piece, opt: SplitOptions) -> bool:
    """Whether a piece is so far from being patches, and without re-entrant corners, that it is cut in many places."""
    return bool((piece.quadrants <= 2).all()) and sum(burden(piece)) > opt.many


def cut_once(piece: Piece, surface: Growing, size: float, opt: SplitOptions) -> list[Piece]:
    """Make the best single cut."""
    for drift_limit, more in ((_DRIFT, 1), (85.0, 1), (_DRIFT, 16), (85.0, 16)):
        looser = replace(opt, tried=more * opt.tried)
        found = _best_cut(piece, surface, size, looser, np.radians(drift_limit))
        if found is not None:
            return take_cut(found, surface)
    place = surface.positions[piece.origin].mean(axis=0)
    raise InternalError(
        f"No cut was found in a piece of region {piece.region} with {len(piece.triangles)} triangles, "
        f"{len(piece.loops)} rims and {int((piece.quadrants == 1).sum())} corners near "
        "({:.4g}, {:.4g}, {:.4g}): move lines that run near there apart, or ask for more faces.".format(*place),
        places=[tuple(place.tolist())],
    )


def _best_cut(piece: Piece, surface: Growing, size: float, opt: SplitOptions, drift_limit: float) -> Outcome | None:
    points = surface.positions[piece.origin]
    graph = piece_graph(piece, points, surface.bending, size, drift_limit=drift_limit)
    rim = survey(piece, surface, points)
    starts = pick_starts(piece, surface, rim, opt)
    if not starts:
        return None
    cuts, _, before = trace_from(graph, starts)
    row = {start: k for k, start in enumerate(starts)}
    scored = []
    for cut in cuts:
        score = score_cut(piece, surface, rim, cut, size, opt)
        if score is not None:
            scored.append((score, cut.start, cut.start_arm, cut.end, cut.end_arm, cut))
    scored.sort(key=itemgetter(0, 1, 2, 3, 4))
    best: tuple[float, Outcome] | None = None
    looked = 0
    seen_ends: list[Cut] = []
    old = burden(piece)
    for score, *_, cut in scored:
        if looked >= opt.tried or (best is not None and score > 2.0 * best[0] + size):
            break
        if any(_same_place(rim, cut, other, size, points) for other in seen_ends):
            continue
        ids = cut_steps(graph, cut, before[row[cut.start, cut.start_arm]])
        outcome = apply_cut(piece, points, graph, cut, ids)
        if outcome is None:
            continue
        looked += 1
        seen_ends.append(cut)
        penalty = outcome_penalty(outcome[0], old, surface, outcome[1], size, opt)
        if penalty is None:
            continue
        if best is None or score + penalty < best[0]:
            best = (score + penalty, outcome)
    return best[1] if best else None


def _same_place(rim: Rim, a: Cut, b: Cut, size: float, points: FloatArray) -> bool:
    """Whether two cuts end so near one another that looking at both tells nothing new."""
    straight = np.linalg.norm(points[a.start] - points[b.start]) + np.linalg.norm(points[a.end] - points[b.end])
    turned = np.linalg.norm(points[a.start] - points[b.end]) + np.linalg.norm(points[a.end] - points[b.start])
    return bool(min(straight, turned) < 2 * size)
