"""Check the plain data of an edit: what is asked for, where, and how much."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from loopwright.errors import MarksError
from loopwright.types import FloatArray

_PLACE = ("near",)
_DIRECTIONS = ("across", "along")
# What each operation must and may say.
_WORDS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "insert_loop": (_PLACE, _DIRECTIONS),
    "remove_loop": (_PLACE, _DIRECTIONS),
    "change_count": ((*_PLACE, "by"), _DIRECTIONS),
    "move_pole": ((*_PLACE, "toward"), ("how",)),
    "turn": (_PLACE, ("what", "steps", *_DIRECTIONS)),
    "merge_regions": (("regions",), ("name",)),
    "split_region": ((*_PLACE, "name"), ("color", *_DIRECTIONS)),
}
_CHOICES = {"how": ("any", "pair", "rows"), "what": ("edge", "pole", "pair")}
_LARGEST_CHANGE = 64
_LARGEST_NUMBER = 1e150  # whose square is still a number


@dataclass(frozen=True)
class Place:
    """Where an edit is meant, on the half that is edited.

    Attributes
    ----------
    near : (3,) a point near the mesh.
    across, along, toward : (3,) directions or None: of the edges that are crossed, of the loop, of a move.
    is_mirrored : whether the place was given on the other side.
    is_settled : whether the side that it is on is decided; else the mirror plane decides.
    """

    near: FloatArray
    across: FloatArray | None = None
    along: FloatArray | None = None
    toward: FloatArray | None = None
    is_mirrored: bool = False
    is_settled: bool = False


@dataclass(frozen=True)
class Operation:
    """One edit, checked.

    Attributes
    ----------
    op : its kind.
    place : where, or None where the kind needs no place.
    by, steps : how much.
    how, what : the choice among ways and things.
    regions, name, color : for regions.
    """

    op: str
    place: Place | None = None
    by: int = 1
    steps: int = 1
    how: str = "any"
    what: str = "edge"
    regions: tuple[str, ...] = ()
    name: str = ""
    color: tuple[int, int, int] | None = None


def read_operation(data: Mapping[str, object], label: str) -> Operation:
    """Check one operation given as plain data.

    Parameters
    ----------
    label : how messages call it, such as "edit 3".

    Raises
    ------
    MarksError
        If the kind is unknown, a word is missing, unknown or of the wrong sort.
    """
    if not isinstance(data, Mapping):
        raise MarksError(f"{label} must be an object with the key op.", places=[label])
    op = data.get("op")
    if not isinstance(op, str) or op not in _WORDS:
        raise MarksError(f"{label}: op is {op!r}; it must be one of {', '.join(_WORDS)}.", places=[label])
    label = f"{label} ({op})"
    must, may = _WORDS[op]
    for word in must:
        if word not in data:
            raise MarksError(f"{label} needs {word}.", places=[label])
    for word in data:
        if word not in (*must, *may, "op"):
            raise MarksError(f"{label}: {word} means nothing here; use {', '.join((*must, *may))}.", places=[label])
    if "across" in data and "along" in data:
        raise MarksError(f"{label}: give across or along, not both.", places=[label])
    for word, choices in _CHOICES.items():
        if word in data and data[word] not in choices:
            message = f"{label}: {word} is {data[word]!r}; it must be one of {', '.join(choices)}."
            raise MarksError(message, places=[label])
    return Operation(
        op,
        place=_read_place(data, label) if "near" in data else None,
        by=_read_count(data, "by", label),
        steps=_read_count(data, "steps", label),
        how=str(data.get("how", "any")),
        what=str(data.get("what", "edge")),
        regions=_read_names(data, label),
        name=_read_text(data, "name", label),
        color=_read_color(data, label),
    )


def _read_place(data: Mapping[str, object], label: str) -> Place:
    vectors = {word: _read_vector(data, word, label) for word in ("near", *_DIRECTIONS, "toward") if word in data}
    for word, vector in vectors.items():
        if word != "near" and not vector.any():
            raise MarksError(f"{label}: {word} is a direction and must not be zero.", places=[label])
    near = vectors.pop("near")
    return Place(near, vectors.get("across"), vectors.get("along"), vectors.get("toward"))


def _read_vector(data: Mapping[str, object], word: str, label: str) -> FloatArray:
    message = f"{label}: {word} must be three finite numbers."
    value = data[word]
    if not isinstance(value, (list, tuple, np.ndarray)) or len(value) != 3:
        raise MarksError(message, places=[label])
    if not all(isinstance(x, (int, float, np.number)) and not isinstance(x, bool) for x in value):
        raise MarksError(message, places=[label])
    if not all(abs(x) < _LARGEST_NUMBER for x in value):
        raise MarksError(message, places=[label])
    return np.array([float(x) for x in value])


def _read_count(data: Mapping[str, object], word: str, label: str) -> int:
    value = data.get(word, 1)
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if not isinstance(value, int) or isinstance(value, bool) or value == 0 or abs(value) > _LARGEST_CHANGE:
        message = f"{label}: {word} must be a whole number from 1 to {_LARGEST_CHANGE}, or its negative."
        raise MarksError(message, places=[label])
    return value


def _read_text(data: Mapping[str, object], word: str, label: str) -> str:
    value = data.get(word, "")
    if not isinstance(value, str) or (word in data and not value.strip()):
        raise MarksError(f"{label}: {word} must be a text that is not empty.", places=[label])
    return value.strip()


def _read_names(data: Mapping[str, object], label: str) -> tuple[str, ...]:
    value = data.get("regions", ())
    if not isinstance(value, (list, tuple)) or not all(isinstance(name, str) for name in value):
        raise MarksError(f"{label}: regions must be a list of names.", places=[label])
    names = tuple(name.strip() for name in value)
    if "regions" in data and len(set(names)) < 2:
        raise MarksError(f"{label}: regions must name at least two different ones.", places=[label])
    return names


def _read_color(data: Mapping[str, object], label: str) -> tuple[int, int, int] | None:
    value = data.get("color")
    if value is None:
        return None
    message = f"{label}: color must be three whole numbers from 0 to 255."
    if not isinstance(value, (list, tuple)) or len(value) != 3:
        raise MarksError(message, places=[label])
    if not all(isinstance(x, int) and not isinstance(x, bool) and 0 <= x <= 255 for x in value):
        raise MarksError(message, places=[label])
    return int(value[0]), int(value[1]), int(value[2])
