"""What a command says: lines for a person, a bar on a terminal, or one JSON value."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TextIO

from loopwright.cli.show_progress import ProgressBar, ProgressLines
from loopwright.cli.write_out import write_out
from loopwright.progress import Progress, silent
from loopwright.write_json import json_text


class Console:
    """Speaks on standard output and, for progress and errors, on standard error."""

    def __init__(
        self,
        *,
        is_quiet: bool = False,
        is_json: bool = False,
        out: TextIO | None = None,
        err: TextIO | None = None,
    ) -> None:
        self._out = out if out is not None else sys.stdout
        self._err = err if err is not None else sys.stderr
        self.is_quiet = is_quiet
        self.is_json = is_json
        self._display: ProgressBar | ProgressLines | None = None
        if not is_quiet and self._err is not None:
            self._display = ProgressBar(self._err) if self._err.isatty() else ProgressLines(self._err)

    @property
    def progress(self) -> Progress:
        """The callable that stages report to."""
        return silent if self._display is None else self._display

    def say(self, text: str = "") -> None:
        """Print a line for a person; nothing when quiet or when the outcome is printed as JSON."""
        self.close()
        if not (self.is_quiet or self.is_json):
            write_out(self._out, f"{text}\n")

    def give(self, outcome: Mapping[str, object]) -> None:
        """Print the outcome as JSON if that was asked for."""
        self.close()
        if self.is_json:
            write_out(self._out, f"{json_text(outcome, indent=2)}\n")

    def fail(self, message: str, code: int, *, places: Sequence[object] = ()) -> int:
        """Print one error message and return ``code``; as JSON, the places go with it."""
        self.give({"error": message, "exit_code": code, "places": [str(place) for place in places]})
        return self.complain(message, code)

    def complain(self, message: str, code: int) -> int:
        """Print what is wrong with an outcome that was given, and return ``code``."""
        self.close()
        write_out(self._err, f"loopwright: {message}\n", flush=True)
        return code

    def flush(self) -> None:
        """Let whoever reads the output see all of it now, not when the command ends."""
        write_out(self._out, flush=True)

    def close(self) -> None:
        """Finish the line that shows progress."""
        if self._display is not None:
            self._display.close()
