"""Wishes made in Python are refused as those of a file are: with a message that names them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from loopwright import BuildOptions, FixedPoint, FlowLine, MarksError, PolePin, SizeDab
from loopwright.check_wishes import check_pin
from loopwright.options import Pin

A, B = (0.0, 0.0, 0.0), (1.0, 0.0, 0.0)
NOWHERE = (0.0, float("nan"), 0.0)
bent: Any = lambda value: value  # noqa: E731 - hands over what the types forbid


@pytest.mark.parametrize(
    ("wishes", "message"),
    [
        ({"lines": (FlowLine((A,)),)}, "line 1: an open line needs at least 2 different points, but 1 is given"),
        ({"lines": (FlowLine((A, A)),)}, "line 1: an open line needs at least 2 different points, but 1 is given"),
        ({"lines": (FlowLine((A, B, A), True, "x"),)}, "x: a closed line needs at least 3 different points"),
        ({"lines": (FlowLine((A, B)), FlowLine((A, NOWHERE), name="y"))}, "y: its point 2: the place .* is not finite"),
        ({"lines": (FlowLine(bent(np.zeros((3, 4)))),)}, "line 1: its point 1: .* give three numbers"),
        ({"lines": (FlowLine(bent("abc")),)}, "line 1: its point 1: 'a' is no place; give three numbers"),
        ({"lines": bent(({},))}, "lines holds {}; it takes FlowLines"),
        ({"points": (FixedPoint(A), FixedPoint(bent((1, 2))))}, r"point 2: \(1, 2\) is no place"),
        ({"points": (FixedPoint(NOWHERE, "chin"),)}, "chin: the place .* is not finite"),
        ({"poles": (PolePin("lips", bent("maybe")),)}, "lips is 'maybe'; it must be none or some"),
        ({"size_dabs": (SizeDab(NOWHERE, 1.0, 1.0),)}, "size dab 1: the place .* is not finite"),
        ({"size_dabs": (SizeDab(A, 0.0, 1.0),)}, "needs a positive radius and length"),
        ({"pins": (Pin("lips", "lips", 2),)}, "names one region twice"),
    ],
)
def test_what_makes_no_sense_is_refused(wishes: dict[str, Any], message: str) -> None:
    with pytest.raises(MarksError, match=message):
        BuildOptions(**wishes)


def test_arrays_and_whole_numbers_are_places_too() -> None:
    line = FlowLine(bent(np.array([A, B])))
    assert BuildOptions(lines=(line,), points=(FixedPoint((1, 2, 3)),)).lines == (line,)


def test_a_pin_alone_is_checked_too() -> None:
    with pytest.raises(MarksError, match="asks for 0 segments"):
        check_pin(Pin("lips", "cheeks", 0))
