"""The integer program over the segment counts of all arcs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from loopwright.counts.measure_faces import face_gradient, patch_faces
from loopwright.layout.types import Layout, Patch
from loopwright.numerics.integer_program import IntegerProgram
from loopwright.types import FloatArray, IntArray


@dataclass(frozen=True)
class CountOptions:
    """Weights of the program.

    extra_pole : price of one pole beyond the planned ones.
    ring_poles : price of a ring that cannot be a stack of closed loops.
    uneven : price per segment that opposite sides differ.
    thin : price of a pole, or a strip, that is only one row away from a side.
    rim_segments : least number of segments round an opening.
    bare_rim : price of each segment that an opening lacks to that number.
    short_rim : price per segment that an opening lacks; well above what a segment more than wished costs.
    ring_rows : least number of rows of a ring at an opening.
    few_rows : price of each row that such a ring lacks, for each of its sides.
    oblong : price per face of a patch, for each of its corners (their mean), of how far two sides' counts, as shares
        of what they wish, are apart beyond ``least_oblong``.
    off_budget : price of each face more or less than the budget's tolerance allows.
    gap : relative gap at which a solve may stop.
    region_poles : factor on ``extra_pole`` by region index.
    nodes : branches that one solve may look at; the best solution by then is used.
    open_arcs : layouts of more arcs get counts rounded from the relaxed program's, which is much faster.
    """

    extra_pole: float = 2.5
    ring_poles: float = 30.0
    uneven: float = 0.1
    thin: float = 0.8
    rim_segments: int = 12
    bare_rim: float = 20.0
    short_rim: float = 8.0
    ring_rows: int = 3
    few_rows: float = 3.0
    off_budget: float = 1.0
    gap: float = 0.01
    oblong: float = 0.2
    least_oblong: float = 0.25
    nodes: int = 2000
    open_arcs: int = 60
    region_poles: Mapping[int, float] = field(default_factory=dict)


# (price per segment, width of the band as a share of the target): the derivative of t log(n/t)^2, band by band
_MOST = 2.5
_LEAST_UNIT = 2.0  # the least target whose share a band's width is
_WHOLE = 1e-6  # counts nearer than this to a whole number are that number
_ABOVE = ((0.1, 0.1), (0.35, 0.2), (0.55, 0.3), (2.0, np.inf))
_BELOW = ((0.12, 0.1), (0.5, 0.15), (1.5, 0.2), (3.0, np.inf))


@dataclass(frozen=True)
class SumPin:
    """A wish of the artist: these arcs together have exactly ``count`` segments.

    On a border that the mirror plane cuts, each of them stands for two of the whole mesh (``copies``).
    """

    arcs: tuple[int, ...]
    count: int
    name: str
    copies: int = 1

    @property
    def wish(self) -> str:
        """The pin as it was asked for, such as ``lips/mouth=24``."""
        return f"{self.name}={self.count * self.copies}"


@dataclass(frozen=True)
class FaceGoal:
    """Bounds of the face number, linear about the counts, whole or not, of an earlier solve and their faces."""

    counts: IntArray | FloatArray
    faces: float
    least: float
    most: float


@dataclass(frozen=True)
class CountProgram:
    """The program, the column of each arc's count, and the column that makes each patch loose.

    ``rounding`` takes (arcs,) counts that are not whole to the program in which each is rounded up or down.
    """

    program: IntegerProgram
    arcs: IntArray
    loose: IntArray
    rounding: Callable[[FloatArray], CountProgram]


def build_program(
    layout: Layout,
    targets: FloatArray,
    *,
    pins: tuple[SumPin, ...] = (),
    goal: FaceGoal | None = None,
    loose_poles: IntArray | None = None,
    options: CountOptions | None = None,
    between: FloatArray | None = None,
) -> CountProgram:
    """Build the program.

    Parameters
    ----------
    targets : (arcs,) wished counts.
    loose_poles : (patches,) poles beyond the planned one that a patch gets where its
        sides do not fit it; 2 each if not given.
    between : (arcs,) counts, of which each is then rounded, up or down. With two choices for each arc its price is
        a line between them, which says the same in far fewer columns and rows.
    """
    opt = options or CountOptions()
    poles = np.full(len(layout.patches), 2) if loose_poles is None else loose_poles
    program = IntegerProgram()
    if between is None:
        arcs = np.array([_arc_column(program, t) for t in targets], np.int32)
    else:
        arcs = _rounded_columns(program, targets, between)
    limits = np.array([most_count(t) for t in targets])
    loose = []
    for patch, extra in zip(layout.patches, poles.tolist(), strict=True):
        sides = [arcs[[a for a, _ in side]] for side in patch.sides]
        longest = [float(sum(limits[a] for a, _ in side)) for side in patch.sides]
        price = opt.ring_poles if patch.is_ring else opt.extra_pole * extra * opt.region_poles.get(patch.region, 1.0)
        loose.append(_add_patch_rows(program, sides, longest, price, opt))
        _add_ring_rows(program, layout, patch, sides, opt)
        _add_square_rows(program, sides, [float(sum(targets[a] for a, _ in side)) for side in patch.sides], opt)
    _add_rim_rows(program, layout, arcs, opt)
    for pin in pins:
        program.add(arcs[list(pin.arcs)], np.ones(len(pin.arcs)), pin.count, pin.count)
    if goal is not None:
        gradient = face_gradient(layout, goal.counts)
        constant = goal.faces - float(gradient @ goal.counts)
        short, over = program.real(opt.off_budget), program.real(opt.off_budget)
        program.add(np.append(arcs, short), np.append(gradient, 1.0), goal.least - constant, np.inf)
        program.add(np.append(arcs, over), np.append(gradient, -1.0), -np.inf, goal.most - constant)
    again = partial(build_program, layout, targets, pins=pins, goal=goal, loose_poles=loose_poles, options=options)
    return CountProgram(program, arcs, np.array(loose, np.int32), lambda counts: again(between=counts))


def _arc_column(program: IntegerProgram, target: float) -> int:
    """An arc's count; its price follows t log(n/t)^2 for target t, in slopes that keep it convex."""
    column = program.integer(0.0, 1.0, most_count(target))
    unit = max(target, _LEAST_UNIT)
    above = [program.real(slope, width * unit) for slope, width in _ABOVE]
    below = [program.real(slope, width * unit) for slope, width in _BELOW]
    signs = np.array([1.0] + [-1.0] * len(above) + [1.0] * len(below))
    program.add(np.array([column, *above, *below]), signs, target, target)
    return column


def most_count(target: float) -> float:
    """Return the most segments that an arc may have."""
    return float(np.ceil(_MOST * target + 4))


def arc_price(target: float, count: float) -> float:
    """Return the price of an arc's count."""
    left, price = abs(count - target), 0.0
    for slope, width in _ABOVE if count > target else _BELOW:
        part = min(left, width * max(target, _LEAST_UNIT))
        left, price = left - part, price + slope * part
    return price


def _rounded_columns(program: IntegerProgram, targets: FloatArray, counts: FloatArray) -> IntArray:
    """Return a column for each arc's count that is rounded, up or down, from one that is not whole."""
    columns, total = [], 0.0
    for target, count in zip(targets.tolist(), counts.tolist(), strict=True):
        low, high = max(1.0, np.floor(count + _WHOLE)), min(most_count(target), np.ceil(count - _WHOLE))
        price = arc_price(target, low)
        slope = arc_price(target, high) - price if high > low else 0.0
        columns.append(program.integer(slope, low, high))
        total += price - slope * low
    program.integer(total, 1.0, 1.0)  # what the slopes leave out, so that prices are those of the whole program
    return np.array(columns, np.int32)


def _add_patch_rows(
    program: IntegerProgram, sides: list[IntArray], longest: list[float], price: float, opt: CountOptions
) -> int:
    """The fill conditions of one patch.

    An even boundary always; and unless the binary ``loose`` is paid for (``price``;
    ``longest`` bounds what it makes up for):
    opposite sides equal (4 sides), or the spokes of one pole all at least 1.
    2 s_i = e_(i+1) + e_(i-1) + e_i - e_(i+2) - e_(i-2) for five sides,
    2 s_k = e_i + e_j - e_k for three (solved from e_i = s_(i-1) + s_(i+1)).
    Returns the column ``loose``.
    """
    every = np.concatenate(sides)
    half = program.integer(0.0, 1.0, 1e5)
    program.add(np.append(every, half), np.append(np.ones(len(every)), -2.0), 0.0, 0.0)
    loose = program.integer(price, 0.0, 1.0)
    n = len(sides)
    for side in sides:
        single = program.real(opt.thin, 1.0)
        program.add(np.append(side, single), np.ones(len(side) + 1), 2.0, np.inf)
        # what no fill can do: a side of one edge but in a grid, and (to be safe) of two where poles are added
        least = 1.0 if n == 4 else 2.0
        program.add(np.append(side, loose), np.append(np.ones(len(side)), least - 3.0), least, np.inf)
    if n == 4:
        for i in range(2):
            columns = np.concatenate([sides[i], sides[i + 2]])
            signs = np.concatenate([np.ones(len(sides[i])), -np.ones(len(sides[i + 2]))])
            more, less = program.real(opt.uneven), program.real(opt.uneven)
            program.add(np.append(columns, [more, less]), np.append(signs, [-1.0, 1.0]), 0.0, 0.0)
            most = max(longest[i], longest[i + 2])
            program.add(np.array([more, less, loose]), np.array([1.0, 1.0, -most]), -np.inf, 0.0)
        return loose
    for i in range(n):
        parts: list[IntArray] = []
        weights: list[FloatArray] = []
        for j, side in enumerate(sides):
            far = min((j - i) % n, (i - j) % n)
            sign = (-1.0 if far == 0 else 1.0) if n == 3 else (-1.0 if far == 2 else 1.0)
            parts.append(side)
            weights.append(np.full(len(side), sign))
        tight = program.real(opt.thin, 2.0)
        missing = 4.0 + sum(longest[j] for j in range(n) if weights[j][0] < 0)
        every_column = np.concatenate([*parts, [tight, loose]])
        program.add(every_column, np.concatenate([*weights, [1.0, missing]]), 4.0, np.inf)
    return loose


def _add_ring_rows(
    program: IntegerProgram, layout: Layout, patch: Patch, sides: list[IntArray], opt: CountOptions
) -> None:
    """A ring at an opening, such as a lid or a lip, gets at least ``ring_rows``: it has to bend."""
    if not patch.is_ring or len(sides) != 4:
        return
    at_rim = [any(layout.arcs[a].kind == "rim" for a, _ in side) for side in patch.sides]
    for i in range(4):
        if at_rim[i - 1] or at_rim[(i + 1) % 4]:
            lack = program.real(opt.few_rows)
            program.add(np.append(sides[i], lack), np.ones(len(sides[i]) + 1), opt.ring_rows, np.inf)


def _add_square_rows(program: IntegerProgram, sides: list[IntArray], wished: list[float], opt: CountOptions) -> None:
    """Corner by corner, the two sides get about the same share of what each wishes: quads are long where they do not.

    A side counts as wishing for two segments at least, so that a short one does not make its neighbours finer.

    Parameters
    ----------
    wished : of each side, its count before any rounding.
    """
    price = opt.oblong * patch_faces(wished) / len(sides)
    unit = [max(each, _LEAST_UNIT) for each in wished]
    for i, side in enumerate(sides):
        apart = program.real(price)
        columns = np.concatenate([side, sides[i - 1], [apart]])
        shares = np.repeat([1.0 / unit[i], -1.0 / unit[i - 1]], [len(side), len(sides[i - 1])])
        program.add(columns, np.append(shares, 1.0), -opt.least_oblong, np.inf)
        program.add(columns, np.append(shares, -1.0), -np.inf, opt.least_oblong)


def _add_rim_rows(program: IntegerProgram, layout: Layout, arcs: IntArray, opt: CountOptions) -> None:
    """Openings get at least ``rim_segments``; half of it where the mirror plane cuts the opening."""
    for loop, is_half in rim_loops(layout):
        least = opt.rim_segments // 2 if is_half else opt.rim_segments
        lack = program.real(opt.short_rim)
        program.add(np.append(arcs[loop], lack), np.ones(len(loop) + 1), least, np.inf)


def rim_loops(layout: Layout) -> list[tuple[list[int], bool]]:
    """Return the openings as lists of rim arcs, and whether each is cut by the mirror plane."""
    around: dict[int, list[int]] = {}
    for i, arc in enumerate(layout.arcs):
        if arc.kind == "rim":
            around.setdefault(int(arc.vertices[0]), []).append(i)
            around.setdefault(int(arc.vertices[-1]), []).append(i)
    left = {i for i, a in enumerate(layout.arcs) if a.kind == "rim"}
    loops = []
    while left:
        stack, found = [min(left)], set()
        while stack:
            i = stack.pop()
            if i in found:
                continue
            found.add(i)
            arc = layout.arcs[i]
            stack.extend(around[int(arc.vertices[0])] + around[int(arc.vertices[-1])])
        left -= found
        ends = [int(v) for i in found for v in (layout.arcs[i].vertices[0], layout.arcs[i].vertices[-1])]
        loops.append((sorted(found), bool(layout.on_mirror[ends].any())))
    return loops
