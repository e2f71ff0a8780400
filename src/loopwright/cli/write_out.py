"""Write to standard output or standard error, and tell where that fails from all else that cannot be written."""

from __future__ import annotations

from typing import TextIO


class OutputError(OSError):
    """What a command says cannot be written, as on a disk that is full.

    Attributes
    ----------
    stream : that it was to be written to.
    """

    stream: TextIO | None = None


def write_out(stream: TextIO | None, text: str = "", *, flush: bool = False) -> None:
    """Write a text to a stream, if there is one; with ``flush``, let whoever reads it see it now.

    Raises
    ------
    BrokenPipeError : whoever read the stream is gone.
    OutputError : it cannot be written for another reason.
    """
    if stream is None:  # it was closed before the start, or the program has no terminal
        return
    try:
        stream.write(text)
        if flush:
            stream.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        unwritten = OutputError(*error.args)
        unwritten.stream = stream
        raise unwritten from error
