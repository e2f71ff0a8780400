"""Name a smallest set of pins that clash, and where one pin alone does, the counts next to it that can be had."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NoReturn

import numpy as np

from loopwright.counts.count_options import CountOptions
from loopwright.counts.count_program import SumPin, build_program, most_count
from loopwright.errors import ConvergenceError, InfeasibleError, TightBudgetError
from loopwright.layout.types import Layout
from loopwright.types import FloatArray

_FINEST = 16.0  # factor on wished counts, or on the root of the budget, up to which one is sought that lets pins be met
_ALL = 45.0  # the same from the smallest budget to the largest: the root of 2,000
_HALVINGS = 6  # of the range in which it is sought: to within 5 %
_GAP = 0.5  # any solution will do
_FAR_PRICE = 1e4  # of a segment off the pin: well above all that a layout can cost


def explain_clash(layout: Layout, targets: FloatArray, pins: tuple[SumPin, ...], opt: CountOptions) -> NoReturn:
    """Raise the error that names a smallest set of pins that clash.

    Raises
    ------
    InfeasibleError : always; TightBudgetError where the pins could be met were more segments wished for everywhere.
    """

    def is_met(kept: list[SumPin]) -> bool:
        program = build_program(layout, targets, pins=tuple(kept), options=opt)
        try:
            return program.program.solve(nodes=opt.nodes, gap=_GAP) is not None
        except ConvergenceError:
            return True  # not shown to clash

    if not pins or not is_met([]):
        raise InfeasibleError(
            "No set of segment counts fits this layout; a smaller edge length (a larger budget) frees it."
        )
    kept = list(pins)
    for pin in pins:
        rest = [p for p in kept if p is not pin]
        if not is_met(rest):
            kept = rest
    places = list(dict.fromkeys(p.name for p in kept))
    finer = _least_finer(layout, targets, pins, opt)
    if len(kept) == 1:
        what, way = f"The pin {kept[0].wish} cannot be met", _explain_one(layout, targets, kept[0], pins, opt)
    else:
        step = "one (by two where its border crosses the mirror plane)" if any(p.copies > 1 for p in kept) else "one"
        names = ", ".join(dict.fromkeys(p.wish for p in kept))
        what, way = f"The pins {names} cannot be met together", f"change one of them by {step}, or remove one"
    if finer is None and any(_is_beyond_all(targets, pin) for pin in kept):
        finer = math.inf
    if finer is not None:
        raise TightBudgetError(what, way, finer**2, places=places)
    raise InfeasibleError(f"{what}: {way}.", places=places, about="pins")


def _least_finer(layout: Layout, targets: FloatArray, pins: tuple[SumPin, ...], opt: CountOptions) -> float | None:
    """Return about the least factor on all wished counts with which the pins can be met; None if none helps."""

    def is_met(finer: float) -> bool:
        program = build_program(layout, finer * targets, pins=pins, options=opt)
        try:
            return program.program.solve(nodes=opt.nodes, gap=_GAP) is not None
        except ConvergenceError:
            return False  # not shown to fit

    low, high = 1.0, _FINEST
    if not is_met(high):
        low, high = _FINEST, _ALL
        if not is_met(high):
            return None
    for _ in range(_HALVINGS):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if is_met(middle) else (middle, high)
    return high


def _is_beyond_all(targets: FloatArray, pin: SumPin) -> bool:
    """Tell whether a pin asks for more than its arcs can have with the largest budget, whatever their neighbours have.

    That is by the lengths of edges in this layout; another budget may give another.
    """
    return pin.count > sum(most_count(_ALL * target) for target in targets[list(pin.arcs)].tolist())


def _explain_one(layout: Layout, targets: FloatArray, pin: SumPin, pins: tuple[SumPin, ...], opt: CountOptions) -> str:
    """Tell the counts next to a pin that clashes alone: beside the others, or without them where they forbid all."""
    others = tuple(p for p in pins if p.name != pin.name)
    for kept, which in ((others, "the nearest that can be had"), ((), "without the other pins, the nearest")):
        sides = (nearest_count(layout, targets, pin, kept, opt, way) for way in (-1, 1))
        near = " and ".join(str(count * pin.copies) for count in sides if count is not None)
        if near:
            return f"{which} {'are' if ' and ' in near else 'is'} {near}"
        if not others:
            break
    return "remove it"


def nearest_count(
    layout: Layout, targets: FloatArray, pin: SumPin, others: tuple[SumPin, ...], opt: CountOptions, way: int
) -> int | None:
    """Return the count next to the pinned one that the rest allows, below it (``way`` -1) or above it (1).

    None if none was found.
    """
    counts = build_program(layout, targets, pins=others, options=opt)
    program, columns = counts.program, counts.arcs[list(pin.arcs)]
    off = program.real(_FAR_PRICE)
    program.add_row(np.append(columns, off), np.append(np.ones(len(columns)), -float(way)), pin.count, pin.count)
    program.add_row(np.array([off]), np.ones(1), 1.0, np.inf)
    try:
        solved = program.solve(nodes=opt.nodes, gap=1e-4)
    except ConvergenceError:
        return None
    return None if solved is None else round(float(solved.values[columns].sum()))


def next_count(
    layout: Layout, targets: FloatArray, pin: SumPin, others: tuple[SumPin, ...], opt: CountOptions, way: int
) -> int | None:
    """Return what :func:`nearest_count` does, at less cost where the very next count can be had."""
    beside = replace(pin, count=pin.count + way)
    program = build_program(layout, targets, pins=(*others, beside), options=opt)
    try:
        if program.program.solve(nodes=opt.nodes, gap=_GAP) is not None:
            return beside.count
    except ConvergenceError:
        return None
    return nearest_count(layout, targets, pin, others, opt, way)
