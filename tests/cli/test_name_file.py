"""Errors name the file that they come from, once."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopwright.cli.name_file import name_file, name_marks
from loopwright.errors import InputError, LoopwrightError, MarksError
from loopwright.options import BuildOptions
from loopwright.wishes import FixedPoint, FlowLine

MARKS = Path("head.json")
WISHES = BuildOptions(
    points=(FixedPoint((0.0, 0.0, 0.0)), FixedPoint((1.0, 0.0, 0.0), "chin")),
    lines=(FlowLine(((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), name="jaw"),),
)


@pytest.mark.parametrize("text", ["chin: its place is 5 away", "point 1: its place is 5 away", "jaw leaves the sculpt"])
def test_what_only_marks_hold_is_told_with_their_file(text: str) -> None:
    with pytest.raises(MarksError, match=f"^head.json: {text}$"), name_marks(MARKS, WISHES):
        raise MarksError(text)


@pytest.mark.parametrize("path", [None, MARKS])
def test_what_options_may_hold_too_is_told_as_it_is(path: Path | None) -> None:
    with pytest.raises(MarksError, match=r'^There is no region "x"$'), name_marks(path, WISHES):
        raise MarksError('There is no region "x"')


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (MarksError("it clashes"), "head.json: it clashes"),
        (MarksError("head.json: pins/0: no"), "head.json: pins/0: no"),
        (InputError("no"), "no"),
    ],
)
def test_a_file_is_named_once(error: LoopwrightError, said: str) -> None:
    with pytest.raises(type(error)) as caught, name_file(MARKS):
        raise error
    assert str(caught.value) == said
