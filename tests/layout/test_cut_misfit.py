"""What a cut's parts will be like is known before it is made."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import EDGE, SURFACES, surface_of
from tests.layout.test_force_cut import crescent

from loopwright.layout.border_graph import constrained_edges, trace_chains
from loopwright.layout.cut_misfit import DiscSides, misfit, side_misfit
from loopwright.layout.find_bends import find_bends
from loopwright.layout.make_cut import Growing, apply_cut
from loopwright.layout.piece import Piece
from loopwright.layout.piece_graph import piece_graph
from loopwright.layout.plan_pieces import plan_pieces
from loopwright.layout.plan_turns import TurnOptions
from loopwright.layout.split_patches import split_piece
from loopwright.layout.trace_cuts import cut_steps, trace_from
from loopwright.types import FloatArray

NAMES = [name for name in SURFACES if not name.startswith("plain ")]  # those have no border to cut from


def discs(name: str) -> list[tuple[Piece, FloatArray]]:
    """The discs among the pieces of a surface, and the patches that the others are cut into."""
    surface = surface_of(name)
    constrained = constrained_edges(surface)
    sizes = np.full(len(surface.positions), EDGE)
    bends = find_bends(surface, trace_chains(constrained, set(), len(surface.positions)), sizes)
    chains = trace_chains(constrained, set(bends), len(surface.positions))
    found = []
    for piece in plan_pieces(surface, constrained, chains, sizes, TurnOptions(), bends=bends):
        growing = Growing(surface.positions, set())
        parts = [piece] if len(piece.loops) == 1 else split_piece(piece, growing, EDGE)
        found += [(part, growing.positions[part.origin]) for part in parts]
    return found


def misfits(piece: Piece, points: FloatArray) -> list[tuple[float, float]]:
    """What is foretold of some cuts of a piece, and what is found once they are made."""
    graph = piece_graph(piece, points, None, EDGE, drift_limit=np.radians(85.0))
    arms = [(v, j) for v in np.flatnonzero(piece.quadrants > 1).tolist() for j in range(1, int(piece.quadrants[v]))]
    cuts, before = trace_from(graph, arms[:: 1 + len(arms) // 12])
    sides, found = DiscSides(piece, points), []
    for k in range(0, len(cuts), 1 + len(cuts) // 40):
        steps = cut_steps(graph, cuts[k], before[cuts.row[k]])
        made = apply_cut(piece, points, graph, cuts[k], steps)
        if made is None:
            continue
        parts, fresh = made[0], made[1]
        at = np.concatenate([points, fresh])
        place = {v: i for i, v in enumerate(piece.origin.tolist())}
        if len(place) < len(points):
            continue  # one that meets itself: its vertices are not told apart by their origin
        rows = [[place[v] if v >= 0 else len(points) - v - 1 for v in p.origin.tolist()] for p in parts]
        after = sum(side_misfit(p, at[row], EDGE) for p, row in zip(parts, rows, strict=True))
        found.append((sides.misfit(cuts[k], float(graph.steps.length[steps].sum()), EDGE), after))
    return found


@pytest.mark.parametrize("name", NAMES)
def test_misfits_are_foretold(name: str) -> None:
    for piece, points in discs(name):
        for foretold, found in misfits(piece, points):
            assert foretold == pytest.approx(found, abs=1e-9)


def test_misfits_are_foretold_with_reentrant_corners() -> None:
    piece, points = crescent(9)
    both = misfits(piece, points)
    assert len(both) > 10
    for foretold, found in both:
        assert foretold == pytest.approx(found, abs=1e-9)


def test_there_is_something_to_foretell() -> None:
    both = [pair for name in NAMES for piece, points in discs(name) for pair in misfits(piece, points)]
    assert len(both) > 200 and sum(found > 0.1 for _, found in both) > 50


@pytest.mark.parametrize(
    ("sides", "off"),
    [((6, 4), 1), ((4, 7, 4, 7), 0), ((4, 7, 6, 8), 1.5), ((6, 6, 6), 0), ((2, 2, 9), 4.5), ((3,), 0), ((5,) * 6, 0)],
)
def test_misfits_by_hand(sides: tuple[float, ...], off: float) -> None:
    # a lens: half of what its sides differ by; three sides: what each spoke (a + b - c) / 2 lacks to two
    assert misfit(sides) == pytest.approx(off)
