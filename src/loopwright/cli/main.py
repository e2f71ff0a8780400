"""The entry point, which loads nothing itself: all else loads inside its guard.

Even the first few modules take some time, in which one may press Ctrl-C.
"""

from __future__ import annotations

import sys

TYPE_CHECKING = False  # type checkers take it for true; the module of this name would be one more to load
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import NoReturn


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; never raises for what a user can cause.

    Parameters
    ----------
    arguments
        The words after the program's name; by default those of the process.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    try:
        from loopwright.cli.run_command import run_command

        return run_command(words)
    except KeyboardInterrupt:
        return _tell_stopped(words)


def run_and_exit() -> NoReturn:
    """Run the command line and leave the process with its exit code."""
    _keep_output_apart()
    sys.exit(main())


def _keep_output_apart() -> None:
    """Let what is printed into a file or a pipe be ours alone: libraries in C write to standard output at times."""
    import os  # loaded already, by Python itself

    stream = sys.stdout
    if stream is None or stream.isatty():
        return
    try:
        own, nothing = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    except OSError:  # there is no standard output
        return
    os.dup2(nothing, 1)
    os.close(nothing)
    by_line = getattr(stream, "line_buffering", False) or getattr(stream, "write_through", False)
    sys.stdout = open(own, "w", buffering=1 if by_line else -1, encoding=stream.encoding, errors=stream.errors)


def stop_and_exit() -> NoReturn:
    """Leave the process as a command does that was stopped from the keyboard."""
    sys.exit(_tell_stopped(sys.argv[1:]))


def _tell_stopped(words: Sequence[str]) -> int:
    """Say that the command was stopped; modules whose loading was broken off are loaded again."""
    from loopwright.cli.console import Console
    from loopwright.errors import Cancelled

    console = Console(is_quiet="--quiet" in words, is_json="--json" in words)
    return console.fail("stopped", Cancelled.exit_code)
