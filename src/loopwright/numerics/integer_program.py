"""A mixed integer program built column by column and row by row, solved with HiGHS."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

from loopwright.errors import ConvergenceError
from loopwright.numerics.relaxed_program import RelaxedPrice, RelaxedProgram, Rows
from loopwright.types import FloatArray, IntArray

__all__ = ["IntegerProgram", "RelaxedPrice", "Solution"]

_OPTIMAL, _INFEASIBLE = 0, 2  # what scipy.optimize.milp tells: the best within the gap; there is no solution


@dataclass(frozen=True)
class Solution:
    """The (columns,) values and their price; settled if it is within the gap, not just the best found in time."""

    values: FloatArray
    price: float
    is_settled: bool = True


class IntegerProgram:
    """Minimise cost . x subject to rows; columns are real or whole."""

    def __init__(self) -> None:
        self._cost: list[float] = []
        self._low: list[float] = []
        self._high: list[float] = []
        self._whole: list[int] = []
        self._columns: list[Sequence[int]] = []
        self._values: list[Sequence[float]] = []
        self._bounds: list[tuple[float, float]] = []
        self._made: Rows | None = None
        self._prices: RelaxedProgram | None = None

    def integer(self, cost: float, low: float, high: float) -> int:
        """Add a whole-numbered column and return it."""
        return self._column(cost, low, high, 1)

    def real(self, cost: float, high: float = np.inf) -> int:
        """Add a real column from 0 to ``high`` and return it."""
        return self._column(cost, 0.0, high, 0)

    def _column(self, cost: float, low: float, high: float, whole: int) -> int:
        self._cost.append(cost)
        self._low.append(low)
        self._high.append(high)
        self._whole.append(whole)
        return len(self._cost) - 1

    def add_row(self, columns: IntArray, values: FloatArray, low: float, high: float) -> None:
        """Add the row low <= values . x[columns] <= high; a column may come several times."""
        self._columns.append(columns.tolist())
        self._values.append(values.tolist())
        self._bounds.append((low, high))

    def add_terms(self, low: float, high: float, *terms: tuple[Sequence[int], float]) -> None:
        """Add the row low <= sum of values times columns <= high, for terms of columns with the same value."""
        self._columns.append([column for columns, _ in terms for column in columns])
        self._values.append([value for columns, value in terms for _ in columns])
        self._bounds.append((low, high))

    def _size(self) -> tuple[int, int]:
        return len(self._columns), len(self._cost)

    def _rows(self) -> Rows:
        size = self._size()
        if self._made is None or self._made.matrix.shape != size:
            row = np.repeat(np.arange(size[0]), [len(c) for c in self._columns])
            columns, values = (list(chain.from_iterable(each)) for each in (self._columns, self._values))
            entries = (np.array(values, np.float64), (row, np.array(columns, np.int32)))
            self._made = Rows(csr_matrix(entries, shape=size), *np.array(self._bounds).T)
        return self._made

    def _limits(self, fixed: Mapping[int, float]) -> tuple[FloatArray, FloatArray]:
        low, high = np.array(self._low), np.array(self._high)
        for column, value in fixed.items():
            low[column] = high[column] = value
        return low, high

    def solve(
        self,
        *,
        nodes: int = 1000,
        gap: float = 0.0,
        fixed: Mapping[int, float] | None = None,
    ) -> Solution | None:
        """Return the best solution found within ``nodes`` branches, or None where there surely is none.

        Branches, not seconds, bound the work: the same program gives the same solution on any machine.

        Parameters
        ----------
        gap : relative gap to the bound at which to stop.
        fixed : column -> the value that it must have.

        Raises
        ------
        ConvergenceError : no solution was found within ``nodes`` branches, though there may be one.
        """
        rows = self._rows()
        low, high = self._limits(fixed or {})
        result = milp(
            np.array(self._cost),
            constraints=LinearConstraint(rows.matrix, rows.low, rows.high),
            bounds=Bounds(low, high),
            integrality=np.array(self._whole),
            options={"node_limit": nodes, "mip_rel_gap": gap},
        )
        if result.x is not None:
            return Solution(result.x, float(result.fun), result.status == _OPTIMAL)
        if result.status == _INFEASIBLE:
            return None
        raise ConvergenceError(f"No whole numbers that fit were found within {nodes} branches.")

    def price_relaxed(self, fixed: Mapping[int, float]) -> RelaxedPrice | None:
        """Return the price with real columns and some fixed, with slopes, or None where there is no solution.

        The price is a convex function of the fixed values, so moving one of
        them by d changes it by at least d times its slope.
        """
        prices = self._prices
        if prices is None or prices.size != self._size():
            prices = self._prices = RelaxedProgram(self._rows(), np.array(self._cost), *self._limits({}))
        return prices.solve(fixed)
