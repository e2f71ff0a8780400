"""What unlike opposite sides of a patch cost."""

from __future__ import annotations

import pytest

from loopwright.counts.count_options import CountOptions
from loopwright.counts.program_rows import add_patch_rows
from loopwright.numerics.integer_program import IntegerProgram


def price(sides: list[int], rows: float) -> float:
    """The least price of a patch with these counts that wished for so many rows between its first and third side."""
    program = IntegerProgram()
    columns = [[program.integer(0.0, float(count), float(count))] for count in sides]
    wished = [float(sides[0]), rows, float(sides[2]), rows]
    add_patch_rows(program, columns, [50.0] * 4, wished, 5.0, CountOptions())
    solution = program.solve()
    assert solution is not None
    return solution.price


def test_like_sides_cost_nothing() -> None:
    assert price([12, 3, 12, 3], 3.0) == pytest.approx(0.0)


def test_unlike_ones_cost_more_where_few_rows_are_left_to_end_columns_in() -> None:
    options = CountOptions()
    for rows in (2.0, 5.0, 10.0):
        # the poles, and each of the eight segments that the sides differ by
        assert price([20, 4, 12, 4], rows) == pytest.approx(5.0 + 8 * options.uneven_rows / rows)
    assert price([20, 40, 12, 40], 40.0) == pytest.approx(5.0 + 8 * options.uneven)
