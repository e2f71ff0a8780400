"""Errors name the file that they come from, once."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopwright.cli.name_file import name_file, name_marks
from loopwright.errors import InputError, LoopwrightError, MarksError

MARKS = Path("head.json")


def test_what_only_marks_hold_is_told_with_their_file() -> None:
    with pytest.raises(MarksError, match=r"^head\.json: jaw leaves the sculpt$"), name_marks(MARKS):
        raise MarksError("jaw leaves the sculpt", in_marks=True)


@pytest.mark.parametrize(
    ("path", "in_marks"),
    [(None, True), (MARKS, False)],
)
def test_what_options_may_hold_too_is_told_as_it_is(path: Path | None, in_marks: bool) -> None:
    with pytest.raises(MarksError, match=r'^There is no region "x"$'), name_marks(path):
        raise MarksError('There is no region "x"', in_marks=in_marks)


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (MarksError("it clashes"), "head.json: it clashes"),
        (MarksError("head.json: pins/0: no"), "head.json: pins/0: no"),
        (MarksError("behead.json: no"), "head.json: behead.json: no"),
        (InputError("no"), "no"),
    ],
)
def test_a_file_is_named_once(error: LoopwrightError, said: str) -> None:
    with pytest.raises(type(error)) as caught, name_file(MARKS):
        raise error
    assert str(caught.value) == said
