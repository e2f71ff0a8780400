"""A sculpt without paint is built by its shape, and that is told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.conftest import globe

from loopwright import BuildOptions, plan
from loopwright.cli.main import main
from loopwright.types import ByteArray, Sculpt
from loopwright.wishes import FlowLine

QUICK = BuildOptions(budget=200, proxy_faces=2000, mirror="none")
LINE = FlowLine(((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0), (0.0, -1.0, 0.0)), closed=True)


def kinds(sculpt: Sculpt, options: BuildOptions) -> list[str]:
    return [finding.kind for finding in plan(sculpt, options=options).findings]


def test_missing_paint_is_told_once_where_nothing_else_says_where_loops_run() -> None:
    points, triangles = globe(20)
    bare = Sculpt(points, triangles)
    colors: ByteArray = np.where(points[:, 2:] > 0.4, [200, 60, 60], [200, 200, 200]).astype(np.uint8)
    assert kinds(bare, QUICK).count("no_paint") == 1
    assert "no_paint" not in kinds(bare, replace(QUICK, lines=(LINE,)))
    assert "no_paint" not in kinds(replace(bare, colors=colors), QUICK)


def test_the_command_line_tells_it_and_builds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    points, triangles = globe(20)
    lines = [f"v {x} {y} {z}" for x, y, z in points.tolist()]
    lines += [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in triangles.tolist()]
    (tmp_path / "bare.obj").write_text("\n".join(lines) + "\n", encoding="utf-8")
    out = tmp_path / "mesh.obj"
    assert main(["build", str(tmp_path / "bare.obj"), "-o", str(out), "--budget", "200", "--no-fit"]) == 0
    shown = capsys.readouterr()
    assert out.exists() and "loopwright:" not in shown.err
    assert shown.out.count("no vertex colours") == 1 and "its shape alone defines the layout" in shown.out
