"""Find out before the long work whether its outcome can be written."""

from __future__ import annotations

import os
from pathlib import Path

from loopwright.errors import InputError

MESH_SUFFIXES = (".obj", ".ply", ".glb")


def check_sculpt_file(path: Path) -> None:
    """Raise InputError unless ``path`` is a readable file with something in it."""
    if not path.exists():
        raise InputError(f"{path}: there is no such file", places=[path])
    if path.is_dir():
        raise InputError(f"{path} is a folder; give the sculpt's file", places=[path])
    if not os.access(path, os.R_OK):
        raise InputError(f"{path}: this file may not be read; ask its owner for the right to", places=[path])
    if path.stat().st_size == 0:
        raise InputError(f"{path}: the file is empty", places=[path])


def check_mesh_file(path: Path, *, sculpt: Path | None = None) -> None:
    """Raise InputError unless a mesh can be written to ``path`` without overwriting the sculpt."""
    if path.suffix.lower() not in MESH_SUFFIXES:
        raise InputError(f"{path}: a mesh is written as one of {', '.join(MESH_SUFFIXES)}", places=[path])
    if path.is_dir():
        raise InputError(f"{path} is a folder; give a file's name", places=[path])
    if sculpt is not None and path.exists() and path.samefile(sculpt):
        raise InputError(f"{path} is the sculpt itself; write the mesh to another file", places=[path])
    if not path.parent.is_dir():
        raise InputError(f"{path}: the folder {path.parent} is missing; make it first", places=[path])
    _check_writable(path if path.exists() else path.parent)


def check_folder(path: Path) -> None:
    """Raise InputError unless ``path`` is, or can become, a folder to write to; makes nothing yet."""
    if path.exists() and not path.is_dir():
        raise InputError(f"{path} is a file; give a folder", places=[path])
    existing = path.absolute()
    while not existing.exists():
        existing = existing.parent
    if not existing.is_dir():
        raise InputError(f"{path}: {existing} is a file, so no folder can be made in it", places=[path])
    _check_writable(existing)


def _check_writable(path: Path) -> None:
    if not os.access(path, os.W_OK):
        raise InputError(f"{path}: no right to write here; choose another place", places=[path])
