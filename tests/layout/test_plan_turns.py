"""Planned turns: junctions read as a modeller reads them, poles that add up, rings that stay whole."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scipy.optimize import OptimizeResult
from tests.conftest import EDGE, SURFACES, link, surface_of

from loopwright.errors import ConvergenceError, InfeasibleError
from loopwright.layout.border_graph import constrained_edges, node_mask, trace_chains
from loopwright.layout.piece import Piece
from loopwright.layout.plan_pieces import plan_pieces
from loopwright.layout.plan_turns import NodeRule, ShortSide, TurnOptions, Wedge, plan_turns
from loopwright.layout.uneven_corners import DiscSides

INNER, RIM, MIRROR = NodeRule(3, 5, 4), NodeRule(1, 4, 2), NodeRule(2, 2, 2)
SQUARE, TURN = np.pi / 2, np.pi


def junction(angles: Sequence[float], rule: NodeRule = INNER) -> list[int]:
    """One node whose wedges all belong to one piece with room for any poles."""
    wedges = [Wedge(0, 0, a) for a in angles]
    quads = plan_turns(wedges, {0: rule}, [1], options=TurnOptions(inner_pole=0.0))
    return [int(k) for k in quads]


def planned(name: str) -> list[Piece]:
    surface = surface_of(name)
    constrained = constrained_edges(surface)
    chains = trace_chains(constrained, set(), len(surface.positions))
    return plan_pieces(surface, constrained, chains, np.full(len(surface.positions), EDGE), TurnOptions())


def test_square_crossing() -> None:
    assert junction([SQUARE] * 4) == [1, 1, 1, 1]


def test_tee() -> None:
    assert junction([SQUARE, SQUARE, TURN]) == [1, 1, 2]
    assert junction([1.2 * SQUARE, 0.9 * SQUARE, 1.9 * SQUARE]) == [1, 1, 2]


def test_one_region_straight_past_a_node_and_its_corner() -> None:
    assert junction([TURN, TURN]) == [2, 2]
    assert junction([SQUARE, 3 * SQUARE]) == [1, 3]


def test_five_wedges_become_a_pole_of_five() -> None:
    # common practice, no source: a junction of more than four regions is a pole
    assert junction([2 * np.pi / 5] * 5) == [1] * 5


def test_three_equal_wedges_become_a_pole_where_poles_inside_cost_as_much() -> None:
    # common practice, no source: a junction of three painted regions becomes a pole of three
    wedges = [Wedge(node, face, 2 * np.pi / 3) for node, faces in enumerate(CUBE) for face in faces]
    quads = plan_turns(wedges, dict.fromkeys(range(8), INNER), [1] * 6)
    assert (quads == 1).all()


# the faces of a cube that meet at each of its corners
CUBE = [(x, y, z) for x in (0, 1) for y in (2, 3) for z in (4, 5)]


def test_the_whole_has_valence_four_in_the_mirror_plane() -> None:
    assert junction([TURN], MIRROR) == [2]
    assert junction([0.7 * TURN, 0.3 * TURN], MIRROR) == [1, 1]
    assert junction([0.9 * TURN, 0.1 * TURN], MIRROR) == [1, 1]


def test_rims_turn_or_run_straight() -> None:
    assert junction([TURN], RIM) == [2]
    assert junction([SQUARE], RIM) == [1]
    assert junction([3 * SQUARE], RIM) == [3]
    assert junction([SQUARE, SQUARE], RIM) == [1, 1]


def test_the_ends_of_a_short_arc_are_not_both_corners() -> None:
    wedges = [Wedge(0, 0, SQUARE), Wedge(0, 1, 3 * SQUARE), Wedge(1, 0, SQUARE), Wedge(1, 1, 3 * SQUARE)]
    rules = {0: INNER, 1: INNER}
    assert plan_turns(wedges, rules, [1, 1]).tolist() == [1, 3, 1, 3]
    quads = plan_turns(wedges, rules, [1, 1], short_sides=[ShortSide(0, 2, 1.0)])
    assert sorted([int(quads[0]), int(quads[2])]) != [1, 1]


def test_rings_keep_straight_sides() -> None:
    bent = 1.45 * SQUARE  # nearer to a corner than to straight on
    wedges = [Wedge(0, 0, bent, is_ring_side=True), Wedge(0, 1, 4 * SQUARE - bent)]
    assert plan_turns(wedges, {0: INNER}, [0, 1]).tolist() == [2, 2]
    loose = [Wedge(0, 0, bent), Wedge(0, 1, 4 * SQUARE - bent)]
    free = plan_turns(loose, {0: INNER}, [1, 1], options=TurnOptions(inner_pole=0.0))
    assert free.tolist() == [1, 3]


def test_a_region_round_others_with_many_notches_is_no_ring() -> None:
    # common practice, no source: where a region runs into a notch between two others it has a corner
    notch = 0.75 * SQUARE
    wedges = [
        w for node in range(4) for w in (Wedge(node, 0, notch, is_ring_side=True), Wedge(node, 1, 4 * SQUARE - notch))
    ]
    one, four = wedges[:2], wedges
    assert plan_turns(one, {0: INNER}, [0, 1])[0] == 2
    assert plan_turns(four, dict.fromkeys(range(4), INNER), [0, 1])[::2].tolist() == [1] * 4


def test_nothing_asked_nothing_planned() -> None:
    assert len(plan_turns([], {}, [])) == 0


def test_a_rule_that_nothing_meets_is_told() -> None:
    with pytest.raises(InfeasibleError, match="move junctions"):
        plan_turns([Wedge(0, 0, TURN)], {0: NodeRule(5, 9, 5)}, [1])


def test_only_the_number_of_branches_bounds_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan must not depend on how fast the machine is; giving up is not the user's fault."""
    from loopwright.numerics import integer_program

    asked: list[dict[str, float]] = []

    def give_up(*_: object, options: dict[str, float], **__: object) -> OptimizeResult:
        asked.append(options)
        return OptimizeResult(x=None, fun=None, status=4)

    monkeypatch.setattr(integer_program, "milp", give_up)
    with pytest.raises(ConvergenceError, match="within 7 branches"):
        plan_turns([Wedge(0, 0, TURN), Wedge(0, 1, TURN)], {0: INNER}, [1, 1], options=TurnOptions(branches=7))
    assert asked[0]["node_limit"] == 7 and "time_limit" not in asked[0]


def test_octants_of_a_sphere() -> None:
    pieces = planned("sphere in octants")
    # eight triangles with square corners; six crossings; one pole of three inside each octant (4 - 3 = 1)
    assert [int((p.quadrants == 1).sum()) for p in pieces] == [3] * 8
    assert [p.index_sum for p in pieces] == [1] * 8


def test_faces_of_a_cube() -> None:
    pieces = planned("cube")
    # six plain squares; the eight junctions of three are the poles
    assert [int((p.quadrants == 1).sum()) for p in pieces] == [4] * 6
    assert [p.index_sum for p in pieces] == [0] * 6


@pytest.mark.parametrize("name", ["sphere in rings", "half tube at a mirror"])
def test_painted_rings_are_told(name: str) -> None:
    rings = [p for p in planned(name) if p.is_ring]
    assert len(rings) == 3
    assert all(p.index_sum == 0 for p in rings)


@pytest.mark.parametrize("name", [n for n in SURFACES if not n.startswith("plain")])
def test_the_plan_keeps_the_index_law(name: str) -> None:
    """Sum over the nodes of (4 - quads) or (2 - quads) + poles inside the pieces = 4 chi (derived)."""
    surface = surface_of(name)
    count = len(surface.positions)
    links = link(surface.triangles, count)
    pieces = planned(name)
    quads = np.zeros(count, np.int64)
    for piece in pieces:
        np.add.at(quads, piece.origin, piece.quadrants)
    marked = quads > 0
    at_nodes = np.where(links.is_rim, 2, 4)[marked] - quads[marked]
    assert at_nodes.sum() + sum(p.index_sum for p in pieces) == 4 * links.euler
    # only junctions turn
    constrained = constrained_edges(surface)
    assert (at_nodes[~node_mask(constrained, count)[marked]] == 0).all()
    in_plane = surface.on_mirror & marked & ~_at_rim(surface_of(name).on_mirror, links.is_rim, surface.triangles)
    assert (quads[in_plane] == 2).all()


def _at_rim(on_mirror: np.ndarray, is_rim: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Vertices in the plane that also touch a boundary edge outside it."""
    tail, head = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    count = len(is_rim)
    open_edge = ~np.isin(tail.astype(np.int64) * count + head, head.astype(np.int64) * count + tail)
    outside = open_edge & ~(on_mirror[tail] & on_mirror[head])
    out = np.zeros(count, bool)
    out[tail[outside]] = out[head[outside]] = True
    return out


def test_a_corner_at_the_end_of_a_strip_wins_over_a_little_sharper_one_amid_its_side() -> None:
    strip = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [10.0, 2.0, 0.0], [5.0, 2.0, 0.0], [0.0, 2.0, 0.0]])
    angles = np.radians([90.0, 90.0, 138.0, 134.0, 90.0])
    wedges = [Wedge(node, 0, float(angle)) for node, angle in enumerate(angles)]
    rules = dict.fromkeys(range(5), RIM)
    lengths = np.linalg.norm(np.roll(strip, -1, axis=0) - strip, axis=1)
    disc = DiscSides(np.arange(5, dtype=np.int32), lengths, strip)
    options = TurnOptions(inner_pole=1.0)  # four corners rather than three
    assert plan_turns(wedges, rules, [1], options=options).tolist() == [1, 1, 2, 1, 1]
    assert plan_turns(wedges, rules, [1], discs=[disc], options=options).tolist() == [1, 1, 1, 2, 1]
