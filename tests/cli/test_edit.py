"""``loopwright edit`` from files to a file."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.cli.test_levels import write_sphere
from tests.conftest import globe, link

from loopwright.cli.main import main
from loopwright.demo import write_sculpt_ply
from loopwright.handover.write_mesh import write_mesh
from loopwright.reuse.template import template_of_quads
from loopwright.surface.read_quads import read_quad_mesh
from loopwright.types import Sculpt

LOOP = {"op": "insert_loop", "near": [0.3, 0.4, 0.9], "along": [1, 0, 0]}


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("edit")
    names = {"mesh": "mesh.obj", "sculpt": "sculpt.obj", "edits": "edits.json"}
    paths = {key: folder / name for key, name in names.items()}
    write_sphere(paths["mesh"], 6, 0.0)
    write_sphere(paths["sculpt"], 40, 0.0, triangles=True)
    paths["edits"].write_text(json.dumps({"loopwright_marks": 1, "edits": [LOOP]}))
    return paths


@pytest.mark.parametrize("more", [[], ["--sculpt"], ["--sculpt", "--fit"]])
def test_a_loop_is_put_in_on_both_sides(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str]
) -> None:
    out = tmp_path / "out.obj"
    options = [word for flag in more for word in ([flag, str(files["sculpt"])] if flag == "--sculpt" else [flag])]
    words = ["edit", str(files["mesh"]), "--edits", str(files["edits"]), "-o", str(out), "--json", *options]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    mesh = read_quad_mesh(out)
    assert told["mirror_kept"] and told["faces"] == len(mesh.quads) > told["faces_before"] == 216
    assert (len(mesh.quads) - 216) % 24 == 0  # whole rings of a cube's four sides
    assert link(mesh.quads, len(mesh.positions)).euler == 2
    places = {tuple(p) for p in (mesh.positions + 0.0).tolist()}
    assert {tuple(p) for p in (mesh.positions * [-1, 1, 1] + 0.0).tolist()} == places
    radius = np.linalg.norm(mesh.positions, axis=1)
    if more == ["--sculpt"]:
        assert radius.min() > 0.998  # the sculpt's facets are that near to the ball


def test_missing_folders_are_made_for_the_mesh(files: dict[str, Path], tmp_path: Path) -> None:
    out = tmp_path / "new" / "deep" / "out.obj"
    words = ["edit", str(files["mesh"]), "--edits", str(files["edits"]), "-o", str(out)]
    bad = files["mesh"] / "out.obj"
    assert main([*words[:-1], str(bad), "--quiet"]) == 3 and not out.parent.parent.exists()
    assert main([*words, "--quiet"]) == 0
    assert len(read_quad_mesh(out).quads) > 216


def test_refusals_leave_nothing_behind(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, bad = tmp_path / "out.obj", tmp_path / "bad.json"

    def tried(edits: object, *options: str) -> tuple[int, str]:
        bad.write_text(json.dumps({"loopwright_marks": 1, "edits": edits}))
        code = main(["edit", str(files["mesh"]), "--edits", str(bad), "-o", str(out), "--quiet", *options])
        assert not out.exists()
        return code, capsys.readouterr().err

    code, text = tried([LOOP, {"op": "melt"}])
    assert code == 4 and "bad.json: edits/1: edit 2: op is 'melt'" in text
    code, text = tried([])
    assert code == 4 and 'the list "edits" is missing in it, or empty' in text
    code, text = tried([{"op": "change_count", "near": [0, 0, 1], "by": -60}])
    assert code == 5 and "bad.json: edits/0: edit 1 (change_count)" in text
    code, text = tried([LOOP], "--fit")
    assert code == 2 and "--sculpt" in text
    code, text = tried([{"op": "insert_loop", "near": [50, 0, 0]}])
    assert code == 4 and "edit 1 (insert_loop): its place (50, 0, 0) is" in text


def test_a_sculpt_that_is_another_is_refused(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other, out = tmp_path / "other.obj", tmp_path / "out.obj"
    lines = files["sculpt"].read_text().splitlines()
    parts = [line.split() for line in lines]
    moved = [f"v {float(p[1]) + 3.0} {p[2]} {p[3]}" if p[:1] == ["v"] else " ".join(p) for p in parts]
    other.write_text("\n".join(moved))
    words = ["edit", str(files["mesh"]), "--edits", str(files["edits"]), "--sculpt", str(other), "-o", str(out)]
    assert main([*words, "--quiet"]) == 3
    assert "mesh.obj does not lie on" in capsys.readouterr().err and not out.exists()


def test_a_mirror_that_is_not_there_blames_the_mesh_and_not_the_edits(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bent, out = tmp_path / "bent.obj", tmp_path / "out.obj"
    parts = [line.split() for line in files["mesh"].read_text().splitlines()]
    moved = [f"v {float(p[1]) + 3.0 * float(p[2])} {p[2]} {p[3]}" if p[:1] == ["v"] else " ".join(p) for p in parts]
    bent.write_text("\n".join(moved))
    words = ["edit", str(bent), "--edits", str(files["edits"]), "--mirror", "x", "-o", str(out), "--quiet"]
    assert main(words) == 5 and not out.exists()
    said = capsys.readouterr().err
    assert f"{bent}: " in said and "leave --mirror x out" in said and "edits.json" not in said


@pytest.mark.parametrize("more", [[], ["--sculpt"], ["--sculpt", "--fit"]])
def test_a_report_shows_the_mesh_before_and_after(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str]
) -> None:
    out, folder = tmp_path / "out.obj", tmp_path / "report"
    options = [word for flag in more for word in ([flag, str(files["sculpt"])] if flag == "--sculpt" else [flag])]
    words = ["edit", str(files["mesh"]), "--edits", str(files["edits"]), "-o", str(out), "--json", *options]
    assert main([*words, "--report", str(folder)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["report_file"] == str(folder / "index.html")
    page = (folder / "index.html").read_text(encoding="utf-8")
    figures = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert (figures["faces_before"], figures["faces"]) == (told["faces_before"], told["faces"])
    assert figures["quality_before"] == told["quality_before"] and figures["quality"] == told["quality"]
    assert [f["kind"] for f in figures["findings"]][: len(told["findings"])] == [f["kind"] for f in told["findings"]]
    assert "mesh.obj: the edited mesh" in page and "216 quads" in page
    assert ("distances" in figures and bool(figures["distances"])) == bool(more)
    assert ("sculpt of" in page) == bool(more)
    assert figures["measured_surface"] == {0: "", 1: "faces", 2: "limit"}[len(more)]
    assert "painted-" not in page and "layout-" not in page
    if any(f["kind"] == "pictures_missing" for f in figures["findings"]) and not os.environ.get("CI"):
        pytest.skip("no pictures can be drawn here: all but them was checked")
    shown = [f'id="{name}-{view}"' in page for name in ("mesh", "before") for view in ("front", "side", "back")]
    assert all(shown)
    assert ('id="heat_sculpt-front"' in page) == bool(more)


def test_a_mesh_whose_limit_surface_lies_on_the_sculpt_is_measured_by_that(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ball = read_quad_mesh(files["mesh"])
    limit = template_of_quads(ball.positions, ball.quads).positions
    cage = replace(ball, positions=ball.positions / np.linalg.norm(limit, axis=1).mean())
    write_mesh(tmp_path / "cage.obj", cage)
    rms = {}
    for name, path in (("limit", tmp_path / "cage.obj"), ("faces", files["mesh"])):
        words = ["edit", str(path), "--edits", str(files["edits"]), "-o", str(tmp_path / "out.obj"), "--quiet"]
        assert main([*words, "--sculpt", str(files["sculpt"]), "--report", str(tmp_path / name)]) == 0
        figures = json.loads((tmp_path / name / "report.json").read_text(encoding="utf-8"))
        assert figures["measured_surface"] == name
        rms[name] = figures["distances"]["mesh_to_sculpt_rms"]
    capsys.readouterr()
    words_of = {"limit": "of the mesh&#x27;s smooth limit surface", "faces": "of the mesh&#x27;s faces as they are"}
    for name, text in words_of.items():
        assert text in (tmp_path / name / "index.html").read_text(encoding="utf-8")
    assert max(rms.values()) < 0.01


def dented(folder: Path) -> Path:
    """A finely cut ball with a dark pit on top, which no face of a ball of quads reaches into."""
    points, triangles = globe(50)
    is_pit = points[:, 2] > 0.95
    points[is_pit] *= 0.7
    colors = np.where(is_pit[:, None], (20, 20, 20), (200, 150, 120)).astype(np.uint8)
    write_sculpt_ply(folder / "dented.ply", Sculpt(points, triangles, colors))
    return folder / "dented.ply"


def test_areas_left_open_are_left_out_of_the_distances(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["edit", str(files["mesh"]), "--edits", str(files["edits"]), "--sculpt", str(dented(tmp_path)), "--quiet"]
    figures = {}
    for name, more in (("all", []), ("open", ["--leave-open", "22,20,20"]), ("rest", ["--leave-open", "#c89678"])):
        out = ["-o", str(tmp_path / f"{name}.obj"), "--report", str(tmp_path / name)]
        assert main([*words, *out, *more]) == 0
        figures[name] = json.loads((tmp_path / name / "report.json").read_text(encoding="utf-8"))
    far = {name: told["distances"]["sculpt_to_mesh_max"] * told["diagonal"] for name, told in figures.items()}
    assert far["all"] == pytest.approx(far["rest"]) and far["all"] > 0.25  # the pit is 0.3 deep
    assert far["open"] < 0.03  # the faces of a ball of quads 0.3 wide sag by 0.3^2 / 8 along each side
    assert figures["all"]["wishes"] == {} and figures["open"]["wishes"] == {"leave_open": ["#141414"]}
    capsys.readouterr()


def test_a_colour_to_leave_open_is_read_and_matched_as_in_a_build(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["edit", str(files["mesh"]), "--edits", str(files["edits"]), "-o", str(tmp_path / "o.obj"), "--quiet"]
    painted = ["--sculpt", str(dented(tmp_path)), "--report", str(tmp_path / "report")]
    for more, code, said in (
        ([*painted, "--leave-open", "black"], 4, '"black" is not a colour'),
        ([*painted, "--leave-open", "#ff00ff"], 4, "no painted colour is near #ff00ff, which you wish to leave open"),
        (["--leave-open", "#141414"], 2, "give --sculpt and --report with it"),
        ([*painted[:2], "--leave-open", "#141414"], 2, "give --sculpt and --report with it"),
    ):
        assert main([*words, *more]) == code
        assert said in capsys.readouterr().err
        assert not (tmp_path / "o.obj").exists() and not (tmp_path / "report").exists()


def test_a_report_may_not_take_the_place_of_an_input(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    edits = tmp_path / "report.json"
    edits.write_text(files["edits"].read_text())
    before = edits.read_bytes()
    words = ["edit", str(files["mesh"]), "--edits", str(edits), "-o", str(tmp_path / "o.obj"), "--quiet"]
    assert main([*words, "--report", str(tmp_path)]) != 0
    assert "report.json" in capsys.readouterr().err
    assert edits.read_bytes() == before and not (tmp_path / "o.obj").exists()
