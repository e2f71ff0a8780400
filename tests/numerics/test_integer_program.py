"""Integer programs against trying every choice."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from loopwright.errors import ConvergenceError
from loopwright.numerics.integer_program import IntegerProgram

TOP = 4


def random_program(seed: int) -> tuple[IntegerProgram, float]:
    """Three whole columns from 0 to TOP and two or three rows; and the least price, by trying all 125."""
    rng = np.random.default_rng(seed)
    cost = rng.integers(-5, 6, 3).astype(float)
    rows = [(rng.integers(-2, 4, 3).astype(float), *sorted(rng.integers(-3, 12, 2).tolist())) for _ in range(3)]
    program = IntegerProgram()
    columns = np.array([program.integer(c, 0.0, TOP) for c in cost])
    for values, low, high in rows:
        program.add_row(columns, values, low, high)
    best = np.inf
    for choice in itertools.product(range(TOP + 1), repeat=3):
        x = np.array(choice)
        if all(low <= values @ x <= high for values, low, high in rows):
            best = min(best, float(cost @ x))
    return program, best


@pytest.mark.parametrize("seed", range(40))
def test_best_of_all_choices(seed: int) -> None:
    program, best = random_program(seed)
    found = program.solve()
    if found is None:
        assert best == np.inf
        return
    assert found.price == pytest.approx(best)
    assert np.abs(found.values - np.rint(found.values)).max() < 1e-6
    eased = program.price_relaxed({})
    assert eased is not None and eased.price <= found.price + 1e-9


def test_the_random_programs_are_of_both_kinds() -> None:
    best = [random_program(seed)[1] for seed in range(40)]
    assert 3 <= sum(b == np.inf for b in best) <= 37


def test_parity_needs_whole_numbers() -> None:
    program = IntegerProgram()
    x, half = program.integer(1.0, 0.0, 9.0), program.integer(0.0, 0.0, 9.0)
    program.add_row(np.array([x, half]), np.array([1.0, -2.0]), 0.0, 0.0)
    program.add_row(np.array([x]), np.array([1.0]), 2.5, np.inf)
    whole, eased = program.solve(), program.price_relaxed({})
    assert whole is not None and eased is not None
    assert whole.price == 4.0 and eased.price == pytest.approx(2.5)


def test_fixed_columns_and_repeated_columns() -> None:
    program = IntegerProgram()
    x, y = program.integer(1.0, 0.0, 9.0), program.real(1.0)
    program.add_row(np.array([x, x, y]), np.array([1.0, 1.0, 1.0]), 7.0, np.inf)  # 2 x + y >= 7
    free, held = program.solve(), program.solve(fixed={x: 1.0})
    assert free is not None and held is not None
    assert free.price == 4.0  # x = 3, y = 1
    assert held.values.tolist() == [1.0, 5.0]
    again = program.solve()
    assert again is not None and again.values.tolist() == free.values.tolist()


def test_rows_may_be_added_after_a_solve() -> None:
    program = IntegerProgram()
    x = program.integer(1.0, 0.0, 9.0)
    program.add_row(np.array([x]), np.ones(1), 2.0, 9.0)
    first = program.solve()
    program.add_row(np.array([x]), np.ones(1), 5.0, 9.0)
    second = program.solve()
    assert first is not None and second is not None
    assert (first.price, second.price) == (2.0, 5.0)


def test_nothing_to_find() -> None:
    program = IntegerProgram()
    x = program.integer(1.0, 0.0, 3.0)
    program.add_row(np.array([x]), np.ones(1), 4.0, 5.0)
    assert program.solve() is None
    assert program.price_relaxed({}) is None


def test_too_few_branches_are_not_taken_for_a_proof() -> None:
    # halves of sums of large numbers: no choice fits, but that takes many branches to see (market split problems)
    rng = np.random.default_rng(0)
    weights = rng.integers(0, 100, (4, 30)).astype(float)
    program = IntegerProgram()
    columns = np.array([program.integer(0.0, 0.0, 1.0) for _ in range(30)])
    for row in weights:
        program.add_row(columns, row, row.sum() // 2, row.sum() // 2)
    with pytest.raises(ConvergenceError, match="within 5 branches"):
        program.solve(nodes=5)


def test_the_best_found_in_time_is_not_called_settled() -> None:
    rng = np.random.default_rng(
        4
    )  # a knapsack of three rows: some packing is found at once, that it is the best is not
    worth = rng.integers(50, 100, 40).astype(float)
    program = IntegerProgram()
    columns = np.array([program.integer(-each, 0.0, 1.0) for each in worth])
    for _ in range(3):
        weights = rng.integers(50, 100, 40).astype(float)
        program.add_row(columns, weights, 0.0, weights.sum() // 3)
    early, ended = program.solve(nodes=1), program.solve(nodes=100_000)
    assert early is not None and ended is not None
    assert not early.is_settled and ended.is_settled
    assert early.price >= ended.price
