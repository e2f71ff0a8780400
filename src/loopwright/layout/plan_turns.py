"""Choose at every junction how many quads each region gets: corners and poles are planned.

At a node every wedge (one region's share of the surroundings) gets k = 1, 2
or 3 quads: 1 is a corner, 2 straight on, 3 re-entrant.  The valence of the
node is the sum.  All k are chosen together by a small integer program: near
the measured angles, valence 4 where that costs little, and few poles inside
the regions, whose index sum is 4 chi - sum of (2 - k).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from loopwright.errors import ConvergenceError, InfeasibleError
from loopwright.layout.uneven_corners import DiscSides, uneven_choices
from loopwright.numerics.integer_program import IntegerProgram
from loopwright.types import FloatArray, IntArray

_GAP = 1e-4  # relative gap to the best plan at which the search may stop


@dataclass(frozen=True)
class TurnOptions:
    """Weights of the plan.

    node_pole : price of a junction that becomes a pole.
    inner_pole : price of one pole that the plan forces inside a region.
    bend : price of making a corner where no junction is.
    tip : the same at a corner of a round tip (see :func:`~loopwright.layout.find_tips.find_tips`).
    broken_ring : price of a ring that gets corners at junctions on its sides, however many.
    bent_ring : price of a corner on the side of a ring at a bend.
    short_side : price of two corners at the ends of an arc much shorter than an edge.
    uneven : price of corners that make a disc a patch of sides that do not suit one another, for each factor of e
        beyond ``fair`` and up to ``most_uneven`` (see :func:`~loopwright.layout.uneven_corners.uneven_choices`).
    both : by region index, how much it adds to that that the other pair of four sides is unlike too; 0 if not given.
    region_poles : price of one pole forced inside a piece of a region, by region index, where it is not ``inner_pole``.
    branches : how many branches the program may look at; the best plan by then is used.
    """

    node_pole: float = 0.25
    inner_pole: float = 0.2
    bend: float = 0.4
    tip: float = 0.0
    broken_ring: float = 2.0
    bent_ring: float = 0.4
    short_side: float = 4.0
    uneven: float = 0.6
    fair: float = 0.7
    most_uneven: float = 2.5
    both: Mapping[int, float] = field(default_factory=dict)
    region_poles: Mapping[int, float] = field(default_factory=dict)
    branches: int = 5000


@dataclass(frozen=True)
class Wedge:
    """One region's share of the surroundings of a node: the piece, the node, the angle in radians.

    ``is_ring_side``: the piece is a ring and the wedge does not touch the
    mirror plane, so that straight on keeps the ring whole.
    """

    node: int
    piece: int
    angle: float
    is_ring_side: bool = False


@dataclass(frozen=True)
class NodeRule:
    """How many quads may meet at a node, and the wished number.

    Interior nodes: 3 to 5, wished 4.  On a rim: 1 to 3, wished 2.  In the
    mirror plane: 2 exactly, so that the whole mesh has valence 4 there; 1
    where the plane meets a rim.  Loops run on round a bend of a border: a wedge
    there gets two quads at most, and no less gladly at the tip of a tongue.
    """

    least: int
    most: int
    wished: int
    is_bend: bool = False
    most_each: int = 4
    is_tip: bool = False


@dataclass(frozen=True)
class ShortSide:
    """Two wedges of one piece at the ends of a short arc, and how short it is: 0 (an edge or two) to 1 (no length)."""

    first: int
    second: int
    shortness: float


def plan_turns(
    wedges: list[Wedge],
    rules: dict[int, NodeRule],
    piece_euler: list[int],
    *,
    short_sides: Sequence[ShortSide] = (),
    discs: Sequence[DiscSides] = (),
    piece_prices: Sequence[float] | None = None,
    options: TurnOptions | None = None,
) -> IntArray:
    """Return (len(wedges),) quads per wedge.

    Parameters
    ----------
    discs : the pieces that are discs, of which some choices of corners make poor patches.
    piece_prices : price of one inner pole for each piece; ``options.inner_pole`` if not given.

    Raises
    ------
    InfeasibleError : where a node's rule cannot be met.
    ConvergenceError : no plan was found within ``options.branches``.
    """
    opt = options or TurnOptions()
    if not wedges:
        return np.zeros(0, np.int32)
    choices = (1, 2, 3, 4)
    program = IntegerProgram()

    def choice(wedge: Wedge, quads: int) -> int:
        rule = rules[wedge.node]
        return program.integer(_turn_cost(wedge, quads, rule, opt), 0.0, float(quads <= rule.most_each))

    pick = np.array([[choice(wedge, quads) for quads in choices] for wedge in wedges])
    for row in pick:
        program.add_row(row, np.ones(4), 1.0, 1.0)
    nodes = sorted({w.node for w in wedges})
    for node in nodes:
        rule = rules[node]
        mine = [i for i, w in enumerate(wedges) if w.node == node]
        columns = pick[mine].reshape(-1)
        quads = np.tile(choices, len(mine)).astype(float)
        least, most = max(rule.least, len(mine)), max(rule.most, len(mine))
        program.add_row(columns, quads, least, most)
        off = program.real(opt.node_pole)
        program.add_row(np.append(columns, off), np.append(quads, -1.0), -np.inf, rule.wished)
        program.add_row(np.append(columns, off), np.append(quads, 1.0), rule.wished, np.inf)
    for pair in short_sides:
        both = program.real(opt.short_side * pair.shortness)
        columns = np.array([pick[pair.first, 0], pick[pair.second, 0], both])
        program.add_row(columns, np.array([1.0, 1.0, -1.0]), -np.inf, 1.0)
    met = Counter(wedge.node for wedge in wedges)
    for disc in discs:
        forced = [rules[wedges[i].node].most <= met[wedges[i].node] for i in disc.wedges]  # in the mirror plane
        angles = np.where(forced, np.pi / 2, [wedges[i].angle for i in disc.wedges])
        for is_corner, uneven in uneven_choices(disc, angles, opt.fair):
            made = program.real(opt.uneven * (min(uneven, opt.most_uneven) - opt.fair))
            columns = np.append(pick[disc.wedges, np.where(is_corner, 0, 1)], made)
            program.add_row(columns, np.append(np.ones(len(disc.wedges)), -1.0), -np.inf, len(disc.wedges) - 1.0)
    for piece, euler in enumerate(piece_euler):
        mine = [i for i, w in enumerate(wedges) if w.piece == piece]
        if not mine:
            continue
        at_junctions = [i for i in mine if wedges[i].is_ring_side and not rules[wedges[i].node].is_bend]
        if at_junctions:
            broken = program.real(opt.broken_ring)
            for i in at_junctions:
                program.add_row(np.append(pick[i], broken), np.array([1.0, 0.0, 1.0, 1.0, -1.0]), -np.inf, 0.0)
        columns = pick[mine].reshape(-1)
        turns = np.tile([2.0 - k for k in choices], len(mine))
        index = program.real(opt.inner_pole if piece_prices is None else piece_prices[piece])
        program.add_row(np.append(columns, index), np.append(turns, 1.0), 4 * euler, np.inf)
        program.add_row(np.append(columns, index), np.append(turns, -1.0), -np.inf, 4 * euler)
    chosen: IntArray = (_solve(program, opt.branches)[pick] > 0.5).argmax(axis=1).astype(np.int32) + np.int32(1)
    return chosen


def _solve(program: IntegerProgram, branches: int) -> FloatArray:
    try:
        solution = program.solve(nodes=branches, gap=_GAP)
    except ConvergenceError as error:
        raise ConvergenceError(
            f"No choice of corners was found within {branches} branches; fewer or plainer regions make it easier."
        ) from error
    if solution is None:
        raise InfeasibleError("No choice of corners fits all junctions; move junctions that lie on one another apart.")
    return solution.values


def _turn_cost(wedge: Wedge, quads: int, rule: NodeRule, opt: TurnOptions) -> float:
    off = abs(wedge.angle / (np.pi / 2) - quads)
    cost = min(off * off, 2.0 + 0.2 * off)
    if rule.is_bend and quads != 2:
        cost += opt.tip if rule.is_tip else opt.bend
    if wedge.is_ring_side and rule.is_bend and quads != 2:
        cost += opt.bent_ring
    return cost + (3.0 if quads == 4 else 0.0)
