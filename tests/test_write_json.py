"""What is written as JSON is JSON to readers that take RFC 8259 at its word."""

from __future__ import annotations

import io
import json
import math
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from loopwright.cli.console import Console
from loopwright.write_json import json_text

PLAIN = st.none() | st.booleans() | st.integers() | st.floats(allow_subnormal=False) | st.text()
VALUES = st.recursive(PLAIN, lambda part: st.lists(part) | st.dictionaries(st.text(), part), max_leaves=20)


def strictly(text: str) -> Any:
    def refuse(word: str) -> None:
        raise ValueError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def expected(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: expected(part) for key, part in value.items()}
    if isinstance(value, list):
        return [expected(part) for part in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


@given(VALUES)
def test_all_survives_but_numbers_that_are_not_finite(value: Any) -> None:
    assert strictly(json_text(value)) == strictly(json_text(value, indent=2)) == expected(value)


def test_a_command_gives_null_for_what_is_not_finite() -> None:
    out = io.StringIO()
    Console(is_quiet=True, is_json=True, out=out).give({"quality": {"aspect": math.inf, "mean": math.nan, "min": 0.5}})
    assert strictly(out.getvalue()) == {"quality": {"aspect": None, "mean": None, "min": 0.5}}
