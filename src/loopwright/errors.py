"""Every error that Loopwright raises on purpose.

The command line maps each class to an exit code of its own
(``exit_code``); the page and the report use ``places`` to point at the spot.
"""

from __future__ import annotations

from collections.abc import Sequence


class LoopwrightError(Exception):
    """Base of all errors; ``places`` are names, element ids or positions.

    ``in_marks`` tells that it is about a line, a held place, a dab of size or an edit, which only a marks file holds.
    ``about`` is the list of a marks file (``pins``, ``sizes``, ``poles``, ``regions`` or ``leave_open``) that holds the
    wishes named in ``places``, of the last two by their colours, unless they were given by hand; ``points``, of which
    some are named there; ``vertex_sizes``; or the one edit that cannot be made, such as ``edits/0``.
    """

    exit_code = 1

    def __init__(self, message: str, *, places: Sequence[object] = (), in_marks: bool = False, about: str = "") -> None:
        super().__init__(message)
        self.places = tuple(places)
        self.in_marks = in_marks
        self.about = about


class UsageError(LoopwrightError):
    """Options of a command that do not go together, or a number in one that is out of its range."""

    exit_code = 2


class InputError(LoopwrightError):
    """The file or the sculpt in it cannot be used."""

    exit_code = 3


class MarksError(LoopwrightError):
    """What was painted, drawn, pinned or named on the command line does not fit the sculpt."""

    exit_code = 4


class UnknownRegionError(MarksError):
    """A name that no region has; ``places`` holds it."""


class InfeasibleError(LoopwrightError):
    """Wishes that clash; the message says which, and what would free them."""

    exit_code = 5


class TightBudgetError(InfeasibleError):
    """Wishes that clash only because the budget leaves too few segments for them.

    ``times`` is about how many times as large a budget has to be, infinite where none that is allowed has room;
    ``what`` begins the message (such as ``The pin
    lips/cheeks=48 cannot be met``), and ``way`` is the way out within this budget.
    """

    def __init__(self, what: str, way: str, times: float, *, places: Sequence[object] = ()) -> None:
        super().__init__(f"{what}: {way}.", places=places, about="pins")
        self.what, self.way, self.times = what, way, times


class ConvergenceError(LoopwrightError):
    """A solver did not reach its goal."""

    exit_code = 6


class PatienceError(LoopwrightError):
    """A solver was told to give up early, and did: it is caught where a style is chosen, and never told.

    It is no :class:`ConvergenceError`, after which a solve goes on by other means.
    """

    exit_code = ConvergenceError.exit_code


class UnlikeHalvesError(LoopwrightError):
    """A part of one half has no place on the other; caught where the mesh is made without a mirror then, never told."""

    exit_code = MarksError.exit_code


class InternalError(LoopwrightError):
    """An invariant of our own is broken: a fault of the program, not of its user."""

    exit_code = 7


class Cancelled(LoopwrightError):
    """The user stopped the work."""

    exit_code = 130
