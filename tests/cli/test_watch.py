"""A watched marks file: one mesh for each change of its contents, one line for each error, and no end before Ctrl-C."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.conftest import globe

from loopwright import BuildOptions, Sculpt
from loopwright.cli.main import main
from loopwright.cli.watch_file import FileWatch
from loopwright.demo.write_sculpt_ply import write_sculpt_ply

SECONDS = 60.0  # that a test waits at most
OPTIONS = ["--mirror", "none", "--budget", "120"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    points, triangles = globe(16)
    write_sculpt_ply(tmp_path / "ball.ply", Sculpt(points, triangles))
    (tmp_path / "marks.json").write_text(json.dumps({"loopwright_marks": 1}))
    return tmp_path


@pytest.fixture(autouse=True)
def few_triangles(monkeypatch: pytest.MonkeyPatch) -> None:
    """Plan on few triangles, which no option of the command line asks for."""
    monkeypatch.setattr("loopwright.cli.read_wishes.BuildOptions", lambda: BuildOptions(proxy_faces=2000))


def mark(folder: Path, **entries: object) -> None:
    fresh = folder / "fresh.json"
    fresh.write_text(json.dumps({"loopwright_marks": 1, **entries}))
    os.replace(fresh, folder / "marks.json")


def words(folder: Path, *more: str) -> list[str]:
    marks, out = str(folder / "marks.json"), str(folder / "ball.obj")
    return ["watch", str(folder / "ball.ply"), "--marks", marks, "-o", out, *more]


class Doer:
    """Does the next thing each time the command begins to wait for a change."""

    def __init__(self, *things: Callable[[], None]) -> None:
        self.things = list(things)

    def __call__(self, seconds: float) -> None:
        real_sleep(min(seconds, 0.01))
        if seconds > 0.15 and self.things:  # it waits for a change, not for the file to hold still
            self.things.pop(0)()


real_sleep = time.sleep


def test_each_change_gives_the_mesh_of_a_build(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = folder / "ball.obj"
    meshes: list[bytes] = []

    def change(**entries: object) -> Callable[[], None]:
        def do() -> None:
            meshes.append(out.read_bytes())
            mark(folder, **entries)

        return do

    mark(folder, budget=200)
    monkeypatch.setattr(time, "sleep", Doer(change(budget=150), change(budget=120)))
    assert main(words(folder, "--mirror", "none", "--builds", "3", "--quiet")) == 0
    meshes.append(out.read_bytes())
    assert len(meshes) == 3 and len(set(meshes)) == 3
    for mesh, budget in ((meshes[1], "150"), (meshes[2], "120")):
        alone = folder / "alone.obj"
        assert main(["build", str(folder / "ball.ply"), "-o", str(alone), "--mirror", "none", "--budget", budget]) == 0
        assert without_names(alone.read_bytes()) == without_names(mesh)
    capsys.readouterr()


def without_names(obj: bytes) -> list[bytes]:
    """The lines of an OBJ file that are no comments."""
    return [line for line in obj.splitlines() if not line.startswith(b"#")]


def test_an_error_in_the_marks_is_one_line_and_the_mesh_stays(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mark(folder, budget=120)
    out = folder / "ball.obj"
    kept: list[bytes] = []

    def spoil() -> None:
        kept.append(out.read_bytes())
        (folder / "marks.json").write_text('{"loopwright_marks": 1, ')

    def wish_for_nothing() -> None:
        kept.append(out.read_bytes())
        mark(folder, pins=[{"between": ["nose", "ear"], "count": 4}])

    def mend() -> None:
        kept.append(out.read_bytes())
        mark(folder, budget=150)

    monkeypatch.setattr(time, "sleep", Doer(spoil, wish_for_nothing, mend))
    assert main(words(folder, *OPTIONS[:2], "--builds", "2", "--quiet")) == 0
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 2 and all(line.startswith("loopwright: ") for line in told)
    assert "marks.json" in told[0] and "nose" in told[1]
    assert kept[0] == kept[1] == kept[2] != out.read_bytes()


def test_a_marks_file_that_is_missing_at_first_is_waited_for(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "marks.json").unlink()
    monkeypatch.setattr(time, "sleep", Doer(lambda: mark(folder)))
    assert main(words(folder, *OPTIONS, "--builds", "1", "--quiet")) == 0
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert (folder / "ball.obj").exists()


@pytest.mark.parametrize("number", ["0", "-1", "two", "1.5"])
def test_a_number_of_meshes_is_a_number(number: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words(folder, f"--builds={number}")) == 2
    assert "number of meshes" in capsys.readouterr().err


def test_it_needs_marks_and_spares_its_inputs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["watch", str(folder / "ball.ply"), "-o", str(folder / "x.obj")]) == 2
    assert "--marks" in capsys.readouterr().err
    assert main([*words(folder)[:-1], str(folder / "ball.ply")]) == 3
    assert "the sculpt itself" in capsys.readouterr().err


@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot be sent Ctrl-C alone there")
def test_ctrl_c_ends_it_with_130(folder: Path) -> None:
    mark(folder, budget=1)  # refused at once, and the command waits for better marks
    command = [sys.executable, "-m", "loopwright", *words(folder, *OPTIONS)]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    stop = threading.Timer(SECONDS, running.kill)
    stop.start()
    try:
        assert running.stdout is not None
        for line in running.stdout:
            if line.startswith("watch"):
                break
        running.send_signal(signal.SIGINT)
        _, err = running.communicate()
    finally:
        stop.cancel()
        running.kill()
    assert running.returncode == 130
    assert err.splitlines()[-1] == "loopwright: stopped" and "Traceback" not in err


def test_saving_the_same_again_is_no_change_and_a_quick_change_of_the_same_length_is_one(tmp_path: Path) -> None:
    path = tmp_path / "marks.json"
    path.write_text("one")
    watch = FileWatch(path)
    watch.wait()
    path.write_text("one")
    assert not watch._has_changed()
    stamp = path.stat()
    path.write_text("two")
    os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))  # as on a file system with coarse times
    assert watch._has_changed()
    watch.wait()
    path.unlink()
    assert watch._has_changed()
    watch.wait()
    assert not watch._has_changed()


def test_a_file_that_is_still_written_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "marks.json"
    path.write_text("")
    parts = ["half", "half and", "half and the rest"]

    def write_on(_: float) -> None:
        if parts:
            path.write_text(parts.pop(0))

    monkeypatch.setattr(time, "sleep", write_on)
    watch = FileWatch(path)
    watch.wait()
    assert watch._seen is not None and watch._seen[1] == len("half and the rest") and not parts
