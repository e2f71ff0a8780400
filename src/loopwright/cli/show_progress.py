"""Two ways to show progress: a bar that redraws on a terminal, a line a stage elsewhere."""

from __future__ import annotations

import shutil
import time
from typing import TextIO

from loopwright.cli.write_out import write_out

_REDRAW_SECONDS = 0.08
_NAME_WIDTH = 22
_SILENT_SECONDS = 10.0  # how long a stage may run before a line tells that it still does


class _StageClock:
    """Knows which stage runs and since when."""

    def __init__(self) -> None:
        self.stage: str | None = None
        self.started = 0.0

    def seconds(self) -> float:
        return time.perf_counter() - self.started

    def start(self, stage: str) -> None:
        self.stage = stage
        self.started = time.perf_counter()


class ProgressLines:
    """Writes one line for each stage when it is over, and now and then while a long one runs, for logs and pipes."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._clock = _StageClock()
        self._next_line = _SILENT_SECONDS

    def __call__(self, stage: str, done: float) -> None:
        """Note that ``stage`` is ``done`` (0 to 1)."""
        if stage != self._clock.stage:
            self.close()
            self._clock.start(stage)
            self._next_line = _SILENT_SECONDS
        elif done < 1.0 and self._clock.seconds() >= self._next_line:
            self._next_line = self._clock.seconds() + _SILENT_SECONDS
            share = f", {min(max(done, 0.0), 1.0):.0%} done" if done > 0.0 else ""
            write_out(
                self._stream, f"{stage:<{_NAME_WIDTH}} {self._clock.seconds():6.1f} s so far{share}\n", flush=True
            )

    def close(self) -> None:
        """Write the line of the running stage."""
        if self._clock.stage is not None:
            write_out(self._stream, f"{self._clock.stage:<{_NAME_WIDTH}} {self._clock.seconds():6.1f} s\n", flush=True)
            self._clock.stage = None


class ProgressBar:
    """Redraws one line on a terminal; a finished stage leaves its name and time behind."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._clock = _StageClock()
        self._last_drawn = 0.0
        self._full, self._empty = _bar_letters(stream)

    def __call__(self, stage: str, done: float) -> None:
        """Draw ``stage`` at ``done`` (0 to 1)."""
        if stage != self._clock.stage:
            self.close()
            self._clock.start(stage)
            self._last_drawn = 0.0
        now = time.perf_counter()
        if now - self._last_drawn >= _REDRAW_SECONDS:
            self._last_drawn = now
            self._draw(min(max(done, 0.0), 1.0))

    def close(self) -> None:
        """Replace the bar by the stage's name and time."""
        if self._clock.stage is not None:
            write_out(
                self._stream,
                f"\r\x1b[2K{self._clock.stage:<{_NAME_WIDTH}} {self._clock.seconds():6.1f} s\n",
                flush=True,
            )
            self._clock.stage = None

    def _draw(self, done: float) -> None:
        width = max(10, min(40, shutil.get_terminal_size().columns - _NAME_WIDTH - 18))
        filled = round(done * width)
        bar = self._full * filled + self._empty * (width - filled)
        text = f"{self._clock.stage:<{_NAME_WIDTH}} {bar} {done:4.0%} {self._clock.seconds():5.1f} s"
        write_out(self._stream, f"\r\x1b[2K{text}", flush=True)


def _bar_letters(stream: TextIO) -> tuple[str, str]:
    """Return the letters of a bar that the stream's encoding can write."""
    try:
        "━┄".encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return "=", "."
    return "━", "┄"
