"""A surface cut open once: as triangulations are in general, and found again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import SURFACES, surface_of

from loopwright.layout.border_graph import constrained_edges
from loopwright.layout.open_surface import open_surface
from loopwright.layout.piece import cut_open
from loopwright.surface.half_edges import edge_keys, surface_edges, surface_twins, twin_corners


@pytest.mark.parametrize("name", sorted(SURFACES))
def test_it_is_what_cutting_any_triangulation_open_gives(name: str) -> None:
    surface = surface_of(name)
    count = len(surface.positions)
    wedges, origin, component = cut_open(surface.triangles, edge_keys(constrained_edges(surface).edges, count), count)
    opened = open_surface(surface)
    assert np.array_equal(opened.wedges, wedges) and np.array_equal(opened.origin, origin)
    assert np.array_equal(opened.component, component) and opened.part_count == component.max() + 1
    assert np.array_equal(opened.twin, twin_corners(wedges))
    assert np.array_equal(opened.at_rim, twin_corners(wedges) < 0)


def test_what_was_found_stays_with_its_surface() -> None:
    surface = surface_of("quilt")
    assert open_surface(surface) is open_surface(surface)
    assert constrained_edges(surface) is constrained_edges(surface)
    other = replace(surface, triangle_region=np.zeros_like(surface.triangle_region))
    assert len(constrained_edges(other).edges) < len(constrained_edges(surface).edges)
    for found in (surface_twins(surface), surface_edges(surface)):
        with pytest.raises(ValueError, match="read-only"):
            found[0] = 0
