"""Pieces that are found again are cut as they were; lengths are rounded to steps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import EDGE, SURFACES, layout_of, surface_of

from loopwright.fingerprint import fingerprint
from loopwright.layout import cut_piece
from loopwright.layout.plan_layout import plan_layout
from loopwright.layout.size_steps import size_steps, surface_extent
from loopwright.shelf import Shelf

NAMES = list(SURFACES)


@pytest.mark.parametrize("name", NAMES)
def test_a_layout_from_kept_pieces_is_the_same_to_the_last_bit(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    surface, shelf = surface_of(name), Shelf(depth=1)
    sizes, fresh = np.full(len(surface.positions), EDGE), layout_of(name)
    first = plan_layout(surface, sizes, shelf=shelf)
    monkeypatch.setattr(cut_piece, "_cut", lambda *given: pytest.fail("a piece was cut again"))
    again = plan_layout(surface, sizes, shelf=shelf)
    assert fingerprint(again) == fingerprint(first) == fingerprint(fresh)


def test_a_trifle_of_another_size_leaves_pieces_as_they_were(monkeypatch: pytest.MonkeyPatch) -> None:
    surface, shelf = surface_of(NAMES[0]), Shelf(depth=1)
    rounded = size_steps(surface_extent(surface))
    middle = rounded(EDGE)  # as far from where it is rounded otherwise as can be
    first = plan_layout(surface, np.full(len(surface.positions), middle), shelf=shelf)
    monkeypatch.setattr(cut_piece, "_cut", lambda *given: pytest.fail("a piece was cut again"))
    again = plan_layout(surface, np.full(len(surface.positions), 1.001 * middle), shelf=shelf)
    assert fingerprint(again.positions) == fingerprint(first.positions)


@pytest.mark.parametrize("scale", [1.0, 0.37, 1234.5])
def test_steps_are_near_and_go_with_the_surface(scale: float) -> None:
    surface = surface_of(NAMES[0])
    larger = replace(surface, positions=scale * surface.positions)
    plain, scaled = size_steps(surface_extent(surface)), size_steps(surface_extent(larger))
    for length in np.geomspace(0.01, 3.0, 40).tolist():
        assert abs(np.log2(plain(length) / length)) <= 1.0 / 16.0 + 1e-12
        assert plain(plain(length)) == pytest.approx(plain(length), rel=1e-12)
        assert scaled(scale * plain(length)) == pytest.approx(scale * plain(length), rel=1e-5)
