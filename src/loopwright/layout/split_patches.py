"""Split a piece into patches: discs with three to five corners and no re-entrant one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.errors import InternalError
from loopwright.layout.cut_many import cut_many
from loopwright.layout.cut_once import DRIFT, cut_once
from loopwright.layout.judge_cuts import SplitOptions, burden, is_patch
from loopwright.layout.make_cut import Growing
from loopwright.layout.piece import Piece


def split_piece(
    piece: Piece, surface: Growing, size: float, *, options: SplitOptions | None = None, is_trial: bool = False
) -> list[Piece]:
    """Cut a piece until each part is a patch.

    Parameters
    ----------
    size : the wished edge length near the piece.
    is_trial : only cuts along the crosses are made.

    Returns
    -------
    The patches: discs with 3 to 5 corners, no boundary vertex with more than two quadrants.

    Raises
    ------
    InternalError : some part was left without a cut.
    """
    opt = options or SplitOptions()
    return _split([piece], surface, size, opt, _Rounds(piece.region, _most_cuts(piece)), is_trial=is_trial)


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


def _split(
    stack: list[Piece], surface: Growing, size: float, opt: SplitOptions, rounds: _Rounds, *, is_trial: bool
) -> list[Piece]:
    done: list[Piece] = []
    while stack:
        part = stack.pop()
        if is_patch(part):
            done.append(part)
            continue
        rounds.use()
        found = _split_many(part, surface, size, opt, rounds, is_trial=is_trial) if _is_far(part, opt) else None
        if found is None:
            stack.extend(cut_once(part, surface, size, opt, is_trial=is_trial))
        else:
            done.extend(found)
    return done


def _split_many(
    piece: Piece, surface: Growing, size: float, opt: SplitOptions, rounds: _Rounds, *, is_trial: bool
) -> list[Piece] | None:
    """Cut in many places at once and go on with the parts; None where that is not possible or ends nowhere."""
    trial = surface.copy()
    parts = cut_many(piece, trial, size, opt, np.radians(DRIFT))
    if parts[0] is piece:
        return None
    try:
        done = _split(parts, trial, size, opt, rounds, is_trial=True)
    except InternalError:
        if rounds.left < 0 or (is_trial and len(parts) == 1):
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
