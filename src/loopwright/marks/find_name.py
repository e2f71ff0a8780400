"""Find the place in a marks file where a region is named."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from loopwright.errors import LoopwrightError
from loopwright.marks.checked_json import Checked, load_json
from loopwright.options import normalize_region


def find_name(path: Path, region: str) -> str:
    """Return the first place, such as ``pins/0/between/1``, at which a wish of a marks file names a region.

    Looked at are sizes, pins and wishes for poles. The empty text is returned where none names it, and where the file
    cannot be read any more.
    """
    try:
        return next((place for name, place in _named(load_json(path)) if normalize_region(name) == region), "")
    except LoopwrightError:
        return ""


def _named(top: Checked) -> Iterator[tuple[str, str]]:
    """Yield each name and its place."""
    yield from ((name, value.place) for name, value in top.members("sizes"))
    for pin in top.entries("pins"):
        yield from ((each.text(), each.place) for each in pin.member("between").items())
    for pole in top.entries("poles"):
        named = pole.member("region")
        yield named.text(), named.place
