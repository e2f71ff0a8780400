"""Every failure that a campaign found stays mended; each file is the sculpt and the wishes of one case."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchmarks.campaign import classify  # noqa: E402
from benchmarks.freeze_case import thaw_case  # noqa: E402

from loopwright import plan  # noqa: E402
from loopwright.counts.measure_faces import side_counts  # noqa: E402

CASES = sorted(Path(__file__).parent.glob("*.npz"))
SLOW = ("denormal_at_mirror", "folds_when_evened_out", "folds_when_fitted", "loop_of_two_edges")


@pytest.mark.parametrize(
    "path",
    [pytest.param(path, id=path.stem, marks=[pytest.mark.slow] if path.stem in SLOW else []) for path in CASES],
)
def test_stays_mended(path: Path) -> None:
    end = classify(thaw_case(path))
    assert end.kind == "valid", end.line()


def test_rings_stay_stacks_of_loops_where_segments_are_few() -> None:
    case = thaw_case(Path(__file__).parent / "ring_of_few_segments.npz")
    counted = plan(case.sculpt, options=case.options).layout
    sides = side_counts(counted.layout, counted.counts)
    rings = [own for patch, own in zip(counted.layout.patches, sides, strict=True) if patch.is_ring]
    assert rings and all(own[:2] == own[2:] for own in rings)
