"""The normal equations of a round of relaxing: rows over vertices, of which each may step along two directions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from loopwright.fit.fold_mirror import Fold
from loopwright.fit.solve_descent import solve_descent
from loopwright.surface.sort_pairs import sort_pairs
from loopwright.types import FloatArray

_DAMPING = 1e-3  # of the diagonal


class StepEquations:
    """Weighted least squares of the same rows, solved again and again with other weights and directions.

    The product of the rows with their transpose has far fewer entries than both, and each of its entries is a sum of
    the weights: it is put together once for each solve, which then multiplies by it.

    Parameters
    ----------
    rows : sparse (r, N), over the vertices of the fold.
    fold : the half's n vertices and images of some.
    """

    def __init__(self, rows: csr_matrix, fold: Fold) -> None:
        self._fold = fold
        size = rows.shape[1]
        length = np.diff(rows.indptr)
        each = np.repeat(length, length)  # entries in the row of each entry
        first = np.repeat(np.repeat(rows.indptr[:-1], length), each)
        entry = np.repeat(np.arange(rows.nnz), each)
        other = first + np.arange(len(entry)) - np.repeat(np.cumsum(each) - each, each)
        row = np.repeat(np.repeat(np.arange(len(length)), length), each)
        tail, head = rows.indices[entry], rows.indices[other]
        order = sort_pairs(tail, head, size)
        tail, head = tail[order], head[order]
        starts = np.flatnonzero(np.append(True, (tail[1:] != tail[:-1]) | (head[1:] != head[:-1])))
        values, begin = (rows.data[entry] * rows.data[other])[order], np.append(starts, len(order))
        self._sums = csr_matrix((values, row[order], begin), shape=(len(starts), len(length)))
        self._heads = head[starts]
        self._begin = np.searchsorted(tail[starts], np.arange(size + 1))
        self._diagonal = np.flatnonzero(tail[starts] == head[starts])
        self._columns = self._step_columns()

    def _step_columns(self) -> NDArray[np.int64]:
        """Return (6 N,) which two of the half's steps move each coordinate of each vertex."""
        vertex = np.concatenate([np.arange(self._fold.count), self._fold.source])
        return np.tile(2 * vertex[:, None] + np.arange(2), 3).ravel()

    def solve(self, weights: FloatArray, bases: FloatArray, pull: FloatArray, steps: int) -> FloatArray:
        """Return (n, 2) steps along the bases, by so many conjugate gradient steps.

        Parameters
        ----------
        weights : (r,) of the rows.
        bases : (n, 2, 3) directions of each vertex's steps.
        pull : (n, 2) the right side.
        """
        size, count = self._fold.whole_count, self._fold.count
        sums = self._sums @ weights
        matrix = csr_matrix((sums, self._heads, self._begin), shape=(size, size))
        own = np.zeros(size)
        own[self._heads[self._diagonal]] = sums[self._diagonal]
        diagonal = np.maximum(self._fold.fold_scalars(own), 1e-300)[:, None]
        damping = _DAMPING * diagonal
        whole = np.stack([self._fold.unfold_vectors(bases[:, k]) for k in range(2)], axis=2)
        begin = np.arange(0, 6 * size + 1, 2)
        along = csr_matrix((whole.ravel(), self._columns, begin), shape=(3 * size, 2 * count))
        back = along.T

        def apply(step: FloatArray) -> FloatArray:
            moves = (along @ step.ravel()).reshape(-1, 3)
            image: FloatArray = (back @ (matrix @ moves).ravel()).reshape(-1, 2)
            image += damping * step
            return image

        return solve_descent(apply, pull, lambda residual: residual / diagonal, steps)
