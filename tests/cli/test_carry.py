"""``loopwright carry`` from file to file."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.cli.test_refit import make_files
from tests.reuse.conftest import cube_sphere, lump, warp

from loopwright.cli.main import main
from loopwright.demo import write_sculpt_ply
from loopwright.marks.read_marks import read_marks
from loopwright.surface.read import read_sculpt
from loopwright.types import Sculpt


def put_files(folder: Path) -> None:
    """The old sculpt, painted and marked, and a warped one without paint."""
    make_files(folder)
    places = lump(cube_sphere(24)[0])
    near = [places[i].tolist() for i in (3, 200, 900, 1500)]
    marks = {
        "loopwright_marks": 1,
        "budget": 700,
        "regions": {"top": "#c81e1e", "base": "#1e1ec8"},
        "pins": [{"between": ["top", "base"], "count": 8, "near": near[0]}],
        "points": [{"at": near[1], "name": "tip"}],
        "lines": [{"name": "ridge", "closed": False, "points": near[2:]}],
        "edits": [{"op": "insert_loop", "near": near[1], "across": [1.0, 0.0, 0.0]}],
        "vertex_sizes": "sizes.npy",
    }
    (folder / "old.json").write_text(json.dumps(marks), encoding="utf-8")
    led = places[::150]
    pairs = [{"mesh": a, "sculpt": b} for a, b in zip(led.tolist(), warp(led).tolist(), strict=True)]
    (folder / "led.json").write_text(json.dumps({"loopwright_landmarks": 1, "pairs": pairs}), encoding="utf-8")
    np.save(folder / "sizes.npy", np.where(places[:, 0] > 0.0, 0.2, 0.0))


def test_marks_and_paint_are_carried(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    put_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    words = ["carry", "old.ply", "new.ply", "--marks", "old.json", "-o", "out/new.json", "--paint", "in/it/painted.ply"]
    assert main([*words, "--landmarks", "led.json", "--json", "--quiet"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["marks_file"] == str(Path("out/new.json")) and told["paint_file"] == str(Path("in/it/painted.ply"))
    assert 0.0 < told["surface_rms"] < 0.005
    old, new = read_marks("old.json"), read_marks("out/new.json")
    assert (new.budget, new.region_names, new.pins[0].count) == (700, old.region_names, 8)
    for before, after in (
        (old.points[0].at, new.points[0].at),
        (old.pins[0].near, new.pins[0].near),
        (old.lines[0].points[1], new.lines[0].points[1]),
        (old.edits[0]["near"], new.edits[0]["near"]),
    ):
        truth = warp(np.array([before], np.float64))[0]
        assert np.linalg.norm(np.array(after, np.float64) - truth) < 0.4 * np.linalg.norm(np.array(before) - truth)
    assert new.vertex_sizes is not None and old.vertex_sizes is not None
    assert ((new.vertex_sizes > 0) == (old.vertex_sizes > 0)).mean() > 0.95
    painted, source = read_sculpt("in/it/painted.ply"), read_sculpt("old.ply")
    assert painted.colors is not None and source.colors is not None
    assert (painted.colors == source.colors).all(axis=1).mean() >= 0.9


def test_landmarks_lead(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    put_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    words = ["carry", "old.ply", "new.ply", "--paint", "painted.ply", "--landmarks", "places.json"]
    assert main([*words, "--json", "--quiet"]) == 0
    assert len(json.loads(capsys.readouterr().out)["landmarks"]) == 1


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        ([], 2, "nothing to carry"),
        (["--marks", "old.json"], 2, "go together"),
        (["-o", "new.json"], 2, "go together"),
        (["--marks", "none.json", "-o", "new.json"], 3, "none.json: there is no such file"),
        (["--marks", "old.json", "-o", "old.json"], 3, "old.json is the marks file itself"),
        (["--marks", "old.json", "-o", "new.txt"], 3, "written as .json"),
        (["--marks", "old.json", "-o", "old.json/new.json"], 3, "is a file"),
        (["--paint", "old.ply"], 3, "old.ply is the old sculpt itself"),
        (["--paint", "painted.obj"], 3, "written as .ply"),
        (["--paint", "painted.ply", "--landmarks", "none.json"], 3, "there is no such file"),
    ],
    ids=lambda case: " ".join(case) if isinstance(case, list) else "",
)
def test_mistakes_are_told_and_nothing_is_written(
    words: list[str],
    code: int,
    message: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    put_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert main(["carry", "old.ply", "new.ply", *words]) == code
    said = capsys.readouterr().err
    assert message in said and "Traceback" not in said
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_sculpt_without_paint_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    put_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    bare = read_sculpt("old.ply")
    lines = [f"v {x} {y} {z}" for x, y, z in bare.positions.tolist()]
    lines += [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in bare.triangles.tolist()]
    Path("bare.obj").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert main(["carry", "bare.obj", "new.ply", "--paint", "painted.ply"]) == 3
    assert "no vertex colours" in capsys.readouterr().err


def test_sizes_of_a_sculpt_that_is_repaired_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    put_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    sculpt = read_sculpt("new.ply")
    loose = np.vstack([sculpt.positions, sculpt.positions[:1]])
    write_sculpt_ply("new.ply", Sculpt(loose, sculpt.triangles, None, "new"))
    assert main(["carry", "old.ply", "new.ply", "--marks", "old.json", "-o", "out.json"]) == 3
    assert "size per vertex" in capsys.readouterr().err
    assert not Path("out.json").exists()


def test_the_sizes_of_the_old_marks_are_not_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    put_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    np.save("sizes.npy", np.full(len(read_sculpt("old.ply").positions), 0.1))
    Path("painted.json").write_text('{"loopwright_marks": 1, "vertex_sizes": "sizes.npy"}', encoding="utf-8")
    before = Path("sizes.npy").read_bytes()
    assert main(["carry", "old.ply", "new.ply", "--marks", "painted.json", "-o", "sizes.json"]) == 3
    assert "sizes.npy" in capsys.readouterr().err
    assert Path("sizes.npy").read_bytes() == before
    assert not Path("sizes.json").exists()


def test_a_landmark_in_the_air_is_told_with_its_file_and_sculpt(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    put_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    entry = {"name": "chin", "mesh": [90.0, 0.0, 0.0], "sculpt": read_sculpt("new.ply").positions[0].tolist()}
    Path("far.json").write_text(json.dumps({"loopwright_landmarks": 1, "pairs": [entry]}), encoding="utf-8")
    words = ["carry", "old.ply", "new.ply", "--paint", "painted.ply", "--landmarks", "far.json"]
    assert main(words) == 4
    said = capsys.readouterr().err
    assert 'far.json: the landmark "chin" at (90, 0, 0) lies' in said and "off the first sculpt" in said
    assert not Path("painted.ply").exists()
