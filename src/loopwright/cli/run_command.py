"""Run a command and turn whatever happens into one clear message and an exit code.

The commands load inside the guarded part: their libraries take a while, in which one may press Ctrl-C.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import TextIO

from loopwright.cli.console import Console
from loopwright.cli.log_fault import log_fault
from loopwright.cli.write_out import OutputError
from loopwright.errors import Cancelled, InputError, InternalError, LoopwrightError


def run_command(words: Sequence[str]) -> int:
    """Run the command line on the words after the program's name and return its exit code.

    Never raises for what a user can cause.
    """
    _let_streams_replace()
    try:
        code = _run(words)
        if sys.stdout is not None:  # what is buffered is written while a fault can still be told
            sys.stdout.flush()
        return code
    except BrokenPipeError:
        return _leave_broken_pipe()
    except OSError as error:
        _tell_unwritten(error)
        _drop(error.stream if isinstance(error, OutputError) else sys.stdout)
        return InputError.exit_code


def _run(words: Sequence[str]) -> int:
    console = Console(is_quiet="--quiet" in words, is_json="--json" in words)
    try:
        from loopwright.cli.commands import make_parser

        parsed = make_parser().parse_args(words)
        code = int(parsed.run(parsed, console))
        console.close()
        return code
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else 2
    except KeyboardInterrupt:
        return console.fail("stopped", Cancelled.exit_code)
    except (BrokenPipeError, OutputError):
        raise
    except LoopwrightError as error:
        return console.fail(str(error), error.exit_code, places=error.places)
    except MemoryError:
        return console.fail("this machine has not enough free memory for this sculpt", InternalError.exit_code)
    except Exception as error:
        path = log_fault(error, words)
        return console.fail(f"internal fault ({type(error).__name__}); the log is {path}", InternalError.exit_code)


def _let_streams_replace() -> None:
    """Print a replacement where a terminal cannot show a letter, instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def _tell_unwritten(error: OSError) -> None:
    """Say that the output cannot be written, unless that cannot be written either."""
    try:
        print(f"loopwright: the output cannot be written ({error.strerror or error})", file=sys.stderr, flush=True)
    except OSError:
        _drop(sys.stderr)


def _leave_broken_pipe() -> int:
    """Whoever read our output is gone: say nothing more, also not when Python closes the stream."""
    _drop(sys.stdout)
    return 0


def _drop(stream: TextIO | None) -> None:
    """Let all that is still written to a stream be lost."""
    if stream is None:
        return
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
