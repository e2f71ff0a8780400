"""Paths that cannot work are refused before any long work starts."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from loopwright.cli.check_paths import check_folder, check_mesh_file, check_sculpt_file
from loopwright.cli.main import main
from loopwright.errors import InputError


@pytest.fixture
def sculpt(tmp_path: Path) -> Path:
    path = tmp_path / "sculpt.ply"
    path.write_text("ply\n", encoding="ascii")
    return path


def test_sculpt_files(sculpt: Path, tmp_path: Path) -> None:
    check_sculpt_file(sculpt)
    with pytest.raises(InputError, match="no such file"):
        check_sculpt_file(tmp_path / "missing.ply")
    with pytest.raises(InputError, match="is a folder"):
        check_sculpt_file(tmp_path)
    (tmp_path / "empty.ply").touch()
    with pytest.raises(InputError, match="is empty"):
        check_sculpt_file(tmp_path / "empty.ply")


def test_mesh_files(sculpt: Path, tmp_path: Path) -> None:
    for name in ("a.obj", "a.PLY", "a.glb"):
        check_mesh_file(tmp_path / name, sculpt=sculpt)
    with pytest.raises(InputError, match=r"one of \.obj"):
        check_mesh_file(tmp_path / "a.xyz")
    with pytest.raises(InputError, match="make it first"):
        check_mesh_file(tmp_path / "nowhere" / "a.obj")
    with pytest.raises(InputError, match="is the sculpt itself"):
        check_mesh_file(sculpt, sculpt=sculpt)
    (tmp_path / "folder.obj").mkdir()
    with pytest.raises(InputError, match="is a folder"):
        check_mesh_file(tmp_path / "folder.obj")


def test_folders(sculpt: Path, tmp_path: Path) -> None:
    check_folder(tmp_path)
    check_folder(tmp_path / "new" / "deep")
    assert not (tmp_path / "new").exists()
    with pytest.raises(InputError, match="is a file"):
        check_folder(sculpt)
    with pytest.raises(InputError, match="is a file, so no folder"):
        check_folder(sculpt / "report")


@pytest.mark.skipif(
    os.name == "nt" or not hasattr(os, "geteuid") or os.geteuid() == 0, reason="this user may write anywhere"
)
def test_places_without_the_right_to_write(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(InputError, match="no right to write"):
        check_mesh_file(tmp_path / "a.obj")


@pytest.mark.parametrize(
    "words",
    [
        ["-o", "nowhere/a.obj"],
        ["-o", "a.xyz"],
        ["-o", "sculpt.ply"],
        ["-o", "a.obj", "--report", "sculpt.ply"],
    ],
    ids=" ".join,
)
def test_build_refuses_at_once(
    words: list[str], sculpt: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(sculpt.parent)
    assert main(["build", "sculpt.ply", *words]) == InputError.exit_code
    assert capsys.readouterr().err.startswith("loopwright: ")
    assert sorted(path.name for path in sculpt.parent.iterdir()) == ["sculpt.ply"]


def test_a_wrong_wish_comes_before_a_missing_file(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["build", "missing.ply", "-o", "a.obj", "--leave-open", "black"]) == 4
    assert '"black" is not a colour' in capsys.readouterr().err
