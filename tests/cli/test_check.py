"""``loopwright check`` tells what is wrong with a sculpt."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from loopwright.cli.main import main

TETRAHEDRON = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)]
FACES = [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]


def write_ply(path: Path, faces: list[tuple[int, int, int]]) -> Path:
    """Write a sculpt without paint."""
    head = f"ply\nformat ascii 1.0\nelement vertex {len(TETRAHEDRON)}\nproperty float x\nproperty float y\n"
    head += f"property float z\nelement face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    rows = [" ".join(map(str, point)) for point in TETRAHEDRON] + [f"3 {a} {b} {c}" for a, b, c in faces]
    path.write_text(head + "\n".join(rows) + "\n", encoding="ascii")
    return path


def write_obj(path: Path, paint: list[str]) -> Path:
    """Write a sculpt with a colour for each vertex."""
    lines = [f"v {x} {y} {z} {color}" for (x, y, z), color in zip(TETRAHEDRON, paint, strict=True)]
    path.write_text("\n".join([*lines, *(f"f {a + 1} {b + 1} {c + 1}" for a, b, c in FACES)]) + "\n", encoding="ascii")
    return path


def test_a_sound_sculpt_has_no_findings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_obj(tmp_path / "sound.obj", ["1 0 0"] * 3 + ["0 0 1"])
    assert main(["check", str(path), "--strict"]) == 0
    shown = capsys.readouterr().out
    assert "4 triangles, 4 vertices, with vertex colours" in shown
    assert "nothing is wrong" in shown and "no_paint" not in shown


@pytest.mark.parametrize(
    ("paint", "words"),
    [
        (None, "has no vertex colours, so there is no paint, and its shape alone"),
        (["1 0 0"] * 4, "is painted #ff0000 all over"),
    ],
)
def test_what_a_sculpt_without_paint_means_for_a_build_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], paint: list[str] | None, words: str
) -> None:
    path = write_ply(tmp_path / "bare.ply", FACES) if paint is None else write_obj(tmp_path / "bare.obj", paint)
    assert main(["check", str(path), "--strict"]) == 0
    shown = capsys.readouterr().out
    assert f"no_paint                 The sculpt {words}" in shown and "nothing is wrong" not in shown
    assert "paint regions, or draw flow lines in a marks file" in shown
    assert main(["check", str(path), "--json"]) == 0
    assert [finding["kind"] for finding in json.loads(capsys.readouterr().out)["found"]] == ["no_paint"]


def test_an_open_rim_is_told_once_and_is_no_fault(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_ply(tmp_path / "open.ply", FACES[:3])
    assert main(["check", str(path), "--strict"]) == 0
    shown = capsys.readouterr().out
    assert shown.count("1 hole with rim length") == 1 and "left open" in shown
    assert shown.startswith("open.ply: 3 triangles, 4 vertices,")


def test_colours_are_listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_obj(tmp_path / "painted.obj", ["1 0 0"] * 3 + ["0 0 1"])
    assert main(["check", str(path)]) == 0
    shown = capsys.readouterr().out
    # a face gives a third of its area to each corner; at the blue one meet two of 1/2 and one of sqrt(3)/2
    share = (1 / 3 + 3**0.5 / 6) / (1.5 + 3**0.5 / 2)
    assert f"#0000ff                     {100 * share:.0f} % of the area in 1 piece" in shown
    assert main(["check", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["colors"]
    assert [color["color"] for color in told] == ["#ff0000", "#0000ff"]
    assert told[1]["share"] == pytest.approx(share)


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
