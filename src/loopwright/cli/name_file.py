"""Put the file that an error comes from in front of its message."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from loopwright.errors import InfeasibleError, MarksError


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
    """Name the marks file in errors about lines, held places and edits, which come from nowhere else."""
    try:
        yield
    except (InfeasibleError, MarksError) as error:
        if path is None or not error.in_marks:
            raise
        raise type(error)(f"{path}: {error}", places=error.places) from error


@contextmanager
def name_landmarks(path: Path | None) -> Iterator[None]:
    """Name the landmarks file, if there is one, in errors about a landmark."""
    try:
        yield
    except MarksError as error:
        if path is None or not str(error).startswith("the landmark "):
            raise
        raise MarksError(f"{path}: {error}", places=error.places) from error
