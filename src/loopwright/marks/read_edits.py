"""Read the edits of a marks file; docs/editing.md tells what each may say."""

from __future__ import annotations

from collections.abc import Mapping

from loopwright.edit_wishes import read_operation
from loopwright.errors import MarksError
from loopwright.marks.checked_json import Checked
from loopwright.options import normalize_region, parse_color


def read_edits(top: Checked) -> tuple[Mapping[str, object], ...]:
    """Return the edits as plain data, checked; colours may be written as text, and what is null is left out.

    Raises
    ------
    MarksError
        If one is not understood; the message has the file, the place in it and the edit's number.
    """
    return tuple(_edit(entry, number) for number, entry in enumerate(top.entries("edits"), 1))


def _edit(entry: Checked, number: int) -> Mapping[str, object]:
    data = {key: value for key, value in entry.mapping().items() if value is not None}
    try:
        if isinstance(data.get("color"), str):
            data["color"] = list(parse_color(data["color"]))
        if isinstance(data.get("regions"), list):
            data["regions"] = [normalize_region(n) if isinstance(n, str) else n for n in data["regions"]]
        if isinstance(data.get("name"), str):
            data["name"] = normalize_region(data["name"])
        read_operation(data, f"edit {number}")
    except MarksError as error:
        raise entry.fail(str(error)) from None
    return data
