"""The example of a marks file fits the demo creature."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopwright.demo import creature_marks, make_creature
from loopwright.marks.read_marks import read_marks
from loopwright.marks.use_marks import use_marks
from loopwright.marks.write_marks import write_marks
from loopwright.options import SMALLEST_BUDGET, BuildOptions
from loopwright.pipeline import plan

_WRONG = {"line_adds_nothing", "line_astray", "line_broken", "line_off_surface", "budget", "mirror_wrong"}


@pytest.mark.parametrize(("seed", "budget"), [(3, 5000), (7, 5000), (7, 1500), (7, 300)])
def test_the_example_marks_fit_the_creature(tmp_path: Path, seed: int, budget: int) -> None:
    sculpt = make_creature(triangle_count=100_000, seed=seed)
    marks = creature_marks(sculpt, budget=budget)
    assert marks.lines and marks.pins and marks.points and marks.size_dabs
    assert marks.budget == budget
    written = read_marks(write_marks(tmp_path / "marks.json", marks))
    assert written == marks
    result = plan(sculpt, options=use_marks(BuildOptions(), written))
    assert not _WRONG & {finding.kind for finding in result.findings}
    assert "pin_far" not in {finding.kind for finding in result.findings}
    assert not [finding.text for finding in result.findings if "loose end" in finding.text]
    kept = {each.kind: each.is_kept for each in result.outcomes}
    assert kept["pin"] is True and kept["line"] is not False
    for place in (*written.lines[0].points, written.points[0].at, written.size_dabs[0].at):
        assert ((sculpt.positions - place) ** 2).sum(axis=1).min() < 1e-5


def test_the_example_marks_can_be_planned_with_the_fewest_faces() -> None:
    sculpt = make_creature(triangle_count=100_000)
    marks = creature_marks(sculpt, budget=SMALLEST_BUDGET)
    assert marks.lines and marks.points
    plan(sculpt, options=use_marks(BuildOptions(), marks))


def test_the_demo_writes_marks_for_its_budget(tmp_path: Path) -> None:
    from loopwright.cli.demo import _write_marks

    sculpt = make_creature(triangle_count=100_000)
    few, many = (read_marks(_write_marks(tmp_path, sculpt, budget)) for budget in (1500, 6000))
    assert (few.budget, many.budget) == (1500, 6000)
    # four times as many faces: edges half as long, and twice as many on a border; counts are rounded to fours
    assert abs(many.pins[0].count - 2 * few.pins[0].count) <= 2 + 2 * 2 and many.pins[0].count > few.pins[0].count
    assert few.size_dabs[0].length == pytest.approx(2.0 * many.size_dabs[0].length, rel=0.01)
