"""Read a sculpt from a file, whatever its format and whatever its state."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np

from loopwright.errors import InputError
from loopwright.progress import Progress, silent
from loopwright.surface.parts import Part, input_error, sculpt_from_parts
from loopwright.surface.read_gltf import read_gltf
from loopwright.surface.read_obj import read_obj
from loopwright.surface.read_ply import read_ply
from loopwright.surface.read_stl import is_binary_stl, read_stl
from loopwright.surface.read_usd import read_usd
from loopwright.types import Sculpt

Reader = Callable[[Path, Progress], list[Part]]

READERS: dict[str, Reader] = {
    ".ply": read_ply,
    ".obj": read_obj,
    ".stl": read_stl,
    ".gltf": read_gltf,
    ".glb": read_gltf,
    ".usd": read_usd,
    ".usda": read_usd,
    ".usdc": read_usd,
    ".usdz": read_usd,
}
FORMATS = "PLY, OBJ, STL, glTF, GLB and USD"
_HEAD_BYTES = 1 << 16


def read_sculpt(path: str | os.PathLike[str], *, progress: Progress = silent) -> Sculpt:
    """Read a triangle mesh with its vertex colours.

    The content decides on the format, the file name's ending only where the
    content leaves it open.  All objects of the file are joined, polygons are
    split into triangles, and the file's own unit and axes are kept.

    Parameters
    ----------
    path : a PLY, OBJ, STL, glTF, GLB or USD file.
    progress : told how far reading is; it may raise to stop.

    Raises
    ------
    InputError
        If the file cannot be opened, or is not a whole, finite mesh with faces.

    Examples
    --------
    >>> sculpt = read_sculpt("head.ply")  # doctest: +SKIP
    >>> sculpt.triangles.shape  # doctest: +SKIP
    (900000, 3)
    """
    file = Path(path)
    try:
        reader = _choose_reader(file)
        # Bad numbers are refused by name at the end; on the way there they may overflow or be signalling NaN.
        with np.errstate(invalid="ignore", over="ignore"):
            return sculpt_from_parts(file.name, reader(file, progress))
    except InputError as error:
        raise _with_folder(error, file) from error.__cause__
    except FileNotFoundError as error:
        raise InputError(f"{file}: there is no such file; check the path.", places=(str(file),)) from error
    except PermissionError as error:
        raise InputError(f"{file}: reading is not permitted; change the file's rights.", places=(str(file),)) from error
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise InputError(f"{file}: {reason}; check the path and the disk.", places=(str(file),)) from error
    except MemoryError as error:
        raise input_error(str(file), "", "there is not enough memory for it", "export a coarser level") from error


def _with_folder(error: InputError, file: Path) -> InputError:
    """Return the error with the path of the file in place of its bare name; another file's stays as it is."""
    text, name = str(error), file.name
    if str(file) == name or not text.startswith((f"{name}:", f"{name}, ")):
        return error
    places = [str(file) if place == name else place for place in error.places]
    return InputError(f"{file}{text[len(name) :]}", places=places)


def _choose_reader(file: Path) -> Reader:
    if file.is_dir():
        raise InputError(f"{file}: this is a folder; name the sculpt file in it.", places=(str(file),))
    if "\0" in str(file) or (file.exists() and not file.is_file()):
        raise InputError(f"{str(file)!r}: this is not a regular file; name a sculpt file.", places=(str(file),))
    with file.open("rb") as stream:
        head = stream.read(_HEAD_BYTES)
    size = file.stat().st_size
    if size == 0:
        raise InputError(f"{file}: the file is empty; export the sculpt again.", places=(str(file),))
    by_name = READERS.get(file.suffix.lower())
    reader = _reader_of_content(head, size) or by_name
    if reader is None:
        raise input_error(file.name, "", f"this is none of the formats {FORMATS}", "export the sculpt as one of them")
    return reader


def _reader_of_content(head: bytes, size: int) -> Reader | None:
    """Recognise a format by its first bytes."""
    if head.startswith((b"ply\n", b"ply\r")):
        return read_ply
    if head.startswith(b"glTF"):
        return read_gltf
    if head.startswith((b"PXR-USDC", b"#usda", b"PK\x03\x04")):
        return read_usd
    if is_binary_stl(head, size):
        return read_stl
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if text.startswith(b"{"):
        return read_gltf
    if text[:6].lower().rstrip() in (b"solid",) and b"facet" in head.lower():
        return read_stl
    lines = [line.split(None, 1)[:1] for line in head.splitlines()[:2000]]
    if b"\0" not in head and [b"v"] in lines:
        return read_obj
    return None
