"""Write to standard output or standard error, and tell where that fails from all else that cannot be written."""

from __future__ import annotations

from typing import TextIO


class OutputError(OSError):
    """What a command says cannot be written, as on a disk that is full."""


def write_out(stream: TextIO, text: str = "", *, flush: bool = False) -> None:
    """Write a text to a stream; with ``flush``, let whoever reads it see it now.

    Raises
    ------
    BrokenPipeError : whoever read the stream is gone.
    OutputError : it cannot be written for another reason.
    """
    try:
        stream.write(text)
        if flush:
            stream.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(error.errno, error.strerror) from error
