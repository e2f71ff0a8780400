"""Put the file, or the option, that an error comes from in front of its message."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from loopwright.errors import InfeasibleError, MarksError
from loopwright.options import BuildOptions


@contextmanager
def name_file(what: str | Path) -> Iterator[None]:
    """Name a file, or an option, in what does not fit or clashes inside; an error that names it already stays."""
    try:
        yield
    except (InfeasibleError, MarksError) as error:
        if str(what) in str(error):
            raise
        raise type(error)(f"{what}: {error}", places=error.places) from error


@contextmanager
def name_marks(path: Path | None, options: BuildOptions) -> Iterator[None]:
    """Name the marks file in errors about lines, held places and edits, which come from nowhere else."""
    try:
        yield
    except (InfeasibleError, MarksError) as error:
        if path is None or not _is_of_marks(error, options):
            raise
        raise type(error)(f"{path}: {error}", places=error.places) from error


def _is_of_marks(error: InfeasibleError | MarksError, options: BuildOptions) -> bool:
    names = {line.name or f"line {k}" for k, line in enumerate(options.lines, 1)}
    names |= {point.name or f"point {k}" for k, point in enumerate(options.points, 1)}
    names |= {f"edit {k}" for k in range(1, len(options.edits) + 1)}
    return any(str(error).startswith((f"{name}:", f"{name} ")) for name in names)
