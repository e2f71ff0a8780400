"""Bends of painted borders: corners of what is painted become corners of its patches, and loops run on round them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.conftest import X_PLANE, a_rotation, compact, flat_disc, globe, middles, moved, painted, rectangle

from loopwright.layout.border_graph import constrained_edges, trace_chains
from loopwright.layout.find_bends import find_bends
from loopwright.layout.piece import Piece
from loopwright.layout.plan_layout import plan_layout
from loopwright.layout.plan_pieces import plan_pieces
from loopwright.layout.plan_turns import TurnOptions
from loopwright.layout.slit_ends import corner_bends
from loopwright.types import RegionSurface

SIZE = 0.12
NET = rectangle(40, 40, 2.0, 2.0)  # its middle is (1, 1)
X, Y = (middles(*NET) - 1.0)[:, :2].T
SQUARE: NDArray[np.integer] = (np.maximum(np.abs(X), np.abs(Y)) < 0.6).astype(int)


def bends_of(surface: RegionSurface) -> list[int]:
    constrained = constrained_edges(surface)
    sizes = np.full(len(surface.positions), SIZE)
    found = find_bends(surface, trace_chains(constrained, set(), len(surface.positions)), sizes)
    corners = [v for v in corner_bends(surface, constrained, found) if v not in set(rim_of(surface))]
    return sorted(corners)


def rim_of(surface: RegionSurface) -> list[int]:
    constrained = constrained_edges(surface)
    rim: list[int] = np.unique(constrained.edges[constrained.kind == 1]).tolist()
    return rim


def planned(surface: RegionSurface) -> list[Piece]:
    constrained, bends = constrained_edges(surface), bends_of(surface)
    chains = trace_chains(constrained, set(bends), len(surface.positions))
    sizes = np.full(len(surface.positions), SIZE)
    return plan_pieces(surface, constrained, chains, sizes, TurnOptions(), bends=bends)


def test_the_corners_of_a_painted_square_are_found() -> None:
    surface = painted(NET, SQUARE)
    assert surface.positions[bends_of(surface)] == pytest.approx(
        np.array([[x, y, 0.0] for x in (0.4, 1.6) for y in (0.4, 1.6)])
    )
    turned = moved(surface, a_rotation(), 3.0, (1.0, 2.0, 3.0))
    sizes = np.full(len(turned.positions), 3.0 * SIZE)
    chains = trace_chains(constrained_edges(turned), set(), len(turned.positions))
    assert set(bends_of(surface)) <= set(find_bends(turned, chains, sizes))


def test_a_round_border_has_none() -> None:
    net = globe(24)
    assert bends_of(painted(net, (middles(*net)[:, 2] > 0.4).astype(int))) == []


@pytest.mark.parametrize("thickness", [0.2, 0.1, 0.05])
def test_a_border_straight_over_a_thin_edge_has_none(thickness: float) -> None:
    # it lies in a plane that the body is mirrored across, so it bends nowhere on the surface (derived)
    points, faces = globe(24)
    x = middles(points, faces)[:, 0]
    assert bends_of(painted((points * np.array([1.0, 1.0, thickness]), faces), (x > 0).astype(int))) == []


def test_a_jagged_border_has_none() -> None:
    steps = np.floor(X / 0.1).astype(int) % 2 * 0.1
    surface = painted(NET, (Y > steps).astype(int))
    assert bends_of(surface) == []


def test_a_painted_square_is_a_patch_and_loops_run_round_it() -> None:
    # a disc with four corners needs no pole inside (4 chi - 4 = 0, derived); what lies round it stays straight, so
    # that each corner is a junction of three quads
    surface = painted(NET, SQUARE)
    outer, inner = sorted(planned(surface), key=lambda piece: -len(piece.triangles))
    assert int((inner.quadrants == 1).sum()) == 4 and inner.index_sum == 0
    corners = inner.origin[inner.quadrants == 1]
    assert outer.quadrants[np.isin(outer.origin, corners)].tolist() == [2] * 4
    layout = plan_layout(surface, np.full(len(surface.positions), SIZE))
    (square,) = [p for p in layout.patches if p.region == 1]
    assert sorted(square.origin[square.boundary[list(square.corners)]].tolist()) == sorted(corners.tolist())


def leaf() -> RegionSurface:
    """A disc with a leaf in its middle, both tips of which turn by 103 degrees, and a ring round it."""
    points, faces = flat_disc(40)
    reach = np.hypot(points[:, 0], points[:, 1])
    share = np.minimum(np.abs(points[:, 0]) / 0.5, 1.0)
    flat = 0.4 * np.sqrt(1.0 - share**2)  # makes two parabolas of a circle of radius 0.5
    beyond = np.clip((reach - 0.5) / 0.25, 0.0, 1.0)
    middle = middles(points, faces)
    points[:, 1] *= (1.0 - beyond) * np.maximum(flat, 0.05) + beyond
    return painted((points, faces), np.digitize(np.hypot(middle[:, 0], middle[:, 1]), [0.5, 0.8]))


def test_a_ring_keeps_its_loops_round_a_leaf_with_two_tips() -> None:
    # common practice, no source: loops run on round the corners of a mouth or an eye
    surface = leaf()
    chains = trace_chains(constrained_edges(surface), set(), len(surface.positions))
    found = find_bends(surface, chains, np.full(len(surface.positions), 0.06))
    assert np.abs(surface.positions[found][:, 0]) == pytest.approx([0.5, 0.5], abs=0.02)
    assert corner_bends(surface, constrained_edges(surface), found) == []


def half_of(surface: RegionSurface) -> RegionSurface:
    """The half of a surface beyond the plane x = 0, to which its triangles run up."""
    keep = middles(surface.positions, surface.triangles)[:, 0] > 0.0
    points, faces = compact(surface.positions, surface.triangles, keep)
    points[np.abs(points[:, 0]) < 1e-9, 0] = 0.0
    return painted((points, faces), surface.triangle_region[keep], mirror=X_PLANE)


def test_the_half_of_a_square_at_the_mirror_plane_has_two_corners() -> None:
    # with their images they are four, as a square has; the bends of the half leaf below are its two tips
    points = NET[0] - np.array([1.0, 1.0, 0.0])
    surface = half_of(painted((points, NET[1]), SQUARE))
    assert surface.positions[bends_of(surface)] == pytest.approx(np.array([[0.6, y, 0.0] for y in (-0.6, 0.6)]))


def test_the_tip_of_a_half_leaf_is_the_end_of_a_slit() -> None:
    surface = half_of(leaf())
    chains = trace_chains(constrained_edges(surface), set(), len(surface.positions))
    found = find_bends(surface, chains, np.full(len(surface.positions), 0.06))
    assert surface.positions[found][:, 0] == pytest.approx([0.5], abs=0.02)
    assert corner_bends(surface, constrained_edges(surface), found) == []


def test_a_step_shorter_than_an_edge_has_none() -> None:
    # over one edge length it turns by some 79 degrees, but over two by 35 at most
    surface = painted(NET, (Y > np.where(X > 0.0, 0.1, 0.0)).astype(int))
    assert bends_of(surface) == []
