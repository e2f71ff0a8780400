"""The integer program over the segment counts of all arcs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from loopwright.counts.count_options import CountOptions
from loopwright.counts.measure_faces import face_gradient
from loopwright.counts.program_rows import (
    LEAST_UNIT,
    add_loop_rows,
    add_patch_rows,
    add_rim_rows,
    add_ring_rows,
    add_square_rows,
    sides_at_rim,
)
from loopwright.layout.types import Layout
from loopwright.numerics.integer_program import IntegerProgram
from loopwright.types import FloatArray, IntArray

_MOST = 2.5  # of its target that a count may be, and a few segments more
_WHOLE = 1e-6  # counts nearer than this to a whole number are that number
# (price per segment, width of the band as a share of the target): the derivative of t log(n/t)^2, band by band
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
        sides = [arcs[[a for a, _ in side]].tolist() for side in patch.sides]
        longest = [float(sum(limits[a] for a, _ in side)) for side in patch.sides]
        is_at_opening = any(sides_at_rim(layout, patch))
        share = opt.sector if patch.is_sector and not is_at_opening else 1.0
        price = opt.extra_pole * extra * opt.region_poles.get(patch.region, 1.0) * share
        if patch.is_ring or (patch.is_sector and is_at_opening):
            price = opt.ring_poles
        wished = [float(sum(targets[a] for a, _ in side)) for side in patch.sides]
        loose.append(add_patch_rows(program, sides, longest, wished, price, opt, unlike=share))
        add_ring_rows(program, layout, patch, sides, wished, opt)
        add_square_rows(program, sides, wished, opt)
    add_rim_rows(program, layout, arcs, opt)
    add_loop_rows(program, layout, arcs)
    for pin in pins:
        program.add_terms(pin.count, pin.count, (arcs[list(pin.arcs)].tolist(), 1.0))
    if goal is not None:
        gradient = face_gradient(layout, goal.counts)
        constant = goal.faces - float(gradient @ goal.counts)
        short, over = program.real(opt.off_budget), program.real(opt.off_budget)
        program.add_row(np.append(arcs, short), np.append(gradient, 1.0), goal.least - constant, np.inf)
        program.add_row(np.append(arcs, over), np.append(gradient, -1.0), -np.inf, goal.most - constant)
    again = partial(build_program, layout, targets, pins=pins, goal=goal, loose_poles=loose_poles, options=options)
    return CountProgram(program, arcs, np.array(loose, np.int32), lambda counts: again(between=counts))


def _arc_column(program: IntegerProgram, target: float) -> int:
    """An arc's count; its price follows t log(n/t)^2 for target t, in slopes that keep it convex."""
    column = program.integer(0.0, 1.0, most_count(target))
    unit = max(target, LEAST_UNIT)
    above = [program.real(slope, width * unit) for slope, width in _ABOVE]
    below = [program.real(slope, width * unit) for slope, width in _BELOW]
    program.add_terms(target, target, ([column], 1.0), (above, -1.0), (below, 1.0))
    return column


def most_count(target: float) -> float:
    """Return the most segments that an arc may have."""
    return float(np.ceil(_MOST * target + 4))


def arc_price(target: float, count: float) -> float:
    """Return the price of an arc's count."""
    left, price = abs(count - target), 0.0
    for slope, width in _ABOVE if count > target else _BELOW:
        part = min(left, width * max(target, LEAST_UNIT))
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
