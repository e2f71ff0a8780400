"""Every failure that a campaign found stays mended; each file is the sculpt and the wishes of one case."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchmarks.campaign import classify  # noqa: E402
from benchmarks.freeze_case import thaw_case  # noqa: E402

CASES = sorted(Path(__file__).parent.glob("*.npz"))
SLOW = ("denormal_at_mirror", "folds_when_evened_out")


@pytest.mark.parametrize(
    "path",
    [pytest.param(path, id=path.stem, marks=[pytest.mark.slow] if path.stem in SLOW else []) for path in CASES],
)
def test_stays_mended(path: Path) -> None:
    end = classify(thaw_case(path))
    assert end.kind == "valid", end.line()
