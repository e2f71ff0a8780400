"""Run stages, time them, and pass progress on."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from loopwright.progress import Progress, silent


@dataclass
class Clock:
    """The seconds of each stage, and who hears of the progress."""

    progress: Progress = silent
    timings: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time what runs inside."""
        self.progress(name, 0.0)
        start = time.perf_counter()
        try:
            yield
        finally:
            self.timings[name] = self.timings.get(name, 0.0) + time.perf_counter() - start
        self.progress(name, 1.0)
