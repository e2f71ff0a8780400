"""Find the cut patterns and chord parameters that fill a patch with the fewest poles, most evenly."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations, product

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import block_diag, csr_matrix

from loopwright.patterns.cut_patterns import Cut, Leaf, Pattern, Tree, cut_count, enumerate_fold_trees, enumerate_trees
from loopwright.patterns.embed_fill import convex_corners
from loopwright.patterns.one_pole import doubled_spoke_matrix
from loopwright.types import FloatArray, IntArray

MAX_POLES = 6
FULL_POLES = (4, 3)  # up to here, for even and odd numbers of sides, every pattern is tried
MAX_STARTS = (12, 6)  # patterns that are tried further, for up to three poles and for more
_MAX_ROUNDS = 60
_ROOM = 0.25  # wanted edges between pole and rim, as a share of the shortest side
_ROOM_BETWEEN = 0.7  # the same between a pole and a chord, as a share of that


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
    """Return chord parameters (3 cuts,) whose least spoke is as long as possible, or None where there are none.

    Parameters
    ----------
    is_tight : also let spokes towards a chord have length 0 (poles of two parts may then be neighbours).
    """
    n, size = len(side_counts), 3 * pattern.cuts
    fixed = pattern.forms[:, :n].astype(np.int64) @ np.asarray(side_counts, dtype=np.int64)
    moving = pattern.forms[:, n:]
    spokes = moving.shape[0]
    rows = np.hstack([moving, -2.0 * np.eye(spokes), np.zeros((spokes, 1))])
    floor = np.hstack([np.zeros((spokes, size)), np.eye(spokes), -np.ones((spokes, 1))])
    floor = floor[pattern.faces_chord < 0] if is_tight else floor
    least = np.ones(spokes)
    if is_tight:
        least[pattern.faces_chord >= 0] = 0.0
    cost = np.concatenate([np.zeros(size), np.full(spokes, -1e-3 if is_tight else 0.0), [-1.0]])
    result = milp(
        cost,
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
    n, size, spokes = len(side_counts), 3 * patterns[0].cuts, patterns[0].forms.shape[0]
    fixed = np.concatenate([p.forms[:, :n] @ np.asarray(side_counts, dtype=np.int64) for p in patterns])
    blocks = [csr_matrix(np.hstack([-p.forms[:, n:], np.full((spokes, 1), 2.0)])) for p in patterns]
    cost = np.tile(np.concatenate([np.zeros(size), [-1.0]]), len(patterns))
    low = np.tile(np.concatenate([np.ones(size), [-np.inf]]), len(patterns))
    floor = np.concatenate([_floor_of(p, is_tight) for p in patterns])
    result = linprog(
        cost,
        A_ub=block_diag(blocks, format="csr"),
        b_ub=fixed - floor,
        bounds=np.stack([low, np.full(low.size, np.inf)], axis=1),
        method="highs",
    )
    if result.x is None:
        return []
    least = result.x.reshape(len(patterns), size + 1)[:, -1]
    order = np.argsort(-np.round(least, 6), kind="stable")
    return [(int(k), float(least[k])) for k in order if least[k] > -1e-6]


def _floor_of(pattern: Pattern, is_tight: bool) -> FloatArray:
    """Return (s,) the least allowed doubled spokes."""
    return np.where((pattern.faces_chord < 0) | (not is_tight), 2.0, 0.0)


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


# ---- a cheap measure of evenness: where would chords, feet and poles lie in the polygon? ----


def unevenness(
    pattern: Pattern, side_counts: Sequence[int], side_lengths: Sequence[float], params: IntArray
) -> FloatArray:
    """Return (k,) how uneven the edges along spokes and chords would be for (k, 3 cuts) parameters.

    Chords are drawn straight between their ends and poles near the middle of
    the feet of their spokes, so this costs a few array operations only.
    """
    corners = _corners_of(tuple(side_lengths))
    batch = params.shape[0]
    ends = np.roll(corners, -1, axis=0)
    lift = 0.35 if len(side_counts) == 2 else 0.08
    sides = []
    for k, count in enumerate(side_counts):
        along = ends[k] - corners[k]
        bend = lift * np.array([along[1], -along[0]])
        sides.append(
            _Side(
                np.full(batch, float(count)),
                *(np.broadcast_to(p, (batch, 2)) for p in (corners[k], ends[k], bend)),
                is_rim=True,
            )
        )
    step = float(sum(np.linalg.norm(ends - corners, axis=1))) / sum(side_counts)
    room = max(0.5, _ROOM * min(side_counts))
    costs: list[FloatArray] = []
    _measure(pattern.tree, sides, params.astype(np.float64), step, room, costs)
    total: FloatArray = np.stack(costs).sum(axis=0)
    return total


@lru_cache(maxsize=256)
def _corners_of(side_lengths: tuple[float, ...]) -> FloatArray:
    return convex_corners(side_lengths)


class _Side:
    """A batch of parabolic arcs: counts (k,), ends and bend (k, 2); on the rim of the patch or a chord inside."""

    def __init__(
        self, count: FloatArray, start: FloatArray, end: FloatArray, bend: FloatArray, *, is_rim: bool = False
    ) -> None:
        self.count, self.start, self.end, self.bend, self.is_rim = count, start, end, bend, is_rim

    def at(self, edges: FloatArray) -> FloatArray:
        """Return the points a number of edges after the start."""
        t = (edges / np.maximum(self.count, 1.0))[:, None]
        point: FloatArray = self.start + (self.end - self.start) * t + self.bend * (4.0 * t * (1.0 - t))
        return point

    def piece(self, low: FloatArray, high: FloatArray) -> _Side:
        """Return the part between two numbers of edges."""
        share = ((high - low) / np.maximum(self.count, 1.0))[:, None]
        return _Side(high - low, self.at(low), self.at(high), self.bend * share**2, is_rim=self.is_rim)


def _measure(
    tree: Tree, sides: list[_Side], params: FloatArray, step: float, room: float, costs: list[FloatArray]
) -> None:
    if isinstance(tree, Leaf):
        costs.append(_measure_leaf(sides, step, room))
        return
    a, b, c = params[:, 0], params[:, 1], params[:, 2]
    first, second, zero = sides[tree.first], sides[tree.second], np.zeros(params.shape[0])
    head, tail = first.at(a), second.at(b)
    costs.append(0.5 * _squared_log(np.linalg.norm(head - tail, axis=1) / c, step))
    chord_in, chord_out = _Side(c, tail, head, 0.0 * head), _Side(c, head, tail, 0.0 * head)
    inside = _inside_sides(tree, sides, first, second, a, b)
    outside = [second.piece(b, second.count), *_sides_between(tree, sides), first.piece(zero, a), chord_out]
    middle = 3 + 3 * cut_count(tree.inside)
    _measure(tree.inside, [*inside, chord_in], params[:, 3:middle], step, room, costs)
    _measure(tree.outside, outside, params[:, middle:], step, room, costs)


def _inside_sides(
    tree: Cut, sides: list[_Side], first: _Side, second: _Side, a: FloatArray, b: FloatArray
) -> list[_Side]:
    if tree.first == tree.second:
        return [first.piece(a, b)]
    return [first.piece(a, first.count), *sides[tree.first + 1 : tree.second], second.piece(0.0 * b, b)]


def _sides_between(tree: Cut, sides: list[_Side]) -> list[_Side]:
    return [sides[k % tree.side_count] for k in range(tree.second + 1, tree.first + tree.side_count)]


def _measure_leaf(sides: list[_Side], step: float, room: float) -> FloatArray:
    """Return (k,) the unevenness of one pole; ``room`` edges between it and a side of the patch are enough."""
    n = len(sides)
    counts = np.stack([side.count for side in sides], axis=1)
    spokes = np.maximum(0.5 * counts @ doubled_spoke_matrix(n).T, 0.25)
    feet = np.stack([side.at(spokes[:, k - 1]) for k, side in enumerate(sides)], axis=1)
    pole = (feet / spokes[..., None]).sum(axis=1) / (1.0 / spokes).sum(axis=1)[:, None]
    arms = feet - pole[:, None]
    lengths = np.linalg.norm(arms, axis=2) + 1e-9
    after = np.roll(arms, -1, axis=1)
    sine = (arms[..., 0] * after[..., 1] - arms[..., 1] * after[..., 0]) / (lengths * np.roll(lengths, -1, axis=1))
    cosine = (arms * after).sum(axis=2) / (lengths * np.roll(lengths, -1, axis=1))
    angles = np.arctan2(sine, cosine)
    near_side = np.where([side.is_rim for side in sides], 1.0, _ROOM_BETWEEN) ** 2 * (room / spokes) ** 2
    cost: FloatArray = (_squared_log(lengths / spokes, step) + (angles - 2.0 * np.pi / n) ** 2 + near_side).sum(axis=1)
    return cost


def _squared_log(lengths: FloatArray, step: float) -> FloatArray:
    squared: FloatArray = np.log(np.maximum(lengths, 1e-9 * step) / step) ** 2
    return squared
