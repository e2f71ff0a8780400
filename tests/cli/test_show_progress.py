"""Progress: a bar that redraws on a terminal, a line a stage elsewhere, nothing when quiet."""

from __future__ import annotations

import io
import re

import pytest

from loopwright.cli.console import Console
from loopwright.cli.show_progress import ProgressBar, ProgressLines
from loopwright.progress import silent


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return "ascii"


def test_lines_tell_each_stage_once() -> None:
    stream = io.StringIO()
    progress = ProgressLines(stream)
    for stage, done in (("read", 0.0), ("read", 0.5), ("read", 1.0), ("fit", 0.1), ("fit", 1.0)):
        progress(stage, done)
    progress.close()
    progress.close()
    lines = stream.getvalue().splitlines()
    assert [line.split()[0] for line in lines] == ["read", "fit"]
    assert all(re.search(r"\d\.\d s$", line) for line in lines)


def test_a_long_stage_writes_a_line_now_and_then(monkeypatch: pytest.MonkeyPatch) -> None:
    now = 0.0
    monkeypatch.setattr("time.perf_counter", lambda: now)
    stream = io.StringIO()
    progress = ProgressLines(stream)
    for second in range(36):
        now = float(second)
        progress("fit", second / 40)
    progress("fit", 1.0)
    progress("mirror", 0.0)
    progress.close()
    lines = stream.getvalue().splitlines()
    assert [line.split()[:2] for line in lines[:3]] == [["fit", "10.0"], ["fit", "20.0"], ["fit", "30.0"]]
    assert "25% done" in lines[0] and [line.split()[0] for line in lines[3:]] == ["fit", "mirror"]


def test_a_bar_redraws_one_line_and_keeps_to_the_terminals_letters() -> None:
    stream = Terminal()
    progress = ProgressBar(stream)
    progress("read", -1.0)
    progress("fit", 7.0)
    progress.close()
    shown = stream.getvalue()
    shown.encode("ascii")
    assert "  0%" in shown and "100%" in shown
    assert shown.count("\n") == 2 and shown.endswith("\n")


def test_the_console_chooses() -> None:
    assert Console(is_quiet=True, err=io.StringIO()).progress is silent
    assert isinstance(Console(err=io.StringIO()).progress, ProgressLines)
    assert isinstance(Console(err=Terminal()).progress, ProgressBar)


def test_quiet_and_json_keep_standard_output_clean() -> None:
    for is_quiet, is_json, expected in (
        (False, False, "hello\n"),
        (True, False, ""),
        (False, True, '{\n  "a": 1\n}\n'),
    ):
        out = io.StringIO()
        console = Console(is_quiet=is_quiet, is_json=is_json, out=out, err=io.StringIO())
        console.say("hello")
        console.give({"a": 1})
        assert out.getvalue() == expected
