"""Read a marks file; its form is told in docs/marks-file.md."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import cast, get_args
from zipfile import BadZipFile

import numpy as np

from loopwright.errors import InputError, MarksError
from loopwright.marks.checked_json import Checked, load_json
from loopwright.marks.marks_file import RGB, VERSION, VERSION_KEY, Marks
from loopwright.marks.read_edits import read_edits
from loopwright.marks.use_marks import border_key
from loopwright.options import LARGEST_BUDGET, SMALLEST_BUDGET, Mirror, call_region, normalize_region, parse_color
from loopwright.surface.repair_work import plural
from loopwright.types import FloatArray
from loopwright.wishes import FixedPoint, FlowLine, Pin, PolePin, PoleWish, SizeDab

_KEYS = (
    VERSION_KEY,
    "budget",
    "mirror",
    "mirror_shape",
    "regions",
    "leave_open",
    "sizes",
    "size_dabs",
    "vertex_sizes",
    "pins",
    "points",
    "poles",
    "lines",
    "edits",
)


def read_marks(path: str | Path) -> Marks:
    """Read a marks file.

    Raises
    ------
    InputError
        If the file, or one of sizes that it names, cannot be read.
    MarksError
        If something in it is not as it must be; the
        message has the file, the place in it and what to write instead.
    """
    path = Path(path)
    top = load_json(path)
    _check_version(top)
    top.only(_KEYS)
    budget, mirror, shape = top.optional("budget"), top.optional("mirror"), top.optional("mirror_shape")
    names = _region_names(top)
    return Marks(
        budget=budget.whole(SMALLEST_BUDGET, LARGEST_BUDGET) if budget else None,
        mirror=mirror.one_of(get_args(Mirror)) if mirror else None,
        mirror_shape=shape.flag() if shape else None,
        region_names=names,
        leave_open=_open_colors(top, names),
        sizes=_sizes(top, names),
        size_dabs=tuple(_dab(entry) for entry in top.entries("size_dabs")),
        vertex_sizes=_vertex_sizes(top, path),
        pins=_pins(top, names),
        points=tuple(_fixed_point(entry) for entry in top.entries("points")),
        poles=_poles(top),
        lines=tuple(_line(entry, i) for i, entry in enumerate(top.entries("lines"))),
        edits=read_edits(top),
    )


def _check_version(top: Checked) -> None:
    if VERSION_KEY not in top.mapping():
        raise top.fail(f'this is no marks file: it must begin with "{VERSION_KEY}": {VERSION}')
    found = top.member(VERSION_KEY)
    if found.whole(1) > VERSION:
        raise found.fail(f"version {found.value} is newer than this program, which reads {VERSION}; update it")


def _color(value: Checked) -> RGB:
    try:
        return parse_color(value.text())
    except MarksError as error:
        raise value.fail(str(error)) from None


def _name(name: str, place: Checked) -> str:
    try:
        return normalize_region(name)
    except MarksError as error:
        raise place.fail(str(error)) from None


def _region_names(top: Checked) -> dict[RGB, str]:
    out: dict[RGB, str] = {}
    for name, value in top.members("regions"):
        if not name.strip():
            raise value.fail("a region needs a name that is not empty")
        color = _color(value)
        if color in out:
            raise value.fail(f'the colour is named "{out[color]}" already; give each region a colour of its own')
        out[color] = name.strip()
    return out


def _open_colors(top: Checked, names: dict[RGB, str]) -> tuple[RGB, ...]:
    by_name = {name: color for color, name in names.items()}
    found = []
    for entry in top.entries("leave_open"):
        found.append(by_name[entry.text()] if entry.text() in by_name else _open_color(entry, list(by_name)))
    return tuple(dict.fromkeys(found))


def _open_color(entry: Checked, names: list[str]) -> RGB:
    """Return the colour of an entry that is none of the names; one that is like a name is taken for misspelt."""
    try:
        return parse_color(entry.text())
    except MarksError as error:
        near = difflib.get_close_matches(entry.text(), names, 1)
        if not near:
            raise entry.fail(str(error)) from None
        raise entry.fail(f'"{entry.text()}" is no name in regions; did you mean "{near[0]}"?') from None


def _dab(entry: Checked) -> SizeDab:
    entry.only(("at", "radius", "length"))
    return SizeDab(entry.member("at").point(), entry.member("radius").length(), entry.member("length").length())


def _vertex_sizes(top: Checked, path: Path) -> FloatArray | None:
    value = top.optional("vertex_sizes")
    if value is None:
        return None
    beside = path.parent / value.text()
    try:
        with beside.open("rb") as stream:
            sizes = np.load(stream, allow_pickle=False)
    except OSError as error:
        is_missing = isinstance(error, FileNotFoundError)
        why = "there is no such file" if is_missing else f"it cannot be read ({error.strerror or 'no reason given'})"
        raise InputError(f"{path}: {value.place}: {beside}: {why}; check the path", places=[str(beside)]) from None
    except (ValueError, EOFError, BadZipFile):
        raise value.fail(f"{beside} cannot be read as a .npy array; save one length per vertex") from None
    if not isinstance(sizes, np.ndarray) or sizes.ndim != 1 or sizes.dtype.kind not in "fiu":
        raise value.fail(f"{beside} must hold a list of numbers, one length per vertex of the sculpt")
    sizes = np.ascontiguousarray(sizes, np.float64)
    if not (np.isfinite(sizes) & (sizes >= 0)).all():
        bad = int(np.flatnonzero(~(np.isfinite(sizes) & (sizes >= 0)))[0])
        raise value.fail(f"{beside}: entry {bad} is {sizes[bad]}; write a length, or 0 where none is wished")
    return sizes


def sizes_file(path: Path) -> Path | None:
    """Return the file of sizes per vertex that a marks file, which is sound, names; None where it names none."""
    named = load_json(path).optional("vertex_sizes")
    return None if named is None else path.parent / named.text()


def _sizes(top: Checked, names: dict[RGB, str]) -> dict[str, float]:
    found: dict[str, tuple[str, Checked]] = {}
    for key, value in top.members("sizes"):
        region = _name(key, value)
        first, before = found.setdefault(call_region(region, names), (region, value))
        if before.length() != value.length():
            raise value.fail(
                f"{key} is the same region as in {before.place}, whose size is {before.value}; keep one of the two"
            )
    return {region: value.length() for region, value in found.values()}


def _pins(top: Checked, names: dict[RGB, str]) -> tuple[Pin, ...]:
    pins: dict[object, tuple[Pin, str]] = {}
    for entry in top.entries("pins"):
        entry.only(("between", "count", "near"))
        pair = entry.member("between").items()
        if len(pair) != 2:
            raise entry.member("between").fail(f"two regions are expected, but {plural(len(pair), 'is', 'are')} given")
        first, second = (_name(region.text(), region) for region in pair)
        if call_region(first, names) == call_region(second, names):
            raise entry.member("between").fail(f'"{first}" is named twice; name the two regions that share the border')
        near = entry.optional("near")
        pin = Pin(first, second, entry.member("count").whole(1), near.point() if near else None)
        before, place = pins.setdefault(border_key(pin, names), (pin, entry.place))
        if before.count != pin.count:
            also = "" if before.name == pin.name else f" as {before.name}"
            raise entry.fail(f"the border {pin.name} is pinned to {before.count}{also} in {place}; keep one of the two")
    return tuple(pin for pin, _ in pins.values())


def _fixed_point(entry: Checked) -> FixedPoint:
    entry.only(("at", "name"))
    name = entry.optional("name")
    return FixedPoint(entry.member("at").point(), name.text() if name else "")


def _poles(top: Checked) -> tuple[PolePin, ...]:
    found: dict[str, PolePin] = {}
    for entry in top.entries("poles"):
        entry.only(("region", "wish"))
        region = _name(entry.member("region").text(), entry.member("region"))
        wish = cast(PoleWish, entry.member("wish").one_of(get_args(PoleWish)))
        if region in found and found[region].wish != wish:
            raise entry.fail(f'"{region}" has the wish "{found[region].wish}" already; keep one of the two')
        found[region] = PolePin(region, wish)
    return tuple(found.values())


def _line(entry: Checked, index: int) -> FlowLine:
    entry.only(("name", "closed", "points"))
    closed_value, name = entry.optional("closed"), entry.optional("name")
    closed = closed_value.flag() if closed_value else False
    places = entry.member("points")
    points = [p.point() for p in places.items()]
    points = [p for i, p in enumerate(points) if i == 0 or p != points[i - 1]]
    if closed and len(points) > 1 and points[0] == points[-1]:
        points.pop()
    least = 3 if closed else 2
    if len(points) < least:
        kind = "a closed" if closed else "an open"
        raise places.fail(
            f"{kind} line needs at least {least} different points, but {plural(len(points), 'is', 'are')} given"
        )
    return FlowLine(tuple(points), closed, name.text() if name else f"line {index + 1}")
