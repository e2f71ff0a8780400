"""Say which budget would do where pins are impossible only because the budget is small."""

from __future__ import annotations

import math
from collections.abc import Callable

from loopwright.errors import Cancelled, InfeasibleError, LoopwrightError, TightBudgetError
from loopwright.options import LARGEST_BUDGET

_TRIES = 3  # plans that are made to find a budget that does
_MORE = 1.2  # factor between them
_KEPT = 1.02  # up to which factor on a budget the faces are near enough to it


def tell_budget(error: TightBudgetError, budget: int, plan_faces: Callable[[int], int]) -> InfeasibleError:
    """Return the error with the budget that forbids the pins, and with one that was found to do, if one was.

    Else it says that none that is allowed has room, or which larger ones were tried.

    The layout, and with it what pins need, may be another with another budget; so each that is told was tried.

    Parameters
    ----------
    plan_faces : plans with a budget and returns the faces of that, which pins may make many more; an error of ours
        means that the budget was not shown to do, whatever it is about, for another layout may break what has nothing
        to do with these pins.

    Raises
    ------
    Cancelled : from ``plan_faces``.
    """
    faces, tried = budget * error.times, list[int]()
    # what is needed is known to about a tenth: near the largest budget, that is tried
    if LARGEST_BUDGET < faces <= _MORE * LARGEST_BUDGET and budget < LARGEST_BUDGET:
        faces = LARGEST_BUDGET
    if math.isinf(faces) or _two_digits(faces) > LARGEST_BUDGET:
        about = f" (it would take about {_two_digits(faces):,} faces)" if math.isfinite(faces) else ""
        told = f"no budget up to the largest, {LARGEST_BUDGET:,}, has room for that{about}"
    else:
        while len(tried) < _TRIES and (more := _two_digits(faces)) <= LARGEST_BUDGET:
            tried.append(more)
            try:
                made = plan_faces(more)
            except Cancelled:
                raise
            except LoopwrightError:
                faces *= _MORE
                continue
            told = f"a budget of {more:,} would do"
            if made > _KEPT * more:
                told = f"a budget of {more:,} has room for that, but with the pins its plan has {made:,} faces"
            break
        else:
            which = "larger budgets that were tried" if len(tried) > 1 else "a larger budget that was tried"
            told = f"{which}, {_listed(tried)}, would not do"
    text = f"{error.what} at a budget of {budget:,}: {error.way}; {told}."
    return InfeasibleError(text, places=error.places, about=error.about)


def tell_sizes(error: TightBudgetError) -> InfeasibleError:
    """Return the error where sizes that were asked for forbid the pins, so that no budget would do."""
    text = (
        f"{error.what} with the sizes asked for, which leave no room for more: {error.way}, or ask for smaller sizes."
    )
    return InfeasibleError(text, places=error.places, about=error.about)


def _listed(budgets: list[int]) -> str:
    *most, last = (f"{budget:,}" for budget in budgets)
    return f"{', '.join(most)} and {last}" if most else last


def _two_digits(faces: float) -> int:
    """Return the least budget of two digits that is no smaller."""
    digit = int(10 ** max(int(math.log10(faces)) - 1, 0))
    return math.ceil(faces / digit) * digit
