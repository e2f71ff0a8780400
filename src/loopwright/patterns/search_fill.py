"""Find the cut patterns and chord parameters that fill a patch with the fewest poles, most evenly."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations, product

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from loopwright.patterns.cut_patterns import Pattern, enumerate_fold_trees, enumerate_trees
from loopwright.patterns.spoke_program import spoke_program
from loopwright.patterns.unevenness import unevenness
from loopwright.types import FloatArray, IntArray

MAX_POLES = 6
FULL_POLES = (4, 3)  # up to here, for even and odd numbers of sides, every pattern is tried
MAX_STARTS = (12, 6)  # patterns that are tried further, for up to three poles and for more
_MAX_ROUNDS = 60


def patterns_for(side_counts: Sequence[int], pole_count: int) -> tuple[Pattern, ...]:
    """Return the patterns with that many poles that are worth a try for these side counts."""
    n = len(side_counts)
    if pole_count <= FULL_POLES[n % 2]:
        return _patterns_of(n, pole_count, -1)
    return _patterns_of(n, pole_count, int(np.argmax(side_counts)))


@lru_cache(maxsize=64)
def _patterns_of(side_count: int, pole_count: int, fold_side: int) -> tuple[Pattern, ...]:
    """Return all patterns, or those that fold back one side."""
    trees = (
        enumerate_trees(side_count, pole_count)
        if fold_side < 0
        else enumerate_fold_trees(side_count, pole_count, fold_side)
    )
    return tuple(Pattern(tree, side_count) for tree in trees)


def find_start(pattern: Pattern, side_counts: Sequence[int], *, is_tight: bool) -> IntArray | None:
    """Return chord parameters (3 cuts,) whose least spoke is about as long as possible, or None where there are none.

    They are those that a program over real numbers finds, rounded; where no rounding fits, a program over whole ones
    decides.

    Parameters
    ----------
    is_tight : also let spokes towards a chord have length 0 (poles of two parts may then be neighbours).
    """
    least = np.ones(len(pattern.forms), np.int32)
    if is_tight:
        least[pattern.faces_chord >= 0] = 0
    found = spoke_program((pattern,), is_tight=is_tight).solve(side_counts, afresh=True)
    near = _round_params(pattern, side_counts, found[0, :-1], least)
    return _search_params(pattern, side_counts, least) if near is None else near


def _round_params(pattern: Pattern, side_counts: Sequence[int], params: FloatArray, least: IntArray) -> IntArray | None:
    """Return whole parameters near real ones, of those that leave all spokes whole the ones of the longest least spoke.

    None where none of them leaves spokes as long as ``least``.
    """
    near = np.maximum(np.floor(params + 1e-6).astype(np.int32) + _corners_about(len(params)), 1)
    doubled = spokes_of(pattern, side_counts, near)
    fits = ((doubled % 2 == 0) & (doubled >= 2 * least)).all(axis=1)
    if not fits.any():
        return None
    shortest = doubled[:, least > 0].min(axis=1)
    total = np.minimum(doubled, shortest[:, None] + 2).sum(axis=1)  # then as few as possible that are as short
    chosen: IntArray = near[np.flatnonzero(fits)[np.lexsort((-total[fits], -shortest[fits]))[0]]]
    return chosen


@lru_cache(maxsize=16)
def _corners_about(size: int) -> IntArray:
    """Return steps of whole numbers about a place: to the corners of its cell, of short vectors also beyond."""
    width = (-1, 0, 1, 2) if size <= 3 else (0, 1)
    return np.array(list(product(width, repeat=size)), np.int32)


def _search_params(pattern: Pattern, side_counts: Sequence[int], least: IntArray) -> IntArray | None:
    """Return whole parameters whose shortest spoke is as long as possible, by branching; None where there are none."""
    n, size, spokes = len(side_counts), 3 * pattern.cuts, len(pattern.forms)
    fixed = pattern.forms[:, :n].astype(np.int64) @ np.asarray(side_counts, dtype=np.int64)
    rows = np.hstack([pattern.forms[:, n:], -2.0 * np.eye(spokes), np.zeros((spokes, 1))])
    floor = np.hstack([np.zeros((spokes, size)), np.eye(spokes), -np.ones((spokes, 1))])[least > 0]
    result = milp(
        np.concatenate([np.zeros(size), np.where(least > 0, 0.0, -1e-3), [-1.0]]),
        constraints=[LinearConstraint(rows, -fixed, -fixed), LinearConstraint(floor, 0.0, np.inf)],
        bounds=Bounds(np.concatenate([np.ones(size), least, [0.0]]), np.inf),
        integrality=np.concatenate([np.ones(size + spokes), [0.0]]),
    )
    return None if result.x is None else np.rint(result.x[:size]).astype(np.int64).astype(np.int32)


def rank_patterns(
    patterns: Sequence[Pattern], side_counts: Sequence[int], *, is_tight: bool
) -> list[tuple[int, float]]:
    """Return (index, least spoke) of the patterns that could fit, longest least spoke first.

    One linear program over real numbers decides for all patterns at once, so
    whole numbers may still fail for one of them.
    """
    if not patterns:
        return []
    least = spoke_program(tuple(patterns), is_tight=is_tight).solve(side_counts)[:, -1]
    order = np.argsort(-np.round(least, 6), kind="stable")
    return [(int(k), float(least[k])) for k in order if least[k] > -1e-6]


def spokes_of(pattern: Pattern, side_counts: Sequence[int], params: IntArray) -> IntArray:
    """Return twice the spokes, (..., s) int64, of one (3 cuts,) or many (k, 3 cuts) parameter vectors."""
    n = len(side_counts)
    fixed = pattern.forms[:, :n].astype(np.int64) @ np.asarray(side_counts, dtype=np.int64)
    doubled: IntArray = fixed + np.asarray(params, dtype=np.int64) @ pattern.forms[:, n:].T.astype(np.int64)
    return doubled


@lru_cache(maxsize=4096)
def _moves_of(pattern: Pattern) -> IntArray:
    """Return small parameter changes that keep every spoke whole."""
    size = 3 * pattern.cuts
    forms = pattern.forms[:, pattern.side_count :]
    moves = [step * row for row in np.eye(size, dtype=np.int32) for step in (-2, 2)]
    for count in range(2, min(size, 4 if size < 9 else 3) + 1):
        for places in combinations(range(size), count):
            for signs in product((-1, 1), repeat=count):
                row = np.zeros(size, dtype=np.int32)
                row[list(places)] = signs
                moves.append(row)
    all_moves = np.stack(moves)
    kept: IntArray = all_moves[np.all((all_moves @ forms.T) % 2 == 0, axis=1)]
    return kept


def improve(
    pattern: Pattern, side_counts: Sequence[int], side_lengths: Sequence[float], start: IntArray, *, is_tight: bool
) -> tuple[float, IntArray]:
    """Walk to the most even parameters near ``start``; return their unevenness and the parameters."""
    least = np.where(pattern.faces_chord >= 0, 0 if is_tight else 2, 2)
    moves = _moves_of(pattern)
    params = start
    cost = float(unevenness(pattern, side_counts, side_lengths, params[None])[0])
    for _ in range(_MAX_ROUNDS):
        near = np.concatenate([params + moves, params + 3 * moves])
        near = near[np.all(near >= 1, axis=1)]
        near = near[np.all(spokes_of(pattern, side_counts, near) >= least, axis=1)]
        if near.shape[0] == 0:
            break
        costs = unevenness(pattern, side_counts, side_lengths, near)
        best = int(np.argmin(costs))
        if costs[best] >= cost - 1e-9:
            break
        params, cost = near[best], float(costs[best])
    return cost, params
