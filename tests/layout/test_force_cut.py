"""Pieces too thin for a way along the crosses: cut all the same, on finer triangles or by the shortest way."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import link

from loopwright.errors import InternalError
from loopwright.layout import cut_once
from loopwright.layout.force_cut import refine_piece, shortest_graph
from loopwright.layout.judge_cuts import is_patch
from loopwright.layout.make_cut import Growing
from loopwright.layout.piece import Piece
from loopwright.layout.split_patches import split_piece
from loopwright.layout.trace_cuts import trace_from
from loopwright.surface.proxy import surface_area
from loopwright.types import FloatArray


def crescent(length: int) -> tuple[Piece, FloatArray]:
    """A strip of one square across that ends in a tip; its corners are at the other end, so cuts have to run along.

    It bends by a quarter turn, up to its tip.
    """
    angle = np.linspace(0, np.pi / 2, length)
    radii = np.array([10.0, 10.5])[:, None]
    points = np.stack([radii * np.cos(angle), radii * np.sin(angle), 0 * radii * angle], axis=2).reshape(-1, 3)
    middle = points[[0, length]].mean(axis=0)
    tip = np.array([[-0.3, 10.25, 0.0]])
    low, high = np.arange(length), np.arange(length, 2 * length)
    at_end, at_tip = 2 * length, 2 * length + 1
    squares = [
        row
        for a, b, c, d in zip(low[1:-1], high[1:-1], high[2:], low[2:], strict=True)
        for row in ((a, b, c), (a, c, d))
    ]
    first = [(at_end, length, length + 1), (at_end, length + 1, 1), (0, at_end, 1)]
    triangles = np.array([*first, *squares, (length - 1, 2 * length - 1, at_tip)], np.int32)
    quadrants = np.full(2 * length + 2, 2, np.int32)
    quadrants[[0, length]] = 1
    positions = np.concatenate([points, middle[None], tip])
    return Piece(triangles, np.arange(len(positions), dtype=np.int32), quadrants, 0), positions


@pytest.mark.parametrize("length", [4, 9, 30])
def test_a_thin_piece_is_cut_into_patches(length: int) -> None:
    piece, points = crescent(length)
    assert (piece.euler, piece.index_sum, int((piece.quadrants == 0).sum())) == (1, 2, 0)
    surface = Growing(points, {0, length})
    parts = split_piece(piece, surface, 0.5)
    assert all(is_patch(part) for part in parts)
    area = sum(surface_area(surface.positions[part.origin], part.triangles) for part in parts)
    assert area == pytest.approx(surface_area(points, piece.triangles))


def test_trials_make_no_such_cuts() -> None:
    piece, points = crescent(9)
    with pytest.raises(InternalError, match="No cut was found"):
        split_piece(piece, Growing(points, {0, 9}), 0.5, is_trial=True)


def test_the_shortest_way_does_where_the_crosses_find_none_on_finer_triangles_either(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(cut_once, "_along_crosses", lambda *_: None)
    piece, points = crescent(9)
    assert all(is_patch(part) for part in split_piece(piece, Growing(points, {0, 9}), 0.5))


def test_a_refined_piece_keeps_its_boundary_and_its_area() -> None:
    piece, points = crescent(9)
    surface = Growing(points, set())
    finer = refine_piece(piece, surface)
    assert np.array_equal(finer.loops[0], piece.loops[0])
    assert (finer.euler, finer.index_sum) == (piece.euler, piece.index_sum)
    assert link(finer.triangles, len(finer.origin)).components == 1
    places = surface.positions[finer.origin]
    assert surface_area(places, finer.triangles) == pytest.approx(surface_area(points, piece.triangles))


def test_shortest_ways_reach_every_arm_of_the_boundary_and_no_way_runs_straight_across() -> None:
    piece, points = crescent(9)
    surface = Growing(points, set())
    finer = refine_piece(piece, surface)
    graph = shortest_graph(finer, surface.positions[finer.origin])
    cuts, _ = trace_from(graph, [(18, 1)])
    assert set(cuts.end.tolist()) == set(np.flatnonzero(finer.quadrants == 2).tolist()) - {18}
    coarse, _ = trace_from(shortest_graph(piece, points), [(18, 1)])
    assert len(coarse) == 0
