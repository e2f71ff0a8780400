"""Put the file that an error comes from in front of its message."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from loopwright.errors import InfeasibleError, LoopwrightError, MarksError, UnknownRegionError
from loopwright.marks.find_name import find_name


@contextmanager
def name_file(what: str | Path) -> Iterator[None]:
    """Name a file in what does not fit or clashes inside; an error that begins with it already stays."""
    try:
        yield
    except (InfeasibleError, MarksError) as error:
        if str(error).startswith(f"{what}:"):
            raise
        raise type(error)(f"{what}: {error}", places=error.places) from error


@contextmanager
def name_marks(path: Path | None) -> Iterator[None]:
    """Name the marks file in errors about what only it holds, and about regions that it misspells.

    Lines, held places and edits come from nowhere else; a name that no region has is looked for in it.
    """
    try:
        yield
    except (InfeasibleError, MarksError) as error:
        place = "" if path is None or error.in_marks else _place_in(path, error)
        if path is None or not (error.in_marks or place):
            raise
        raise type(error)(f"{path}: {place}{error}", places=error.places) from error


def _place_in(path: Path, error: LoopwrightError) -> str:
    """Return the place of a name that no region has, ready to stand before the message; empty for other errors."""
    if not isinstance(error, UnknownRegionError):
        return ""
    place = find_name(path, str(error.places[0]))
    return f"{place}: " if place else ""


@contextmanager
def name_landmarks(path: Path | None) -> Iterator[None]:
    """Name the landmarks file, if there is one, in errors about a landmark."""
    try:
        yield
    except MarksError as error:
        if path is None or not str(error).startswith("the landmark "):
            raise
        raise MarksError(f"{path}: {error}", places=error.places) from error
