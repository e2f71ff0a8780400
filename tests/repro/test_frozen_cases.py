"""Every failure that a campaign found stays mended; each file is the sculpt and the wishes of one case."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchmarks.campaign import classify  # noqa: E402
from benchmarks.freeze_case import thaw_case  # noqa: E402

CASES = sorted(Path(__file__).parent.glob("*.npz"))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_stays_mended(path: Path) -> None:
    end = classify(thaw_case(path))
    assert end.kind == "valid" or (end.kind == "invalid" and end.detail.startswith("folded quads")), end.line()
