"""Pictures are drawn without a display, and a driver that fails takes nothing down."""

from __future__ import annotations

import os
import signal
import stat
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkIOImage import vtkJPEGReader

from loopwright.errors import Cancelled
from loopwright.report.choose_views import choose_views
from loopwright.report.picture import DrawnPicture, Layer, Lines, Mark, Picture, Scene, Solid, load_scene, save_scene
from loopwright.report.run_drawing import run_drawing
from loopwright.types import QuadMesh


@pytest.fixture(scope="module")
def scene(mesh: QuadMesh) -> Scene:
    views = choose_views(mesh.positions, mesh.mirror)
    red = np.tile(np.array([[230, 30, 30]], np.uint8), (len(mesh.positions), 1))
    line = Lines(np.array([[-1.0, 0.0, 1.1], [1.0, 0.0, 1.1]]), np.array([0], np.int32), (0, 0, 255), 4.0)
    marks = (
        Mark("pole3", "3", ((0.0, 0.0, 1.0),)),
        Mark("pole5", "5", ((0.0, 0.0, -1.0),)),
        Mark("count", "12", ((0.0, 0.0, 1.0), (0.0, 0.5, 0.9))),
        Mark("count", "13", ((0.0, 0.0, 1.0),)),
    )
    return Scene(
        diagonal=2 * 3**0.5,
        solids={"ball": Solid(mesh.positions, mesh.quads, red, is_open=True)},
        lines={"line": line},
        pictures=(
            Picture("plain", "Plain", views["front"], (Layer("ball"),), marks),
            Picture("lined", "Lined", views["front"], (Layer("ball", has_edges=True), Layer("line"))),
        ),
    )


@pytest.fixture(scope="module")
def drawn(scene: Scene) -> dict[str, DrawnPicture]:
    pictures, findings = run_drawing(scene)
    if findings and not os.environ.get("CI"):
        pytest.skip(f"this machine draws nothing: {findings[0].text}")
    assert findings == ()
    return {picture.picture.name: picture for picture in pictures}


def decode(picture: DrawnPicture, folder: Path) -> NDArray[np.int64]:
    """Return (rows, columns, 3) pixels, top row first, read by VTK's own reader."""
    path = folder / "picture.jpg"
    path.write_bytes(picture.jpeg)
    reader = vtkJPEGReader()
    reader.SetFileName(str(path))
    reader.Update()
    image = reader.GetOutput()
    columns, rows, _ = image.GetDimensions()
    pixels = np.asarray(vtk_to_numpy(image.GetPointData().GetScalars()))
    return pixels.reshape(rows, columns, 3)[::-1].astype(np.int64)


def test_a_scene_survives_its_files(scene: Scene, tmp_path: Path) -> None:
    save_scene(tmp_path, scene)
    again = load_scene(tmp_path)
    assert again.pictures == scene.pictures and again.diagonal == scene.diagonal
    assert (again.solids["ball"].faces == scene.solids["ball"].faces).all()
    assert again.solids["ball"].is_open and again.lines["line"].color == (0, 0, 255)


def test_the_subject_is_where_and_what_it_should_be(drawn: dict[str, DrawnPicture], tmp_path: Path) -> None:
    pixels = decode(drawn["plain"], tmp_path)
    rows, columns, _ = pixels.shape
    assert rows == columns
    middle, corner = pixels[rows // 2, columns // 2], pixels[4, 4]
    assert middle[0] > 2 * middle[1] and middle[0] > 2 * middle[2]
    assert abs(corner[0] - corner[1]) < 20  # the background is grey


def test_lines_and_edges_are_drawn_over_the_subject(drawn: dict[str, DrawnPicture], tmp_path: Path) -> None:
    pixels = decode(drawn["lined"], tmp_path)
    plain = decode(drawn["plain"], tmp_path)
    row = pixels[len(pixels) // 2, len(pixels) // 2]
    assert row[2] > row[0]
    band = slice(len(pixels) // 4, len(pixels) // 3)
    middle = slice(len(pixels) // 3, 2 * len(pixels) // 3)
    assert pixels[band, middle, 0].std() > 1.5 * plain[band, middle, 0].std()


def test_marks_are_placed_where_they_are_seen(drawn: dict[str, DrawnPicture]) -> None:
    marks = {mark.text: mark for mark in drawn["plain"].marks}
    assert abs(marks["3"].left - 0.5) < 1e-6 and abs(marks["3"].top - 0.5) < 1e-6
    assert "5" not in marks  # it lies behind
    assert marks["12"].top < 0.5  # its first place was taken, so it moved up
    assert "13" not in marks  # no place was left


def test_the_same_scene_gives_the_same_pictures(scene: Scene, drawn: dict[str, DrawnPicture]) -> None:
    again, _ = run_drawing(scene)
    assert [picture.jpeg for picture in again] == [picture.jpeg for picture in drawn.values()]


@pytest.mark.skipif(os.name == "nt", reason="the stand-in for a broken driver is a shell script")
@pytest.mark.parametrize(
    ("ending", "words"),
    [("kill -SEGV $$", f"signal {int(signal.SIGSEGV)}"), ("echo no display >&2; exit 1", "no display")],
)
def test_a_driver_that_fails_is_a_finding(
    ending: str, words: str, scene: Scene, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    script = tmp_path / "python"
    script.write_text(f"#!/bin/sh\n{ending}\n", encoding="ascii")
    script.chmod(script.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setattr(sys, "executable", str(script))
    pictures, (finding,) = run_drawing(scene)
    assert pictures == ()
    assert finding.kind == "pictures_missing" and finding.count == 2 and words in finding.text


def test_drawing_can_be_stopped(scene: Scene) -> None:
    def stop(stage: str, done: float) -> None:
        raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        run_drawing(scene, progress=stop)
