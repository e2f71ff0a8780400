"""A short code for what a value holds: equal codes, equal contents."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from itertools import chain
from typing import Any, Protocol, cast

import numpy as np

from loopwright.errors import InternalError


class _Hash(Protocol):
    def update(self, data: Any, /) -> None: ...


def fingerprint(*values: object) -> bytes:
    """Return 20 bytes that tell values apart by their contents, not by who they are.

    Parameters
    ----------
    values : numbers, texts, arrays, None, and sequences, mappings and dataclasses of such. The order of a
        mapping counts, that of a set does not.

    Raises
    ------
    InternalError
        For a value of any other kind.

    Examples
    --------
    >>> fingerprint({"lips": 0.5}) == fingerprint({"lips": 0.5}), fingerprint(1) == fingerprint(1.0)
    (True, False)
    """
    code = hashlib.blake2b(digest_size=20)
    _feed(code, values)
    return code.digest()


def _feed(code: _Hash, value: object) -> None:
    if isinstance(value, np.ndarray):
        if value.dtype.hasobject:
            raise InternalError(f"an array of {value.dtype} has no fingerprint")
        code.update(f"array {value.dtype.str} {value.shape};".encode())
        code.update(np.ascontiguousarray(value).data)
    elif value is None or isinstance(value, (bool, int, float, str, bytes, np.generic)):
        text = f"{type(value).__name__} {value!r}"
        code.update(f"{len(text)} {text};".encode())
    elif isinstance(value, (tuple, list)):
        code.update(f"{len(value)} in order;".encode())
        rows = _rows_of_floats(value)
        if rows is not None:
            code.update(b"rows;")
            code.update(rows.data)
            return
        for item in value:
            _feed(code, item)
    elif isinstance(value, Mapping):
        code.update(b"mapping;")
        _feed(code, list(value.items()))
    elif isinstance(value, (set, frozenset)):
        code.update(b"set;")
        _feed(code, sorted(fingerprint(item) for item in value))
    elif is_dataclass(value) and not isinstance(value, type):
        code.update(f"{type(value).__qualname__};".encode())
        _feed(code, [getattr(value, each.name) for each in fields(value)])
    else:
        raise InternalError(f"a {type(value).__name__} has no fingerprint")


def _rows_of_floats(value: tuple[object, ...] | list[object]) -> np.ndarray | None:
    """Return the points of a drawn line, tuples of three floats, as one array; None for anything else."""
    if not value or not all(type(item) is tuple and len(item) == 3 for item in value):
        return None
    flat = list(chain.from_iterable(cast(Iterable[tuple[object, ...]], value)))
    return np.array(flat) if set(map(type, flat)) == {float} else None
