"""Put the file that an error comes from in front of its message."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from loopwright.errors import InfeasibleError, LoopwrightError, MarksError, UnknownRegionError
from loopwright.marks.find_color_wish import COLOR_LISTS, find_color_wishes
from loopwright.marks.find_name import find_name, find_wishes
from loopwright.options import BuildOptions


@contextmanager
def name_file(what: str | Path) -> Iterator[None]:
    """Name a file in what does not fit or clashes inside; an error that begins with it already stays."""
    try:
        yield
    except (InfeasibleError, MarksError) as error:
        if str(error).startswith(f"{what}:"):
            raise
        place = f"{error.about}: " if error.about.startswith("edits/") else ""
        raise _with_text(error, f"{what}: {place}{error}") from error


@contextmanager
def name_marks(path: Path | None, options: BuildOptions | None = None) -> Iterator[None]:
    """Name the marks file, and the place in it, in errors about its wishes and about regions that it misspells.

    Lines, held places and edits come from nowhere else; pins, sizes, wishes for poles, colours and a name that no
    region has are looked for in it.

    Parameters
    ----------
    options : all wishes, of which some may come from elsewhere; without them only names of regions are looked for.
    """
    try:
        yield
    except (InfeasibleError, MarksError) as error:
        place = "" if path is None else _place_in(path, error, options)
        if path is None or not (error.in_marks or place):
            raise
        raise _with_text(error, f"{path}: {place}{error}") from error


def _with_text(error: InfeasibleError | MarksError, text: str) -> LoopwrightError:
    kind = InfeasibleError if isinstance(error, InfeasibleError) else type(error)
    return kind(text, places=error.places)


def _place_in(path: Path, error: LoopwrightError, options: BuildOptions | None) -> str:
    """Return where in a marks file that stands which an error is about, ready to stand before the message."""
    if isinstance(error, UnknownRegionError) and not error.about.startswith("edits"):
        place = find_name(path, str(error.places[0]))
    elif error.about == "vertex_sizes":
        place = error.about
    elif options is not None and error.about in COLOR_LISTS:
        place = find_color_wishes(path, error, options)
    elif options is not None and (error.about or error.in_marks):
        place = find_wishes(path, error, options)
    else:
        return ""
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
