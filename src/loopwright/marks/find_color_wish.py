"""Find the places in a marks file where colours stand that an error is about."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from loopwright.errors import LoopwrightError
from loopwright.marks.checked_json import Checked, load_json
from loopwright.options import RGB, BuildOptions, format_color, parse_color

COLOR_LISTS = ("regions", "leave_open")
"""The lists of a marks file that hold colours of the paint."""


def find_color_wishes(path: Path, error: LoopwrightError, options: BuildOptions) -> str:
    """Return the places, such as ``regions/tongue`` or ``leave_open/0``, of the colours that an error is about.

    Colours that an option given by hand has named anew or left out are left out here too.  The empty text is returned
    where there are none, and where the file cannot be read any more.

    Parameters
    ----------
    error : its ``about`` is one of :data:`COLOR_LISTS`, and its ``places`` hold codes of colours.
    options : the wishes with which the error came.
    """
    try:
        top = load_json(path)
        named = {name.strip(): parse_color(value.text()) for name, value in top.members("regions")}
        wished = _opened(top, named, options) if error.about == "leave_open" else _named(top, named, options)
        return ", ".join(place for color, place in wished if format_color(color) in error.places)
    except LoopwrightError:
        return ""


def _opened(top: Checked, named: dict[str, RGB], options: BuildOptions) -> Iterator[tuple[RGB, str]]:
    for entry in top.entries("leave_open"):
        color = named[entry.text()] if entry.text() in named else parse_color(entry.text())
        if color in options.leave_open:
            yield color, entry.place


def _named(top: Checked, named: dict[str, RGB], options: BuildOptions) -> Iterator[tuple[RGB, str]]:
    for name, value in top.members("regions"):
        color = named[name.strip()]
        if options.region_names.get(color) == name.strip():
            yield color, value.place
