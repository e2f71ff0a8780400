"""Results that are remembered on the value that they were found for."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TypeVar

_Owner = TypeVar("_Owner")
_Found = TypeVar("_Found")


def remembered(find: Callable[[_Owner], _Found]) -> Callable[[_Owner], _Found]:
    """Let a function of one frozen dataclass find its result once for each of them, and keep it there.

    Neither the fields of the owner nor the result may be changed in place.
    """
    name = f"{find.__module__}.{find.__qualname__}"

    @wraps(find)
    def look(owner: _Owner) -> _Found:
        kept = vars(owner)
        if name not in kept:
            kept[name] = find(owner)
        found: _Found = kept[name]
        return found

    return look
