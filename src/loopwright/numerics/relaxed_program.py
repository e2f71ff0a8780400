"""A linear program that is solved again and again with other columns fixed, each time from where the last one ended."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import highspy
import numpy as np
from scipy.sparse import csr_matrix

from loopwright.types import FloatArray


@dataclass(frozen=True)
class Rows:
    """The rows of a program: low <= matrix x <= high."""

    matrix: csr_matrix
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True)
class RelaxedPrice:
    """The least price with real columns, its slope by the value of each column, and the columns."""

    price: float
    slopes: FloatArray
    values: FloatArray


class _Solver(highspy.Highs):
    """The solver without its callbacks, whose set-up would print a banner."""

    def __init__(self) -> None:
        super(highspy.Highs, self).__init__()
        for name, value in (("output_flag", False), ("solver", "simplex"), ("threads", 1)):
            self.setOptionValue(name, value)


class RelaxedProgram:
    """Minimise cost . x with real columns, rows and bounds.

    Parameters
    ----------
    rows : of the program.
    cost, low, high : (columns,) prices, and bounds, infinite where there is none.
    """

    def __init__(self, rows: Rows, cost: FloatArray, low: FloatArray, high: FloatArray) -> None:
        self.size = rows.matrix.shape
        self._low, self._high = low, high
        self._fixed: set[int] = set()
        self._solver = _Solver()
        program = highspy.HighsLp()
        program.num_row_, program.num_col_ = self.size
        program.col_cost_, program.col_lower_, program.col_upper_ = cost, low, high
        program.row_lower_, program.row_upper_ = rows.low, rows.high
        matrix = rows.matrix
        matrix.sum_duplicates()
        program.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        program.a_matrix_.start_, program.a_matrix_.index_ = matrix.indptr, matrix.indices
        program.a_matrix_.value_ = matrix.data
        self._solver.passModel(program)

    def solve(self, fixed: Mapping[int, float], *, afresh: bool = False) -> RelaxedPrice | None:
        """Return the least price with some columns fixed, with slopes, or None where there is no solution.

        Parameters
        ----------
        afresh : not from where the last solve ended, so that of columns as good the same are found in any order.
        """
        if afresh:
            self._solver.clearSolver()
        for column in sorted(self._fixed | set(fixed)):
            low = high = fixed.get(column, np.nan)
            if column not in fixed:
                low, high = self._low[column], self._high[column]
            self._solver.changeColBounds(column, float(low), float(high))
        self._fixed = set(fixed)
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        found = self._solver.getSolution()
        price = float(self._solver.getInfo().objective_function_value)
        return RelaxedPrice(price, np.array(found.col_dual), np.array(found.col_value))
