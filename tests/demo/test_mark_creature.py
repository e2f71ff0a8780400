"""The example of a marks file fits the demo creature."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopwright.demo import creature_marks, make_creature
from loopwright.marks.read_marks import read_marks
from loopwright.marks.use_marks import use_marks
from loopwright.marks.write_marks import write_marks
from loopwright.options import BuildOptions
from loopwright.pipeline import plan

_WRONG = {"line_adds_nothing", "line_astray", "line_broken", "line_off_surface", "budget", "mirror_wrong"}


@pytest.mark.parametrize("seed", [3, 7])
def test_the_example_marks_fit_the_creature(tmp_path: Path, seed: int) -> None:
    sculpt = make_creature(triangle_count=100_000, seed=seed)
    marks = creature_marks(sculpt)
    assert marks.lines and marks.pins and marks.points and marks.size_dabs
    written = read_marks(write_marks(tmp_path / "marks.json", marks))
    assert written == marks
    result = plan(sculpt, options=use_marks(BuildOptions(), written))
    assert not _WRONG & {finding.kind for finding in result.findings}
    assert not [finding.text for finding in result.findings if "loose end" in finding.text]
    kept = {each.kind: each.is_kept for each in result.outcomes}
    assert kept["pin"] is True and kept["line"] is not False
    for place in (*written.lines[0].points, written.points[0].at, written.size_dabs[0].at):
        assert ((sculpt.positions - place) ** 2).sum(axis=1).min() < 1e-5
