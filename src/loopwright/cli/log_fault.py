"""Keep what is needed to mend a fault of the program, out of the user's sight."""

from __future__ import annotations

import os
import platform
import tempfile
import traceback
from collections.abc import Sequence

from loopwright import __version__


def log_fault(error: BaseException, words: Sequence[str]) -> str:
    """Write the traceback and the command to a new file in the folder for temporary files; return its path."""
    handle, path = tempfile.mkstemp(prefix="loopwright-fault-", suffix=".log")
    with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as log:
        log.write(f"loopwright {__version__}, Python {platform.python_version()}, {platform.platform()}\n")
        log.write(f"command: {list(words)}\n\n")
        log.write("".join(traceback.format_exception(error)))
    return path
