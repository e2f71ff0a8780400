"""Wishes made in Python are refused as those of a file are: with a message that names them."""

from __future__ import annotations

from typing import Any, cast

import numpy as np
import pytest

from loopwright import BuildOptions, FixedPoint, FlowLine, MarksError, PolePin, SizeDab
from loopwright.check_wishes import check_pin
from loopwright.options import Pin

A, B = (0.0, 0.0, 0.0), (1.0, 0.0, 0.0)
NOWHERE = (0.0, float("nan"), 0.0)


@pytest.mark.parametrize(
    ("wishes", "message"),
    [
        ({"lines": (FlowLine((A,)),)}, "line 1: an open line needs at least 2 different points, but 1 is given"),
        ({"lines": (FlowLine((A, A)),)}, "line 1: an open line needs at least 2 different points, but 1 is given"),
        ({"lines": (FlowLine((A, B, A), True, "x"),)}, "x: a closed line needs at least 3 different points"),
        ({"lines": (FlowLine((A, B)), FlowLine((A, NOWHERE), name="y"))}, "y: its point 2: the place .* is not finite"),
        ({"lines": (FlowLine(cast(Any, np.zeros((3, 4)))),)}, "line 1: its point 1: .* give three numbers"),
        ({"lines": (FlowLine(cast(Any, "abc")),)}, "line 1: its point 1: 'a' is no place; give three numbers"),
        ({"lines": (FlowLine(cast(Any, None)),)}, "line 1: its points are None; give a sequence of places"),
        ({"lines": cast(Any, FlowLine((A, B)))}, "lines is FlowLine.*; it takes a tuple of FlowLines"),
        ({"lines": cast(Any, ({},))}, "lines holds {}; it takes FlowLines"),
        ({"points": (FixedPoint(A), FixedPoint(cast(Any, (1, 2))))}, r"point 2: \(1, 2\) is no place"),
        ({"points": (FixedPoint(NOWHERE, "chin"),)}, "chin: the place .* is not finite"),
        ({"points": (FixedPoint(cast(Any, ("0", "0", "1"))),)}, "point 1: .* is no place; give three numbers"),
        ({"points": (FixedPoint(cast(Any, "001")),)}, "point 1: '001' is no place; give three numbers"),
        ({"poles": (PolePin("lips", cast(Any, "maybe")),)}, "lips is 'maybe'; it must be none or some"),
        ({"size_dabs": (SizeDab(NOWHERE, 1.0, 1.0),)}, "size dab 1: the place .* is not finite"),
        ({"size_dabs": (SizeDab(A, 0.0, 1.0),)}, "needs a positive radius and length"),
        ({"size_dabs": (SizeDab(A, cast(Any, "1"), 1.0),)}, "needs a positive radius and length"),
        ({"pins": (Pin("lips", "cheeks", cast(Any, 24.5)),)}, "asks for 24.5 segments; give a whole number"),
        ({"pins": (Pin("lips", "cheeks", 24, NOWHERE),)}, "its near: the place .* is not finite"),
        ({"pins": (Pin("lips", "cheeks", 24, cast(Any, (0.0, 0.0))),)}, "its near: .* give three numbers"),
        ({"pins": (Pin("lips", "lips", 2),)}, "names one region twice"),
    ],
)
def test_what_makes_no_sense_is_refused(wishes: dict[str, Any], message: str) -> None:
    with pytest.raises(MarksError, match=message):
        BuildOptions(**wishes)


def test_arrays_and_whole_numbers_are_places_too() -> None:
    line = FlowLine(cast(Any, np.array([A, B])))
    assert BuildOptions(lines=(line,), points=(FixedPoint((1, 2, 3)),)).lines[0] is line
    assert BuildOptions(pins=(Pin("lips", "cheeks", cast(Any, np.int64(3)), cast(Any, np.zeros(3))),)).pins


def test_lines_that_a_marks_file_may_hold_are_taken() -> None:
    # neighbours that are alike count once, as does the first point again at the end of a closed line
    C = (0.0, 1.0, 0.0)
    lines = (FlowLine((A, B, A, B), True), FlowLine((A, B, C, A), True), FlowLine((A, A, B)))
    assert BuildOptions(lines=lines).lines == lines


def test_a_pin_alone_is_checked_too() -> None:
    with pytest.raises(MarksError, match="asks for 0 segments"):
        check_pin(Pin("lips", "cheeks", 0))
