"""``loopwright rehearse`` from file to table and pictures."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.rehearse.test_rehearse import good_file, tube, tube_mesh, write

from loopwright.cli.main import main
from loopwright.demo import write_sculpt_ply
from loopwright.handover.write_mesh import write_mesh
from loopwright.rehearse.draw_poses import picture_files
from loopwright.types import Sculpt


def test_two_meshes_are_compared_and_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    points, quads = tube(32, 40)
    triangles = np.ascontiguousarray(np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))
    write_sculpt_ply(tmp_path / "tube.ply", Sculpt(points, triangles))
    write_mesh(tmp_path / "straight.obj", tube_mesh())
    write_mesh(tmp_path / "askew.obj", tube_mesh(twist=True))
    poses = write(tmp_path, good_file())
    words = ["rehearse", str(tmp_path / "straight.obj"), str(tmp_path / "tube.ply"), "--poses", str(poses)]
    words += ["--against", str(tmp_path / "askew.obj"), "--pictures", str(tmp_path / "pictures"), "--json", "--quiet"]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    bent = told["poses"]["bent"]
    assert bent["mesh"]["strain_angle"] < bent["other"]["strain_angle"]
    assert told["picture_files"] == [
        str(file) for file in picture_files(tmp_path / "pictures", len(told["poses"]), ("mesh", "other"))
    ]
    for file in told["picture_files"]:
        assert Path(file).read_bytes()[:3] == b"\xff\xd8\xff"  # JPEG's first marker (ITU-T T.81)


def test_a_missing_poses_file_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_mesh(tmp_path / "straight.obj", tube_mesh())
    write_mesh(tmp_path / "sculpt.ply", tube_mesh())
    words = ["rehearse", str(tmp_path / "straight.obj"), str(tmp_path / "sculpt.ply"), "--poses", "none.json"]
    assert main(words) == 3
    assert "none.json: there is no such file" in capsys.readouterr().err


def test_a_picture_does_not_replace_the_poses(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_mesh(tmp_path / "straight.obj", tube_mesh())
    write_mesh(tmp_path / "sculpt.ply", tube_mesh())
    poses = write(tmp_path, good_file()).rename(tmp_path / "mesh-00-side.jpg")
    before = poses.read_bytes()
    words = ["rehearse", str(tmp_path / "straight.obj"), str(tmp_path / "sculpt.ply"), "--poses", str(poses)]
    assert main([*words, "--pictures", str(tmp_path)]) == 3
    assert "mesh-00-side.jpg is the poses file itself" in capsys.readouterr().err
    assert poses.read_bytes() == before


def test_a_handle_that_does_not_fit_is_told_with_its_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_mesh(tmp_path / "straight.obj", tube_mesh())
    write_mesh(tmp_path / "sculpt.ply", tube_mesh())
    data = good_file()
    data["handles"]["low"] = {"balls": [{"at": [99, 0, 0], "radius": 1}]}
    poses = write(tmp_path, data)
    words = ["rehearse", str(tmp_path / "straight.obj"), str(tmp_path / "sculpt.ply"), "--poses", str(poses)]
    assert main(words) == 4
    said = capsys.readouterr().err
    assert f"{poses}: " in said and 'The handle "low" holds no part of the sculpt' in said


def test_another_sculpts_mesh_and_wide_turns_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    points, quads = tube(32, 40)
    triangles = np.ascontiguousarray(np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))
    write_sculpt_ply(tmp_path / "tube.ply", Sculpt(points, triangles))
    mesh = tube_mesh()
    write_mesh(tmp_path / "own.obj", mesh)
    write_mesh(tmp_path / "foreign.obj", replace(mesh, positions=mesh.positions * [1.25, 1.0, 1.25]))
    told = {}
    for degrees in (90, 120):
        wishes = good_file()
        wishes["poses"][0]["move"]["high"]["degrees"] = degrees
        poses = write(tmp_path, wishes)
        words = ["rehearse", str(tmp_path / "own.obj"), str(tmp_path / "tube.ply"), "--poses", str(poses)]
        assert main([*words, "--against", str(tmp_path / "foreign.obj"), "--json", "--quiet"]) == 0
        told[degrees] = json.loads(capsys.readouterr().out)["findings"]
    assert [finding["kind"] for finding in told[90]] == ["other_sculpt"]
    assert told[90][0]["text"].startswith(
        f"{tmp_path / 'foreign.obj'} does not seem to belong to {tmp_path / 'tube.ply'}: "
    )
    assert [finding["kind"] for finding in told[120]] == ["wide_turn", "other_sculpt"]
    assert "turns high by 120 degrees" in told[120][0]["text"] and "0.50 of its width" in told[120][0]["text"]


def test_a_bad_face_is_told_with_its_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = "v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 3\n"
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "mesh.obj").write_text(text)
    write_mesh(tmp_path / "two" / "mesh.obj", tube_mesh())
    write_mesh(tmp_path / "sculpt.ply", tube_mesh())
    poses = write(tmp_path, good_file())
    words = ["rehearse", str(tmp_path / "two" / "mesh.obj"), str(tmp_path / "sculpt.ply"), "--poses", str(poses)]
    assert main([*words, "--against", str(tmp_path / "one" / "mesh.obj")]) == 3
    assert f"{tmp_path / 'one' / 'mesh.obj'}, line 4: the face has 3 corners" in capsys.readouterr().err
