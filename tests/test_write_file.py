"""Files come whole or not at all, whoever writes them."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import loopwright
from loopwright.demo import write_sculpt_ply
from loopwright.errors import InputError
from loopwright.marks.marks_file import Marks
from loopwright.marks.write_marks import write_marks
from loopwright.types import Sculpt
from loopwright.write_file import check_name, check_writable, write_file

SCULPT = Sculpt(np.eye(3), np.array([[0, 1, 2]], np.int32))
WRITERS: dict[str, Callable[[Path], object]] = {
    "plain": lambda path: _write_plainly(path),
    "sculpt": lambda path: write_sculpt_ply(path, SCULPT),
    "marks": lambda path: write_marks(path, Marks(budget=300)),
}


def _write_plainly(path: Path) -> None:
    with write_file(path) as stream:
        stream.write(b"new")


@pytest.mark.parametrize("write", WRITERS.values(), ids=WRITERS)
def test_a_full_disk_leaves_the_old_file(
    write: Callable[[Path], object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    path = tmp_path / "a.ply"
    path.write_bytes(b"old")
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"a\.ply: No space left"):
        write(path)
    assert path.read_bytes() == b"old" and list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("write", WRITERS.values(), ids=WRITERS)
def test_missing_folders_are_made(write: Callable[[Path], object], tmp_path: Path) -> None:
    write(tmp_path / "new" / "deep" / "a.ply")
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [tmp_path / "new" / "deep" / "a.ply"]


@pytest.mark.parametrize("write", WRITERS.values(), ids=WRITERS)
def test_files_of_others_that_look_like_drafts_stay(write: Callable[[Path], object], tmp_path: Path) -> None:
    others = [tmp_path / name for name in (f".a.ply.{os.getpid()}.part", "a.ply.tmp")]
    for other in others:
        other.write_bytes(b"of another")
    write(tmp_path / "a.ply")
    assert [other.read_bytes() for other in others] == [b"of another"] * 2
    assert sorted(tmp_path.iterdir()) == sorted([*others, tmp_path / "a.ply"])


def test_one_module_gives_drafts_their_names() -> None:
    package = Path(loopwright.__file__).parent
    users = [path for path in package.rglob("*.py") if "os.replace(" in path.read_text(encoding="utf-8")]
    assert users == [package / "write_file.py"]


@pytest.mark.parametrize("path", ["new/" + 300 * "a" + ".ply", 300 * "d" + "/a.ply", "new/" + 300 * "d" + "/a.ply"])
def test_names_that_are_too_long_are_found_behind_folders_that_are_missing(path: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="choose another name"):
        check_name(tmp_path / path)
    check_name(tmp_path / "new" / "newer" / "a.ply")
    assert not list(tmp_path.iterdir())


def test_a_drive_that_is_not_there_ends_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os.path, "lexists", lambda _: False)
    with pytest.raises(FileNotFoundError, match="drive"):
        check_writable("/nowhere/at/all")
