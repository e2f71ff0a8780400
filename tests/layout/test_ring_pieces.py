"""Rings that are stacks of loops, and what is left between scattered regions."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import X_PLANE, grid_net, painted

from loopwright.layout.border_graph import constrained_edges
from loopwright.layout.open_surface import open_surface
from loopwright.layout.ring_pieces import is_ring, is_stack
from loopwright.types import RegionSurface

HOLE = 0.5  # the radius of a hole in a disc of radius 1


def ring(off: float, *, is_half: bool) -> RegionSurface:
    """A flat disc with a round hole, ``off`` its middle; half of it ends in the plane x = 0."""
    turn = np.linspace(-np.pi / 2, np.pi / 2, 49) if is_half else np.linspace(0.0, 2 * np.pi, 97)[:-1]
    way = np.stack([np.cos(turn), np.sin(turn), np.zeros(len(turn))], axis=1)
    share = np.linspace(0.0, 1.0, 9)[None, :, None]
    points = way[:, None] * (HOLE + (1.0 - HOLE) * share) + np.array([0.0, off, 0.0]) * (1.0 - share)
    points[np.abs(points) < 1e-12] = 0.0
    return painted(grid_net(points, close_u=not is_half), mirror=X_PLANE if is_half else None)


@pytest.mark.parametrize("is_half", [False, True])
@pytest.mark.parametrize(("off", "least", "most"), [(0.0, 1.0, 1.05), (0.25, 2.0, 3.1), (0.4, 5.0, 9.1)])
def test_a_ring_is_a_stack_up_to_how_much_wider_it_is_in_one_place(
    off: float, least: float, most: float, is_half: bool
) -> None:
    # a hole off the middle leaves 0.5 + off on one side and 0.5 - off on the other
    surface = ring(off, is_half=is_half)
    opened, constrained = open_surface(surface), constrained_edges(surface)
    assert is_ring(opened, constrained, len(surface.positions), [1 if is_half else 0]) == [True]
    assert is_stack(opened, constrained, surface.positions, 0, most)
    assert off == 0.0 or not is_stack(opened, constrained, surface.positions, 0, least)
