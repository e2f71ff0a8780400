"""``loopwright check`` tells what is wrong with a sculpt."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from loopwright.cli.main import main

TETRAHEDRON = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)]
FACES = [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]


def write_ply(path: Path, faces: list[tuple[int, int, int]]) -> Path:
    head = f"ply\nformat ascii 1.0\nelement vertex {len(TETRAHEDRON)}\nproperty float x\nproperty float y\n"
    head += f"property float z\nelement face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    rows = [" ".join(map(str, point)) for point in TETRAHEDRON] + [f"3 {a} {b} {c}" for a, b, c in faces]
    path.write_text(head + "\n".join(rows) + "\n", encoding="ascii")
    return path


def test_a_sound_sculpt_has_no_findings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_ply(tmp_path / "sound.ply", FACES)
    assert main(["check", str(path), "--strict"]) == 0
    shown = capsys.readouterr().out
    assert "4 triangles, 4 vertices, without vertex colours" in shown
    assert "nothing is wrong" in shown


def test_findings_are_told_and_strict_leaves_with_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    turned = [FACES[0][::-1], *FACES[1:]]
    path = write_ply(tmp_path / "turned.ply", [(a, b, c) for a, b, c in turned])
    assert main(["check", str(path)]) == 0
    assert main(["check", str(path), "--strict", "--json"]) == 1
    told = json.loads(capsys.readouterr().out.partition("\n{")[2].join(["{", ""]))
    assert "mixed_orientation" in {finding["kind"] for finding in told["found"]}
    assert told["left"] == []


def test_a_file_that_is_no_sculpt_is_one_message(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "notes.ply"
    path.write_text("not a mesh\n", encoding="ascii")
    assert main(["check", str(path)]) == 3
    shown = capsys.readouterr().err
    assert shown.startswith("loopwright: ") and "notes.ply" in shown and "Traceback" not in shown
