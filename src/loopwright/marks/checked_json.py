"""JSON that is checked as it is read: every mistake is told with the file, the place in it and the way out."""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from loopwright.errors import InputError, MarksError
from loopwright.marks.find_json_fault import find_json_fault, line_and_column

_LARGEST_FILE = 64 * 2**20


def load_json(path: Path) -> Checked:
    """Read a JSON file (RFC 8259); names given twice, NaN and infinities are refused.

    Raises
    ------
    InputError : the file cannot be read.
    MarksError : it is not JSON.
    """
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise MarksError(f"{path}: the file is larger than 64 MB; keep long lists of sizes in a .npy beside it")
        text = path.read_bytes().decode("utf-8-sig")
        value = json.loads(text, object_pairs_hook=_unique, parse_constant=_refuse)
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file; check the path", places=[str(path)]) from None
    except OSError as error:
        raise InputError(f"{path}: it cannot be read ({error.strerror}); check the path", places=[str(path)]) from None
    except UnicodeDecodeError as error:
        line, byte = line_and_column(error.object.decode("latin-1"), error.start)  # a letter for each byte
        where = f"line {line}, byte {byte}"
        raise MarksError(f"{path}: {where}: this is not UTF-8; save the file as UTF-8", places=[where]) from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise MarksError(f"{path}: {where}: this is not JSON ({error.msg}); mend it there", places=[where]) from None
    except _BadName as error:
        line, column = line_and_column(text, find_json_fault(text, error.name))
        where = f"line {line}, column {column}"
        raise MarksError(f"{path}: {where}: {error}", places=[error.name]) from None
    except RecursionError:
        raise MarksError(f"{path}: it is nested too deeply to be a marks file") from None
    except ValueError:  # Python reads whole numbers of some thousand digits at most
        raise MarksError(f"{path}: a number in it has thousands of digits; shorten it") from None
    return Checked(value, str(path), "")


class _BadName(ValueError):
    def __init__(self, name: str, text: str) -> None:
        super().__init__(text)
        self.name = name


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in pairs:
        if key in out:
            raise _BadName(key, f'the name "{key}" is given twice in one object; keep one of them')
        out[key] = value
    return out


def _refuse(name: str) -> float:
    raise _BadName(name, f"{name} is not a number in JSON; write a finite number or leave the entry out")


class Checked:
    """A value of the document that knows its place, written like ``lines/0/points``."""

    def __init__(self, value: Any, file: str, place: str) -> None:
        self.value, self.file, self.place = value, file, place

    def fail(self, problem: str) -> MarksError:
        """Build the error for this place."""
        where = self.place or "the whole file"
        return MarksError(f"{self.file}: {where}: {problem}", places=[where])

    def member(self, key: str) -> Checked:
        """Return a member of an object, which must be there."""
        if key not in self.mapping():
            raise self.fail(f'"{key}" is missing; add it')
        return Checked(self.value[key], self.file, f"{self.place}/{key}".lstrip("/"))

    def optional(self, key: str) -> Checked | None:
        """Return a member of an object, or None where it is left out or null."""
        return self.member(key) if self.mapping().get(key) is not None else None

    def mapping(self) -> dict[str, Any]:
        """Return an object."""
        if not isinstance(self.value, dict):
            raise self.fail(f"an object {{...}} is expected here, not {self._shown()}")
        return self.value

    def only(self, known: Sequence[str]) -> None:
        """Refuse members with other names than the known ones."""
        for key in self.mapping():
            if key not in known:
                near = difflib.get_close_matches(key, known, 1)
                hint = f'did you mean "{near[0]}"?' if near else f"known are {', '.join(known)}"
                raise self.fail(f'"{key}" is not known here; {hint}')

    def members(self, key: str) -> Iterator[tuple[str, Checked]]:
        """Yield the members of an object that may be left out."""
        inner = self.optional(key)
        for name in inner.mapping() if inner else ():
            yield name, Checked(self.value[key][name], self.file, f"{self.place}/{key}/{name}".lstrip("/"))

    def entries(self, key: str) -> list[Checked]:
        """Return the entries of a list that may be left out."""
        inner = self.optional(key)
        return inner.items() if inner else []

    def items(self) -> list[Checked]:
        """Return the entries of this list."""
        if not isinstance(self.value, list):
            raise self.fail(f"a list [...] is expected here, not {self._shown()}")
        return [Checked(v, self.file, f"{self.place}/{i}") for i, v in enumerate(self.value)]

    def text(self) -> str:
        """Return a string with something in it."""
        if not isinstance(self.value, str) or not self.value.strip():
            raise self.fail(f"a text is expected here, not {self._shown()}")
        return self.value.strip()

    def flag(self) -> bool:
        """Return true or false."""
        if not isinstance(self.value, bool):
            raise self.fail(f"true or false is expected here, not {self._shown()}")
        return self.value

    def whole(self, least: int, most: int | None = None) -> int:
        """Return a whole number from ``least`` up, to ``most`` if that is given."""
        value = self.value
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if (
            isinstance(value, bool)
            or not isinstance(value, int)
            or not least <= value <= (value if most is None else most)
        ):
            span = f"from {least} up" if most is None else f"from {least:,} to {most:,}"
            raise self.fail(f"a whole number {span} is expected here, not {self._shown()}")
        return value

    def number(self) -> float:
        """Return a finite number."""
        value = self.value
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e150:
            raise self.fail(f"a finite number is expected here, not {self._shown()}")
        return float(value)

    def length(self) -> float:
        """Return a positive number."""
        value = self.number()
        if not (value > 0 and math.isfinite(value)):
            raise self.fail(f"a length greater than 0 is expected here, not {self._shown()}")
        return value

    def point(self) -> tuple[float, float, float]:
        """Return three finite numbers."""
        entries = self.items()
        if len(entries) != 3:
            raise self.fail(
                f"a point is three numbers [x, y, z], but {len(entries)} {'is' if len(entries) == 1 else 'are'} given"
            )
        x, y, z = (entry.number() for entry in entries)
        return x, y, z

    def one_of(self, choices: Sequence[str]) -> str:
        """Return one of the given words."""
        if self.value not in choices:
            raise self.fail(f"{self._shown()} is not one of {', '.join(choices)}")
        return str(self.value)

    def _shown(self) -> str:
        text = json.dumps(self.value)
        return text if len(text) <= 40 else text[:37] + "..."
