"""A line of which nothing is kept is told as left out, and nothing else is told of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from tests.conftest import globe
from tests.marks.test_flow_lines import REACH, make_surface

from loopwright import BuildOptions, build, plan
from loopwright.marks.add_flow_lines import add_flow_lines
from loopwright.types import ByteArray, Sculpt
from loopwright.wishes import FlowLine, Point


def scribble(seed: int, edge: float) -> tuple[Point, ...]:
    """Points in no order within some edges of one another on a unit sphere: what a hand leaves that tries a pen."""
    random = np.random.default_rng(seed)
    count = int(random.integers(8, 16))
    points = np.array([0.0, -1.0, -0.3]) + edge * random.uniform(0.5, 1.3) * random.normal(size=(count, 3))
    points /= np.linalg.norm(points, axis=1)[:, None]
    return tuple((float(x), float(y), float(z)) for x, y, z in points)


def test_a_scribble_of_which_nothing_is_left_is_told_as_left_out_alone(tools: Any) -> None:
    positions, triangles = tools.icosphere(4)
    two = make_surface(positions, triangles, 0.5)
    gone = 0
    for seed in range(20):
        after, findings = add_flow_lines(two, [FlowLine(scribble(seed, REACH), name="scribble")], reach=REACH)
        kinds = [finding.kind for finding in findings]
        if len(after.flow_edges):
            assert "line_left_out" not in kinds
            continue
        gone += 1
        assert kinds == ["line_left_out"]
        assert findings[0].names == ("scribble",)
        assert "is less than a face" in findings[0].text and "carried" not in findings[0].text
    assert gone >= 3, "the seeds do not try what they are for"


def test_what_is_told_of_other_lines_stays(tools: Any) -> None:
    positions, triangles = tools.icosphere(4)
    two = make_surface(positions, triangles, 0.5)
    loose = FlowLine(((0.7, 0.1, -0.7), (0.3, 0.1, -0.95), (-0.1, 0.1, -0.99)), name="loose")
    kinds = {
        (finding.kind, finding.names)
        for finding in add_flow_lines(two, [loose, FlowLine(scribble(0, REACH), name="scribble")], reach=REACH)[1]
    }
    assert {("line_carried_on", ("loose",)), ("line_left_out", ("scribble",))} == kinds


@pytest.mark.parametrize("work", [plan, build])
def test_plan_and_build_tell_it_and_count_it_as_not_kept(work: Callable[..., Any]) -> None:
    points, triangles = globe(24)
    colors: ByteArray = np.where(points[:, 2:] > 0.5, [200, 60, 60], [200, 200, 200]).astype(np.uint8)
    lines = (FlowLine(scribble(0, float(np.sqrt(4 * np.pi / 400))), name="scribble"),)
    options = BuildOptions(budget=400, proxy_faces=3000, mirror="none", fit_limit=False, lines=lines)
    made = work(Sculpt(points, triangles, colors), options=options)
    (told,) = (finding for finding in made.findings if finding.kind.startswith("line_"))
    assert told.kind == "line_left_out"
    assert [each.is_kept for each in made.outcomes if each.kind == "line"] == [False]
