"""Write a file so that it is there whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from loopwright.errors import InputError

_RANDOM_BYTES = 6


@contextlib.contextmanager
def write_file(path: str | os.PathLike[str]) -> Iterator[BinaryIO]:
    """Open a binary file that takes its name only when all of it is written.

    The bytes go to a file with a name of its own in the same folder, which replaces ``path``
    at the end.  If anything fails before, the old file stays as it was.  Folders that are missing are made.

    Raises
    ------
    InputError
        If the folder cannot be made or written to, or the disk is full.

    Examples
    --------
    >>> with write_file("note.txt") as stream:  # doctest: +SKIP
    ...     stream.write(b"done")
    """
    target = Path(path)
    if target.is_dir():
        raise InputError(f"{target}: this is a folder; name a file in it.", places=(str(target),))
    draft = target.with_name(f".{target.name[:64]}.{secrets.token_hex(_RANDOM_BYTES)}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with open(os.open(draft, _new_file_flags(), 0o666), "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(draft, target)
    except (NotADirectoryError, FileExistsError) as error:
        raise InputError(
            f"{target}: {target.parent} is, or lies in, a file; choose another folder.", places=(str(target),)
        ) from error
    except OSError as error:
        reason = error.strerror or "it cannot be written"
        raise InputError(
            f"{target}: {reason}; check the folder's rights and the disk's free space.", places=(str(target),)
        ) from error
    finally:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)


def check_name(path: str | os.PathLike[str]) -> None:
    """Refuse a path that no file can have here, such as one that is too long.

    Raises
    ------
    InputError
        Says what is wrong with it.
    """
    try:
        os.lstat(path)
    except FileNotFoundError:
        _check_missing(Path(path).absolute())
    except (NotADirectoryError, PermissionError):
        return
    except (OSError, ValueError) as error:
        raise _unfit_name(path, error) from error


def _check_missing(path: Path) -> None:
    """Try each missing folder's name, and the file's, where there is a folder; behind one missing none is looked at."""
    try:
        existing = _nearest_existing(path)
    except OSError:
        return
    for name in path.relative_to(existing).parts:
        try:
            os.lstat(existing / name)
        except (FileNotFoundError, NotADirectoryError, PermissionError):
            continue
        except (OSError, ValueError) as error:
            raise _unfit_name(path, error) from error


def _unfit_name(path: str | os.PathLike[str], error: Exception) -> InputError:
    shown = str(path)[:80].replace("\0", "?")
    reason = getattr(error, "strerror", None) or "no file can have this name"
    return InputError(f"{shown}: {reason}; choose another name.", places=(str(path),))


def _nearest_existing(path: Path) -> Path:
    """Return an absolute path, or the nearest folder above it that is there."""
    while not os.path.lexists(path):
        if path.parent == path:
            raise FileNotFoundError(errno.ENOENT, f"there is no drive or share {path}")
        path = path.parent
    return path


def check_writable(folder: str | os.PathLike[str]) -> None:
    """Find out whether something can be made in a folder, by making and removing it; rights alone do not tell.

    Where the folder is missing, another is made, and removed, in the nearest one above it that is there.

    Raises
    ------
    OSError
        If nothing can be made there; ``strerror`` says why.
    """
    wished = Path(folder).absolute()
    existing = _nearest_existing(wished)
    if not existing.is_dir():
        kind = "file" if existing.exists() else "link to nowhere"
        raise NotADirectoryError(errno.ENOTDIR, f"{existing} is a {kind}, so no folder can be made in it")
    trial = existing / f".loopwright-{secrets.token_hex(_RANDOM_BYTES)}.part"
    if existing != wished:
        trial.mkdir()
        trial.rmdir()
    else:
        os.close(os.open(trial, _new_file_flags(), 0o666))
        trial.unlink()


def _new_file_flags() -> int:
    return os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0)
