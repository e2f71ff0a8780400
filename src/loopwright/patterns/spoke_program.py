"""The linear program whose columns are the chord parameters of patterns; only the side counts change."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from threading import Lock

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.errors import InternalError
from loopwright.numerics.relaxed_program import RelaxedProgram, Rows
from loopwright.patterns.cut_patterns import Pattern
from loopwright.types import FloatArray


class SpokeProgram:
    """Make the least spoke of each of some patterns with as many chords as long as possible, in real numbers.

    Its columns are the side counts, which are given, and for each pattern its chord parameters, at least 1 each, and
    the least spoke.

    Parameters
    ----------
    is_tight : spokes towards a chord are measured from 0 on, all others from 1.
    """

    def __init__(self, patterns: Sequence[Pattern], *, is_tight: bool) -> None:
        n, count, size = patterns[0].side_count, len(patterns), 3 * patterns[0].cuts + 1
        spokes = len(patterns[0].forms)
        values = np.concatenate([np.hstack([p.forms, np.full((spokes, 1), -2.0)]) for p in patterns])
        columns = np.empty(values.shape, np.int64)
        columns[:, :n] = np.arange(n)
        columns[:, n:] = n + np.repeat(np.arange(count), spokes)[:, None] * size + np.arange(size)
        is_entry = values != 0
        start = np.concatenate([[0], np.cumsum(is_entry.sum(axis=1))])
        matrix = csr_matrix((values[is_entry], columns[is_entry], start), shape=(len(values), n + count * size))
        floor = np.concatenate([np.where((p.faces_chord < 0) | (not is_tight), 2.0, 0.0) for p in patterns])
        cost = np.concatenate([np.zeros(n), np.tile(np.append(np.zeros(size - 1), -1.0), count)])
        low = np.concatenate([np.ones(n), np.tile(np.append(np.ones(size - 1), -np.inf), count)])
        rows = Rows(matrix, floor, np.full(len(floor), np.inf))
        self._program = RelaxedProgram(rows, cost, low, np.full(len(low), np.inf))
        self._shape = (count, size)
        self._lock = Lock()  # programs are kept for all sculpts, which may be open in several threads

    def solve(self, side_counts: Sequence[int], *, afresh: bool = False) -> FloatArray:
        """Return (patterns, 3 cuts + 1) the parameters and the least spoke of each pattern.

        The spoke is told from its floor on.

        Parameters
        ----------
        afresh : the parameters matter. Many give the same least spokes, and those found depend on what was solved
            before; afresh they do not.

        Raises
        ------
        InternalError : the solver found nothing, though there always is something: spokes may be as short as need be.
        """
        given = dict(enumerate(map(float, side_counts)))
        with self._lock:
            found = self._program.solve(given, afresh=afresh) or self._program.solve(given, afresh=True)
        if found is None:
            raise InternalError(f"No spokes were found for sides of {tuple(side_counts)} segments.")
        return found.values[len(side_counts) :].reshape(self._shape)


@lru_cache(maxsize=128)
def spoke_program(patterns: tuple[Pattern, ...], *, is_tight: bool) -> SpokeProgram:
    """Return the program of some patterns, which all have as many chords."""
    return SpokeProgram(patterns, is_tight=is_tight)
