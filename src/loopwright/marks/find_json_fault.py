"""Find where in a JSON text a name is given twice, or a number stands that JSON does not know."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|[{}\[\],:]|[^\s{}\[\],:"]+')
_COLON = re.compile(r"\s*:")
_NO_NUMBERS = ("NaN", "Infinity", "-Infinity")


def find_json_fault(text: str, name: str) -> int:
    """Return at which character a name is given again in its object, or NaN or an infinity stands; 0 if nowhere.

    Parameters
    ----------
    text : JSON up to there.
    name : as it reads once its escapes are resolved, or ``NaN``, ``Infinity`` or ``-Infinity``.
    """
    return next((start for found, start in _faults(text) if found == name), 0)


def line_and_column(text: str, place: int) -> tuple[int, int]:
    """Return the line and the column of a character of a text, both counted from 1."""
    return text.count("\n", 0, place) + 1, place - text.rfind("\n", 0, place)


def _faults(text: str) -> Iterator[tuple[str, int]]:
    names: list[set[str]] = []  # of each object or list that is open
    for token in _TOKEN.finditer(text):
        word = token[0]
        if word in ("{", "["):
            names.append(set())
        elif word in ("}", "]"):
            names.pop()
        elif word in _NO_NUMBERS:
            yield word, token.start()
        elif word.startswith('"') and _COLON.match(text, token.end()):
            name: str = json.loads(word)
            if name in names[-1]:
                yield name, token.start()
            names[-1].add(name)
