"""The colours of a sculpt with their shares and pieces, against areas of caps of a sphere."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import globe

from loopwright.marks.list_colors import list_colors
from loopwright.types import Sculpt

SKIN, EYE, DOT = (200, 150, 120), (20, 20, 200), (10, 200, 10)


def test_colours_their_shares_and_pieces() -> None:
    points, triangles = globe(60)
    colors = np.tile(np.array(SKIN, np.uint8), (len(points), 1))
    colors[np.abs(points[:, 2]) > 0.8] = EYE
    colors[points[:, 0] > 0.9] = DOT
    colors[17] = DOT  # a speck
    found = list_colors(Sculpt(points, triangles, colors))
    assert [shown.color for shown in found] == [SKIN, EYE, DOT]
    assert [shown.pieces for shown in found] == [1, 2, 1]
    # a cap of height h has the share h / 2 of a sphere's area (Archimedes)
    assert [shown.share for shown in found] == pytest.approx([0.75, 0.2, 0.05], abs=0.01)


def test_a_sculpt_without_colours_has_none() -> None:
    assert list_colors(Sculpt(*globe(4))) == ()
