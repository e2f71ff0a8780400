"""Progress and cancelling: one small callable that every long stage takes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol


class Progress(Protocol):
    """Called as ``progress(stage, done)`` with ``done`` from 0 to 1.

    It may raise :class:`loopwright.errors.Cancelled` to stop the work: stages
    call it between steps and leave nothing half done behind.
    """

    def __call__(self, stage: str, done: float) -> None: ...


def silent(stage: str, done: float) -> None:
    """Ignore progress."""


def in_parts(progress: Progress, whole: str, parts: Mapping[str, tuple[float, float]]) -> Progress:
    """Return what tells the steps of a whole stage as that one's own progress, which never falls.

    Parameters
    ----------
    parts : from where to where the stage comes by each step; one that is not named adds nothing, and may still be
        stopped in.

    Examples
    --------
    >>> told = in_parts(lambda stage, done: print(stage, done), "fit", {"lay": (0.0, 0.5), "touch": (0.5, 1.0)})
    >>> told("lay", 1.0), told("touch", 0.0), told("lay", 0.2), told("touch", 0.5)
    fit 0.5
    fit 0.5
    fit 0.5
    fit 0.75
    (None, None, None, None)
    """
    furthest = 0.0

    def tell(stage: str, done: float) -> None:
        nonlocal furthest
        start, end = parts.get(stage, (0.0, 0.0))
        furthest = max(furthest, start + (end - start) * done)
        progress(whole, furthest)

    return tell
