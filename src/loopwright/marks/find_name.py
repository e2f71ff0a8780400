"""Find the places in a marks file where a region is named, or a wish stands that an error is about."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from loopwright.errors import LoopwrightError
from loopwright.marks.checked_json import Checked, load_json
from loopwright.options import BuildOptions, call_region, normalize_region
from loopwright.wishes import Pin, name_apart


def find_name(path: Path, region: str) -> str:
    """Return the first place, such as ``pins/0/between/1``, at which a wish of a marks file names a region.

    Looked at are sizes, pins and wishes for poles. The empty text is returned where none names it, and where the file
    cannot be read any more.
    """
    try:
        return next((place for name, place in _named(load_json(path)) if normalize_region(name) == region), "")
    except LoopwrightError:
        return ""


def find_wishes(path: Path, error: LoopwrightError, options: BuildOptions) -> str:
    """Return the places, such as ``pins/0, pins/2``, of the wishes of a marks file that an error is about.

    Those that an option given by hand has replaced are left out.  The empty text is returned where there are none,
    and where the file cannot be read any more.

    Parameters
    ----------
    options : the wishes with which the error came.
    """
    try:
        top = load_json(path)
        if error.about.startswith("edits"):
            found = [edit.place for edit in top.entries("edits") if edit.place == error.about]
        elif error.about == "points":
            found = [place for name, place in _only_in_marks(options) if name in error.places and "points" in place]
        elif error.about:
            found = [place for name, place in _still_wished(top, error.about, options) if name in error.places]
        else:
            found = [place for name, place in _only_in_marks(options) if name in error.places]
    except LoopwrightError:
        return ""
    return ", ".join(found)


def _still_wished(top: Checked, about: str, options: BuildOptions) -> Iterator[tuple[str, str]]:
    """Yield the names that messages use, and the places, of those wishes of a list that the options hold."""
    if about == "sizes":
        for name, value in top.members("sizes"):
            region = normalize_region(name)
            if options.sizes.get(region) == value.length():
                yield call_region(region, options.region_names), value.place
    if about == "poles":
        for pole in top.entries("poles"):
            yield call_region(normalize_region(pole.member("region").text()), options.region_names), pole.place
    if about == "pins":
        for entry in top.entries("pins"):
            between = [normalize_region(each.text()) for each in entry.member("between").items()]
            near = entry.optional("near")
            if len(between) == 2:  # the file may be another by now
                pin = Pin(between[0], between[1], entry.member("count").whole(1), near.point() if near else None)
                if pin in options.pins:
                    yield pin.name, entry.place


def _only_in_marks(options: BuildOptions) -> Iterator[tuple[object, str]]:
    """Yield what messages call the lines, held places and dabs of size, which come from nowhere else, and their places.

    A line that bears the name of a held place stands for both.
    """
    for kind, names in (
        ("lines", [line.name for line in name_apart(options.lines, "line")]),
        ("points", [point.name for point in name_apart(options.points, "point")]),
        ("size_dabs", [dab.at for dab in options.size_dabs]),
    ):
        yield from ((name, f"{kind}/{index}") for index, name in enumerate(names))


def _named(top: Checked) -> Iterator[tuple[str, str]]:
    """Yield each name and its place."""
    yield from ((name, value.place) for name, value in top.members("sizes"))
    for pin in top.entries("pins"):
        yield from ((each.text(), each.place) for each in pin.member("between").items())
    for pole in top.entries("poles"):
        named = pole.member("region")
        yield named.text(), named.place
