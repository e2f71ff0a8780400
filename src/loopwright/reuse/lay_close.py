"""Lay each vertex on the sculpt by itself, the others giving way smoothly and ever more freely."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix, identity
from scipy.sparse.linalg import splu

from loopwright.fit.solve_descent import solve_descent
from loopwright.reuse.template import second_differences
from loopwright.types import FloatArray, IntArray

_HOLD = 0.02  # weight of staying along the sculpt where nothing else decides, against the distance to it
_STEPS = 25


@dataclass(frozen=True)
class Wishes:
    """Where vertices ought to go: vertex i by ``gap[i]``, counted in the directions of ``pull[i]``.

    Attributes
    ----------
    gap : (n, 3). pull : (n, 3, 3) symmetric weights, n n^T for distance to a plane of normal n.
    """

    gap: FloatArray
    pull: FloatArray


class CloseLayer:
    """Solves for the moves of one template, again and again.

    References
    ----------
    B. Amberg, S. Romdhani, T. Vetter, "Optimal step nonrigid ICP algorithms for surface registration", CVPR 2007:
    closest points in turn with a stiffness that falls. Second differences of the move instead of affine maps
    per vertex are our own.
    """

    def __init__(self, edges: IntArray, count: int, marks: csr_matrix, mark_weight: float) -> None:
        fair = second_differences(edges, count)
        self._bend = (fair.T @ fair).tocsr()
        self._marks = marks
        self._mark_weight = mark_weight * count / max(1, marks.shape[0]) if marks.shape[0] else 0.0
        self._factor: tuple[float, Callable[[FloatArray], FloatArray]] | None = None

    def solve(self, moves: FloatArray, wishes: Wishes, mark_gap: FloatArray, stiffness: float) -> FloatArray:
        """Return (n, 3) moves, counted like ``moves`` from the start, that follow the wishes and bend little."""
        marks, weight = self._marks, self._mark_weight
        pull = wishes.pull + _HOLD * np.eye(3)
        right = np.einsum("kij,kj->ki", wishes.pull, wishes.gap) - stiffness * (self._bend @ moves)
        right += weight * (marks.T @ mark_gap)
        stiff = stiffness * self._bend + weight * (marks.T @ marks)

        def apply(step: FloatArray) -> FloatArray:
            image: FloatArray = np.einsum("kij,kj->ki", pull, step) + stiff @ step
            return image

        precondition = self._near_inverse(stiffness)
        step: FloatArray = solve_descent(apply, right, precondition, _STEPS)
        return moves + step

    def _near_inverse(self, stiffness: float) -> Callable[[FloatArray], FloatArray]:
        """Return the inverse for the mean pull on every vertex; the last one serves while the stiffness stays."""
        if self._factor is None or self._factor[0] != stiffness:
            square = stiffness * self._bend + self._mark_weight * (self._marks.T @ self._marks)
            square = (square + (1.0 / 3.0 + _HOLD) * identity(square.shape[0])).tocsc()
            options = {"SymmetricMode": True}
            factor = splu(square, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
            self._factor = (stiffness, factor.solve)
        return self._factor[1]
