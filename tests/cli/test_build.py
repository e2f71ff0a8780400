"""``loopwright build``: what it says of wishes, and its exit code."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.conftest import globe

from loopwright import BuildOptions, Sculpt
from loopwright.cli.main import main
from loopwright.demo.write_sculpt_ply import write_sculpt_ply
from loopwright.options import format_color

COLOR = (200, 120, 60)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("build")
    points, triangles = globe(16)
    write_sculpt_ply(folder / "ball.ply", Sculpt(points, triangles, np.full(points.shape, COLOR, np.uint8)))
    return folder


@pytest.fixture(autouse=True)
def few_triangles(monkeypatch: pytest.MonkeyPatch) -> None:
    """Plan on few triangles, which no option of the command line asks for."""
    monkeypatch.setattr("loopwright.cli.read_wishes.BuildOptions", lambda: BuildOptions(proxy_faces=2000))


@pytest.mark.parametrize(("wish", "kept"), [("some", True), ("none", False)])
def test_a_wish_that_is_not_kept_is_told_and_strict_leaves_with_1(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], wish: str, kept: bool
) -> None:
    """A ball of one region has poles, whatever is wished for: their fours less valences add up to eight."""
    marks, out = tmp_path / "marks.json", tmp_path / "ball.obj"
    name = format_color(COLOR)
    marks.write_text(json.dumps({"loopwright_marks": 1, "poles": [{"region": name, "wish": wish}]}))
    words = ["build", str(folder / "ball.ply"), "-o", str(out), "--mirror", "none", "--budget", "150"]
    words += ["--marks", str(marks)]
    assert main(words) == 0
    told = capsys.readouterr().out
    assert f"wishes  poles {wish} in {name} ({'kept' if kept else 'not kept'})" in told
    out.unlink()
    assert main([*words, "--strict", "--json", "--quiet"]) == (0 if kept else 1)
    said = capsys.readouterr()
    flaws = [] if kept else [f"poles none in {name} (not kept)"]
    assert out.exists() and json.loads(said.out)["flaws"] == flaws
    assert said.err == ("" if kept else f"loopwright: not as wished, though the mesh is written: {flaws[0]}\n")
