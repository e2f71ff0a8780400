"""The least spokes of many patterns at once, against a reference solver, one pattern after the other."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy.optimize import linprog

from loopwright.patterns.cut_patterns import Pattern
from loopwright.patterns.search_fill import _search_params, find_start, patterns_for, spokes_of
from loopwright.patterns.spoke_program import SpokeProgram

CASES = [((7, 4, 9, 6), 2), ((5, 9, 8, 4), 2), ((5, 9, 4, 6, 8), 3), ((5, 4, 20, 5), 4), ((6, 9, 3, 12), 2)]


def least_spoke(pattern: Pattern, counts: tuple[int, ...], floor: np.ndarray) -> float:
    """What scipy.optimize.linprog finds for one pattern alone: the largest t with spokes >= floor + 2 t."""
    n, size = len(counts), 3 * pattern.cuts
    rows = np.hstack([-pattern.forms[:, n:], np.full((len(floor), 1), 2.0)])
    fixed = pattern.forms[:, :n] @ np.array(counts)
    bounds = [(1.0, None)] * size + [(None, None)]
    found = linprog(np.append(np.zeros(size), -1.0), A_ub=rows, b_ub=fixed - floor, bounds=bounds)
    return float(found.x[-1])


@pytest.mark.parametrize("counts, poles", CASES)
@pytest.mark.parametrize("is_tight", [False, True])
def test_least_spokes_are_those_of_each_pattern_alone(counts: tuple[int, ...], poles: int, is_tight: bool) -> None:
    patterns = patterns_for(counts, poles)[:40]
    program = SpokeProgram(patterns, is_tight=is_tight)
    program.solve(tuple(c + 3 for c in counts))  # goes on from where this one ends
    found = program.solve(counts)
    for pattern, row in zip(patterns, found, strict=True):
        floor = np.where((pattern.faces_chord < 0) | (not is_tight), 2.0, 0.0)
        assert row[-1] == pytest.approx(least_spoke(pattern, counts, floor), abs=1e-6)


def test_afresh_nothing_is_left_of_earlier_solves() -> None:
    counts, poles = CASES[2]
    pattern = patterns_for(counts, poles)[3]
    first, second = (SpokeProgram((pattern,), is_tight=False) for _ in range(2))
    for other in ((9, 9, 9, 9, 8), (4, 6, 12, 4, 6), (20, 4, 4, 20, 4)):
        second.solve(other)
    one, two = first.solve(counts, afresh=True), second.solve(counts, afresh=True)
    assert one.tobytes() == two.tobytes()


@pytest.mark.parametrize("counts, poles", CASES)
def test_rounded_parameters_are_about_as_good_as_the_best_whole_ones(counts: tuple[int, ...], poles: int) -> None:
    tried = 0
    for pattern in patterns_for(counts, poles):
        least = np.ones(len(pattern.forms), np.int32)
        found, best = find_start(pattern, counts, is_tight=False), _search_params(pattern, counts, least)
        assert (found is None) == (best is None)
        if found is not None and best is not None:
            mine, its = (spokes_of(pattern, counts, params) for params in (found, best))
            assert (mine % 2 == 0).all() and mine.min() >= 2
            assert mine.min() == its.min()
            tried += 1
    assert tried


_THREADS = """
from concurrent.futures import ThreadPoolExecutor
from loopwright.patterns.search_fill import patterns_for, rank_patterns

def rank(seed):
    counts = (5 + seed % 7, 4 + seed % 3, 9 + seed % 5, 6 + seed % 4)
    return rank_patterns(patterns_for(counts, 2), counts, is_tight=False)

alone = [rank(seed) for seed in range(300)]
with ThreadPoolExecutor(4) as pool:
    assert list(pool.map(rank, range(300))) == alone
"""


def test_threads_do_not_disturb_one_another() -> None:
    # in a process of its own: a solver shared between threads takes it down
    done = subprocess.run([sys.executable, "-c", _THREADS], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
