"""Paths that cannot work are refused before any long work starts."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from loopwright.cli.check_paths import check_folder, check_outputs, check_sculpt_file
from loopwright.cli.main import main
from loopwright.errors import InputError
from loopwright.handover.write_mesh import check_mesh_path


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


def test_mesh_files(tmp_path: Path) -> None:
    for name in ("a.obj", "a.PLY", "a.glb"):
        check_mesh_path(tmp_path / name)
    with pytest.raises(InputError, match=r"written as \.obj"):
        check_mesh_path(tmp_path / "a.xyz")
    check_mesh_path(tmp_path / "new" / "deep" / "a.obj")
    assert not (tmp_path / "new").exists()
    (tmp_path / "folder.obj").mkdir()
    with pytest.raises(InputError, match="is a folder"):
        check_mesh_path(tmp_path / "folder.obj")


def test_a_folder_in_a_file_is_refused(sculpt: Path) -> None:
    for path in (sculpt / "a.obj", sculpt / "deep" / "a.obj"):
        with pytest.raises(InputError, match=r"sculpt\.ply is a file, so no folder can be made in it"):
            check_mesh_path(path)


@pytest.mark.skipif(os.name == "nt", reason="Windows lets few users make links")
def test_a_folder_behind_a_link_to_nowhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "gone")
    for check, path in ((check_mesh_path, tmp_path / "link" / "a.obj"), (check_folder, tmp_path / "link" / "report")):
        with pytest.raises(InputError, match="is a link to nowhere"):
            check(path)


def test_outputs_are_apart_from_inputs_and_from_one_another(sculpt: Path, tmp_path: Path) -> None:
    other = tmp_path / "new.ply"
    check_outputs([other, tmp_path / "b.ply"], {"the sculpt": sculpt, "the marks file": None})
    with pytest.raises(InputError, match=r"sculpt\.ply is the sculpt itself"):
        check_outputs([other, sculpt], {"the sculpt": sculpt})
    with pytest.raises(InputError, match=r"is the poses file itself"):
        check_outputs([other], {"the poses file": tmp_path / "x" / ".." / "new.ply"})
    with pytest.raises(InputError, match=r"new\.ply would be written twice"):
        check_outputs([other, tmp_path / "." / "new.ply"], {})
    for outputs in ([other, other / "index.html"], [tmp_path / "a" / ".." / "new.ply" / "deep" / "index.html", other]):
        with pytest.raises(InputError, match=r"new\.ply would be a file and a folder at once"):
            check_outputs(outputs, {})


@pytest.mark.skipif(os.name == "nt", reason="Windows lets few users make links")
def test_links_to_an_input_are_that_input(sculpt: Path, tmp_path: Path) -> None:
    (tmp_path / "soft.ply").symlink_to(sculpt)
    (tmp_path / "hard.ply").hardlink_to(sculpt)
    for name in ("soft.ply", "hard.ply"):
        with pytest.raises(InputError, match="the sculpt itself"):
            check_outputs([tmp_path / name], {"the sculpt": sculpt})


def test_folders(sculpt: Path, tmp_path: Path) -> None:
    check_folder(tmp_path)
    check_folder(tmp_path / "new" / "deep")
    assert not (tmp_path / "new").exists()
    with pytest.raises(InputError, match="is a file"):
        check_folder(sculpt)
    with pytest.raises(InputError, match="is a file, so no folder"):
        check_folder(sculpt / "report")


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="Windows has other rights; the superuser has all")
def test_a_writable_file_in_a_locked_folder_is_refused(tmp_path: Path) -> None:
    # drafts are made in the folder, so its rights count and not those of the file
    (tmp_path / "a.obj").touch()
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(InputError, match="the folder cannot be written to"):
            check_mesh_path(tmp_path / "a.obj")
        with pytest.raises(InputError, match="nothing can be written here"):
            check_folder(tmp_path)
    finally:
        tmp_path.chmod(0o700)


@pytest.mark.skipif(
    not Path("/proc/self").is_dir(), reason="there is no folder here in which not even a superuser writes"
)
def test_what_not_even_a_superuser_can_write_is_refused() -> None:
    with pytest.raises(InputError, match="/proc/out.obj: the folder cannot be written to"):
        check_mesh_path("/proc/out.obj")
    for folder in ("/proc", "/proc/report"):
        with pytest.raises(InputError, match="nothing can be written here"):
            check_folder(Path(folder))


@pytest.mark.parametrize("name", ["a" * 400 + ".obj", "a\0b.obj"])
def test_names_that_no_file_can_have_are_refused(name: str, tmp_path: Path) -> None:
    for check in (check_sculpt_file, check_mesh_path, check_folder):
        with pytest.raises(InputError, match="choose another name"):
            check(tmp_path / name)


def test_trying_leaves_nothing_behind(tmp_path: Path) -> None:
    check_mesh_path(tmp_path / "a.obj")
    check_folder(tmp_path)
    check_folder(tmp_path / "report" / "deep")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "words",
    [
        ["-o", "sculpt.ply/a.obj"],
        ["-o", "sculpt.ply/deep/a.obj"],
        ["-o", "a.xyz"],
        ["-o", "sculpt.ply"],
        ["-o", "a.obj", "--report", "sculpt.ply"],
        ["-o", "a.obj", "--report", "a.obj"],
        ["-o", "a.obj", "--report", "./a.obj/report"],
        ["-o", "report/index.html/a.obj", "--report", "report"],
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


@pytest.mark.parametrize("words", [["build", "-o", "a.obj"], ["plan"]], ids=" ".join)
def test_a_report_does_not_replace_the_marks(
    words: list[str], sculpt: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(sculpt.parent)
    marks = sculpt.parent / "report.json"
    marks.write_text('{"loopwright_marks": 1}', encoding="ascii")
    assert main([*words, "sculpt.ply", "--marks", "report.json", "--report", "."]) == InputError.exit_code
    assert "report.json is the marks file itself" in capsys.readouterr().err
    assert marks.read_text(encoding="ascii") == '{"loopwright_marks": 1}'


def test_a_wrong_wish_comes_before_a_missing_file(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["build", "missing.ply", "-o", "a.obj", "--leave-open", "black"]) == 4
    assert '"black" is not a colour' in capsys.readouterr().err
