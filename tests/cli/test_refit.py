"""``loopwright refit`` from file to file."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.reuse.conftest import cube_sphere, lump, quad_mesh, split, warp

from loopwright.cli.main import main
from loopwright.demo import write_sculpt_ply
from loopwright.handover.write_mesh import write_mesh
from loopwright.surface.read import read_sculpt
from loopwright.surface.read_quads import read_quad_mesh
from loopwright.types import Sculpt


def make_files(folder: Path) -> tuple[Path, Path, Path]:
    directions, quads = cube_sphere(8)
    write_mesh(folder / "mesh.obj", quad_mesh(lump(directions), quads))
    dense, dense_quads = cube_sphere(24)
    paint = np.where(dense[:, 1:2] > 0.1, [[200, 30, 30]], [[30, 30, 200]]).astype(np.uint8)
    write_sculpt_ply(folder / "old.ply", Sculpt(lump(dense), split(dense_quads), paint, "old"))
    write_sculpt_ply(folder / "new.ply", Sculpt(warp(lump(dense)), split(dense_quads), None, "new"))
    place = lump(directions)[7]
    pair = {"name": "ear", "mesh": 7, "sculpt": warp(place[None])[0].tolist()}
    (folder / "places.json").write_text(json.dumps({"loopwright_landmarks": 1, "pairs": [pair]}), encoding="utf-8")
    return folder / "mesh.obj", folder / "new.ply", folder / "places.json"


def test_a_mesh_and_its_paint_are_carried(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mesh, sculpt, places = make_files(tmp_path)
    words = ["refit", str(mesh), str(sculpt), "-o", str(tmp_path / "out.obj"), "--landmarks", str(places), "--json"]
    words += ["--paint-from", str(tmp_path / "old.ply"), "--paint", str(tmp_path / "painted.ply"), "--quiet"]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert list(told["landmarks"]) == ["ear"]
    assert told["limit_rms"] > 0.0 and told["newly_inverted"] == 0
    assert np.array_equal(read_quad_mesh(tmp_path / "out.obj").quads, read_quad_mesh(mesh).quads)
    painted = read_sculpt(tmp_path / "painted.ply")
    old = read_sculpt(tmp_path / "old.ply")
    assert painted.colors is not None and old.colors is not None
    assert (painted.colors == old.colors).all(axis=1).mean() >= 0.9


def test_landmarks_off_the_painted_sculpt_stop_before_anything_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mesh, sculpt, places = make_files(tmp_path)
    old = read_sculpt(tmp_path / "old.ply")
    away = 0.3 * float(np.linalg.norm(np.ptp(old.positions, axis=0)))
    write_sculpt_ply(tmp_path / "moved.ply", replace(old, positions=old.positions + [away, 0.0, 0.0]))
    words = ["refit", str(mesh), str(sculpt), "-o", str(tmp_path / "out.obj"), "--landmarks", str(places), "--quiet"]
    words += ["--paint-from", str(tmp_path / "moved.ply"), "--paint", str(tmp_path / "painted.ply")]
    assert main(words) == 4
    told = capsys.readouterr().err
    assert "moved.ply" in told and "ear" in told
    assert not (tmp_path / "out.obj").exists() and not (tmp_path / "painted.ply").exists()


@pytest.mark.parametrize(
    ("more", "code", "message"),
    [
        (["--paint", "x.ply"], 2, "go together"),
        (["--landmarks", "none.json"], 3, "there is no such file"),
        (["--leave-open", "blueish"], 4, "blueish"),
    ],
)
def test_mistakes_are_told(
    more: list[str], code: int, message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mesh, sculpt, _ = make_files(tmp_path)
    assert main(["refit", str(mesh), str(sculpt), "-o", str(tmp_path / "out.obj"), *more]) == code
    assert message in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["-o", "mesh.obj"], "mesh.obj is the mesh itself"),
        (["-o", "new.ply"], "new.ply is the sculpt itself"),
        (["-o", "places.ply"], "places.ply is the landmarks file itself"),
        (["-o", "old.ply"], "old.ply is the painted sculpt itself"),
        (["-o", "out.obj", "--paint", "old.ply"], "old.ply is the painted sculpt itself"),
        (["-o", "out.obj", "--paint", "places.ply"], "places.ply is the landmarks file itself"),
        (["-o", "out.ply", "--paint", "out.ply"], "out.ply would be written twice"),
    ],
    ids=lambda case: " ".join(case) if isinstance(case, list) else "",
)
def test_no_input_and_no_other_output_is_overwritten(
    words: list[str],
    message: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, _, places = make_files(tmp_path)
    places.rename(tmp_path / "places.ply")
    monkeypatch.chdir(tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    more = ["--landmarks", "places.ply", "--paint-from", "old.ply"]
    more += [] if "--paint" in words else ["--paint", "painted.ply"]
    assert main(["refit", "mesh.obj", "new.ply", *words, *more]) == 3
    assert message in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_landmark_in_the_air_is_told_with_its_file_place_and_distance(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    make_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    entry = {"name": "chin", "mesh": 0, "sculpt": [50.0, 0.5, -3.0]}
    Path("far.json").write_text(json.dumps({"loopwright_landmarks": 1, "pairs": [entry]}), encoding="utf-8")
    assert main(["refit", "mesh.obj", "new.ply", "-o", "out.obj", "--landmarks", "far.json"]) == 4
    said = capsys.readouterr().err
    told = re.search(r'far.json: the landmark "chin" at \(50, 0.5, -3\) lies ([\d.]+) \(', said)
    assert told is not None and "off the sculpt" in said
    sculpt = read_sculpt("new.ply").positions
    nearest = float(np.linalg.norm(sculpt - [50.0, 0.5, -3.0], axis=1).min())
    assert float(told[1]) == pytest.approx(nearest, rel=0.02)
    assert not Path("out.obj").exists()
