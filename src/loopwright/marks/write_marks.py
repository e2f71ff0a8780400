"""Write a marks file: whole or not at all."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np

from loopwright.errors import MarksError
from loopwright.marks.marks_file import VERSION, VERSION_KEY, Marks
from loopwright.options import format_color
from loopwright.write_file import write_file


def write_marks(path: str | Path, marks: Marks) -> Path:
    """Write marks as JSON that :func:`loopwright.marks.read_marks.read_marks` reads back.

    Sizes per vertex go into a .npy file of the same name beside it, which is
    written first.

    Raises
    ------
    InputError : the file cannot be written.
    MarksError : two colours have one name.
    """
    path = Path(path)
    document = to_document(marks)
    if marks.vertex_sizes is not None:
        beside = path.with_suffix(".npy")
        buffer = io.BytesIO()
        np.save(buffer, np.asarray(marks.vertex_sizes, np.float64), allow_pickle=False)
        with write_file(beside) as stream:
            stream.write(buffer.getvalue())
        document["vertex_sizes"] = beside.name
    with write_file(path) as stream:
        stream.write((_format(document) + "\n").encode())
    return path


def to_document(marks: Marks) -> dict[str, Any]:
    """Return the marks as the file's objects, lists and numbers; what is empty is left out."""
    names = {name: format_color(color) for color, name in marks.region_names.items()}
    if len(names) < len(marks.region_names):
        raise MarksError("two colours have the same name; give each region a name of its own")
    document: dict[str, Any] = {
        VERSION_KEY: VERSION,
        "budget": marks.budget,
        "mirror": marks.mirror,
        "mirror_shape": marks.mirror_shape,
        "regions": names,
        "leave_open": [format_color(color) for color in marks.leave_open],
        "sizes": dict(marks.sizes),
        "size_dabs": [{"at": dab.at, "radius": dab.radius, "length": dab.length} for dab in marks.size_dabs],
        "pins": [
            {"between": [pin.region_a, pin.region_b], "count": pin.count, **({"near": pin.near} if pin.near else {})}
            for pin in marks.pins
        ],
        "points": [{"at": p.at, **({"name": p.name} if p.name else {})} for p in marks.points],
        "poles": [{"region": p.region, "wish": p.wish} for p in marks.poles],
        "lines": [
            {"name": line.name or f"line {i + 1}", "closed": line.closed, "points": line.points}
            for i, line in enumerate(marks.lines)
        ],
        "edits": [dict(edit) for edit in marks.edits],
    }
    return {key: value for key, value in document.items() if value is not None and value not in ({}, [])}


def _format(value: Any, indent: int = 0) -> str:
    """JSON with one entry a line, and lists of numbers on one line."""
    pad = " " * (indent + 2)
    if isinstance(value, dict) and indent <= 2 and value:
        inner = ",\n".join(f"{pad}{json.dumps(k)}: {_format(v, indent + 2)}" for k, v in value.items())
        return "{\n" + inner + "\n" + " " * indent + "}"
    if isinstance(value, list | tuple) and value and not isinstance(value[0], int | float | str):
        inner = ",\n".join(pad + _format(v, indent + 2) for v in value)
        return "[\n" + inner + "\n" + " " * indent + "]"
    return json.dumps(value, allow_nan=False)
