"""Rings whose loops differ are cut across where they are wide and narrow, and rows end in the sectors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.layout.test_measure_uneven import ACROSS, SIZE
from tests.layout.test_measure_uneven import ring as open_ring

from loopwright.layout.judge_cuts import is_patch
from loopwright.layout.make_cut import Growing
from loopwright.layout.measure_uneven import UnevenOptions
from loopwright.layout.piece import Piece
from loopwright.layout.quarter_ring import quarter_ring
from loopwright.numerics.norms import norms
from loopwright.surface.proxy import surface_area
from loopwright.types import FloatArray


def ring(seam: float, *, shift: float = 0.0) -> tuple[Piece, FloatArray]:
    """A flat ring from the unit circle to one of radius 2, whose both seams are one line of the surface."""
    piece, points = open_ring(seam, shift=shift)
    origin = piece.origin.copy()
    origin[-(ACROSS + 1) :] = origin[: ACROSS + 1]
    return replace(piece, origin=origin), points


def sectors_of(piece: Piece, points: FloatArray, quarter: float) -> tuple[list[Piece] | None, Growing]:
    (loop,) = piece.loops
    nodes = set(piece.origin[loop[piece.quadrants[loop] == 1]].tolist())
    surface = Growing(points, nodes)
    return quarter_ring(piece, surface, SIZE, UnevenOptions(quarter=quarter)), surface


def test_a_ring_far_off_its_middle_is_cut_where_it_is_wide_and_where_it_is_narrow() -> None:
    # cut open a quarter of a turn from both: its loops are a radius of 1 and one of 2, half a unit apart
    piece, points = ring(np.pi / 2, shift=0.5)
    sectors, surface = sectors_of(piece, points, 0.5)
    assert sectors is not None and len(sectors) == 3
    assert all(is_patch(each) and each.is_sector and not each.is_ring for each in sectors)
    assert {int((each.quadrants == 1).sum()) for each in sectors} == {4}
    lengths = sorted(norms(np.diff(surface.positions[chain[[0, -1]]], axis=0))[0] for chain in surface.cut_chains)
    assert lengths == pytest.approx([0.5, 1.5], rel=0.05)  # 2 - 1 - 0.5 and 2 - 1 + 0.5
    area = sum(surface_area(surface.positions[each.origin], each.triangles) for each in sectors)
    assert area == pytest.approx(surface_area(points, piece.triangles), rel=1e-9)


def test_a_round_ring_is_cut_in_quarters() -> None:
    piece, points = ring(0.3)
    sectors, surface = sectors_of(piece, points, 0.5)
    assert sectors is not None and len(sectors) == 4
    areas = [surface_area(surface.positions[each.origin], each.triangles) for each in sectors]
    assert areas == pytest.approx([3 * np.pi / 4] * 4, rel=0.05)


def test_loops_that_are_more_alike_stay_a_ring() -> None:
    piece, points = ring(0.3)
    sectors, surface = sectors_of(piece, points, 0.7)  # their lengths differ by log 2 = 0.693
    assert sectors is None and not surface.cut_chains


def test_half_a_ring_is_cut_once() -> None:
    piece, points = ring(0.0)
    keep = points[piece.triangles][:, :, 1].mean(axis=1) > 0
    used, local = np.unique(piece.triangles[keep], return_inverse=True)
    triangles, count = local.reshape(-1, 3).astype(np.int32), len(used)
    half = Piece(triangles, np.arange(count, dtype=np.int32), np.zeros(count, np.int32), 0)
    (loop,) = half.loops
    place = points[used]
    half.quadrants[loop] = 2
    at_plane = loop[np.abs(place[loop, 1]) < 1e-9]
    for side in (-1, 1):
        mine = at_plane[np.sign(place[at_plane, 0]) == side]
        half.quadrants[[mine[np.abs(place[mine, 0]).argmin()], mine[np.abs(place[mine, 0]).argmax()]]] = 1
    half = replace(half, is_ring=True)
    sectors, surface = sectors_of(half, place, 0.5)
    assert sectors is not None and len(sectors) == 2
    (chain,) = surface.cut_chains
    assert np.abs(surface.positions[chain[[0, -1]], 0]).max() < 0.15
