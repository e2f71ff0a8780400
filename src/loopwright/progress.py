"""Progress and cancelling: one small callable that every long stage takes."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Called as ``progress(stage, done)`` with ``done`` from 0 to 1.

    It may raise :class:`loopwright.errors.Cancelled` to stop the work: stages
    call it between steps and leave nothing half done behind.
    """

    def __call__(self, stage: str, done: float) -> None: ...


def silent(stage: str, done: float) -> None:
    """Ignore progress."""
