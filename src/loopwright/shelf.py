"""Keep what a stage made, as long as nothing changes that the stage reads."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from typing import TypeVar, cast

from loopwright.fingerprint import fingerprint

Value = TypeVar("Value")


class Shelf:
    """The newest values of each stage, found again by the contents of what the stage read.

    Parameters
    ----------
    depth : values kept of one stage; with 0 nothing is kept and nothing looked up.
    behind : another shelf, in which values are looked up too, but not in those behind that. What is found there is
        kept here as well.

    Examples
    --------
    >>> shelf = Shelf(depth=1)
    >>> shelf.keep("square", (3,), lambda: 9), shelf.keep("square", (3,), lambda: 0)
    (9, 9)
    """

    def __init__(self, depth: int = 3, *, behind: Shelf | None = None) -> None:
        self.depth, self._behind = depth, behind
        self._anew: frozenset[str] = frozenset()
        self._rows: dict[str, OrderedDict[bytes, object]] = {}

    def keep(
        self, stage: str, reads: tuple[object, ...], make: Callable[[], Value], *, depth: int = 1000, parts: int = 1
    ) -> Value:
        """Return the kept value of a stage that read the same, else what ``make`` returns.

        What ``make`` raises is passed on, and nothing is kept.

        Parameters
        ----------
        reads : all that ``make`` depends on and that may change, as :func:`loopwright.fingerprint.fingerprint`
            takes it.
        depth : fewer values to keep than the shelf's, for a stage whose values are large.
        parts : so many times more values to keep, for a stage that asks for the parts of one result apart.
        """
        depth = min(depth, self.depth) * parts
        there = None if self._behind is None or stage in self._anew else self._behind._rows.get(stage)
        if depth <= 0 and not there:
            return make()
        key = fingerprint(*reads)
        if depth <= 0:
            return cast(Value, there[key]) if there and key in there else make()
        row = self._rows.setdefault(stage, OrderedDict())
        if key in row:
            row.move_to_end(key)
            return cast(Value, row[key])
        while len(row) >= depth:  # first, so that the old and the new never need memory at the same time
            row.popitem(last=False)
        value = cast(Value, there[key]) if there and key in there else make()
        row[key] = value
        return value

    @contextmanager
    def borrowing(self, other: Shelf | None, *, anew: Collection[str] = ()) -> Iterator[None]:
        """Look values up on another shelf too, for a while; what is found there is kept here as well.

        Parameters
        ----------
        anew : stages that are done again, so that what they are made of is kept here.
        """
        before = self._behind, self._anew
        self._behind, self._anew = other, frozenset(anew)
        try:
            yield
        finally:
            self._behind, self._anew = before

    def clear(self) -> None:
        """Keep nothing of what was made."""
        self._rows.clear()
