"""Say which budget would do where pins are impossible only because the budget is small."""

from __future__ import annotations

import math
from collections.abc import Callable

from loopwright.errors import ConvergenceError, InfeasibleError, TightBudgetError
from loopwright.options import LARGEST_BUDGET

_TRIES = 3  # plans that are made to find a budget that does
_MORE = 1.2  # factor between them


def tell_budget(error: TightBudgetError, budget: int, can_be_planned: Callable[[int], object]) -> InfeasibleError:
    """Return the error with the budget that forbids the pins, and with one that was found to do, if one was.

    The layout, and with it what pins need, may be another with another budget; so each that is told was tried.

    Parameters
    ----------
    can_be_planned : plans with a budget; raises InfeasibleError or ConvergenceError where the pins cannot be met.
    """
    what = f"{error.what} at a budget of {budget:,}"
    faces = budget * error.times
    for _ in range(_TRIES):
        tried = _two_digits(faces)
        if tried > LARGEST_BUDGET:
            break
        try:
            can_be_planned(tried)
        except (InfeasibleError, ConvergenceError):
            faces *= _MORE
            continue
        return InfeasibleError(
            f"{what}: {error.way}; a budget of {tried:,} would do.", places=error.places, about=error.about
        )
    return InfeasibleError(f"{what}: {error.way}.", places=error.places, about=error.about)


def _two_digits(faces: float) -> int:
    """Return the least budget of two digits that is no smaller."""
    digit = int(10 ** max(int(math.log10(faces)) - 1, 0))
    return math.ceil(faces / digit) * digit
