"""Find out before the long work whether its outcome can be written."""

from __future__ import annotations

import os
import sys
from collections.abc import Collection, Mapping
from pathlib import Path

from loopwright.errors import InputError
from loopwright.write_file import check_name, check_writable


def check_sculpt_file(path: Path) -> None:
    """Raise InputError unless ``path`` is a readable file with something in it."""
    check_name(path)
    if not path.exists():
        raise InputError(f"{path}: there is no such file; check the path", places=[path])
    if path.is_dir():
        raise InputError(f"{path} is a folder; give the sculpt's file", places=[path])
    if not os.access(path, os.R_OK):
        raise InputError(f"{path}: this file may not be read; ask its owner for the right to", places=[path])
    if path.stat().st_size == 0:
        raise InputError(f"{path}: the file is empty; export it again", places=[path])


def check_outputs(outputs: Collection[Path], inputs: Mapping[str, Path | None]) -> None:
    """Raise InputError if one file would be written twice, or over one that is read, or be a folder of another.

    Parameters
    ----------
    outputs : files to be written; they need not exist yet.
    inputs : files to be read, by what they are called in the message, such as ``the sculpt``.
    """
    written: set[str] = set()
    for path in outputs:
        for name, source in inputs.items():
            if source is not None and _is_same(path, source):
                raise InputError(f"{path} is {name} itself, which would be lost; write elsewhere", places=[path])
        if _place(path) in written:
            raise InputError(f"{path} would be written twice; give each output a file of its own", places=[path])
        written.add(_place(path))
    for path in outputs:
        for folder in path.parents:
            if _place(folder) in written:
                raise InputError(
                    f"{folder} would be a file and a folder at once; give each output a place of its own",
                    places=[folder],
                )


def _is_same(path: Path, source: Path) -> bool:
    return _place(path) == _place(source) or (path.exists() and source.exists() and path.samefile(source))


def _place(path: Path) -> str:
    """Return a path without links and, where letter case does not count, without it."""
    place = os.path.normcase(path.resolve())
    return place.casefold() if sys.platform == "darwin" else place


def check_folder(path: Path) -> None:
    """Raise InputError unless ``path`` is, or can become, a folder to write to; leaves nothing there."""
    check_name(path)
    if path.exists() and not path.is_dir():
        raise InputError(f"{path} is a file; give a folder", places=[path])
    try:
        check_writable(path)
    except OSError as error:
        raise InputError(
            f"{path}: nothing can be written here ({error.strerror}); choose another place", places=[path]
        ) from error
