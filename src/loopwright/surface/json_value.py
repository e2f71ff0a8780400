"""A value of a JSON document that is checked as it is read and knows its own place."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.errors import InputError
from loopwright.surface.parts import input_error

CUT_SHORT = "it is damaged or cut short; copy or export it again"
MAX_PLACE_LETTERS = 80


class JsonValue:
    """A value of the document that knows its own place."""

    def __init__(self, value: Any, name: str, place: str) -> None:
        self.value, self.name, self.place = value, name, place

    def fail(self, problem: str, way_out: str = CUT_SHORT) -> InputError:
        """Build the error for this place."""
        return input_error(self.name, self.place[:MAX_PLACE_LETTERS], problem, way_out)

    def has(self, key: str) -> bool:
        """Tell whether an object has a key."""
        return isinstance(self.value, dict) and key in self.value

    def get(self, key: str) -> JsonValue:
        """Return a member of an object."""
        if not isinstance(self.value, dict):
            raise self.fail("an object is expected")
        if key not in self.value:
            raise self.fail(f"'{key}' is missing")
        return JsonValue(self.value[key], self.name, f"{self.place}/{key}".lstrip("/"))

    def item(self, index: int) -> JsonValue:
        """Return an entry of a list."""
        if not isinstance(self.value, list):
            raise self.fail("a list is expected")
        if not 0 <= index < len(self.value):
            raise self.fail(f"entry {index} is asked for, but there are {len(self.value)}")
        return JsonValue(self.value[index], self.name, f"{self.place}/{index}")

    def items(self, key: str) -> Iterator[JsonValue]:
        """Yield the entries of a list that may be missing."""
        if self.has(key):
            values = self.get(key)
            for index in range(values.length()):
                yield values.item(index)

    def length(self) -> int:
        """Return the length of a list."""
        if not isinstance(self.value, list):
            raise self.fail("a list is expected")
        return len(self.value)

    def integer(self) -> int:
        """Return a whole number from 0 up."""
        if isinstance(self.value, float) and self.value.is_integer():
            self.value = int(self.value)
        if not isinstance(self.value, int) or isinstance(self.value, bool) or not 0 <= self.value < 2**53:
            raise self.fail(f"a whole number from 0 up is expected, not {str(self.value)[:24]}")
        return self.value

    def integer_or(self, key: str, default: int) -> int:
        """Return a whole number that may be missing."""
        return self.get(key).integer() if self.has(key) else default

    def text(self) -> str:
        """Return a string."""
        if not isinstance(self.value, str):
            raise self.fail("a text is expected")
        return self.value

    def numbers(self, count: int) -> NDArray[np.float64]:
        """Return a list of just so many finite numbers."""
        if self.length() != count or not all(_is_finite(entry) for entry in self.value):
            raise self.fail(f"{count} finite numbers are expected")
        return np.array(self.value, np.float64)


def _is_finite(value: object) -> bool:
    return isinstance(value, int | float) and abs(value) < 1e300 and math.isfinite(value)
