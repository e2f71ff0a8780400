"""Name a smallest set of pins that clash, and where one pin alone does, the counts next to it that can be had."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import NoReturn, TypeAlias

import numpy as np

from loopwright.counts.count_options import CountOptions
from loopwright.counts.count_program import SumPin, build_program, most_count
from loopwright.errors import ConvergenceError, InfeasibleError, TightBudgetError
from loopwright.layout.types import Layout
from loopwright.types import FloatArray

Nearest: TypeAlias = Callable[[SumPin, tuple[SumPin, ...], int], int | None]
"""Takes a pin, the others and a way, -1 or 1, to the count next to the pinned one that can be had that way, if any."""

_FINEST = 16.0  # factor on wished counts, or on the root of the budget, up to which one is sought that lets pins be met
_ALL = 45.0  # the same from the smallest budget to the largest: the root of 2,000
_HALVINGS = 6  # of the range in which it is sought: to within 5 %
_GAP = 0.5  # any solution will do
_FEW = 3  # pins that clash, of each of which the counts that fit the others are told
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
        way, beside = _explain_one(layout, targets, kept[0], pins, opt)
        what = f"The pin {kept[0].wish} cannot be met"
        places += [name for name in beside if name not in places]
    else:
        names = ", ".join(dict.fromkeys(p.wish for p in kept))
        what, way = f"The pins {names} cannot be met together", _explain_some(layout, targets, kept, pins, opt)
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


def _explain_one(
    layout: Layout, targets: FloatArray, pin: SumPin, pins: tuple[SumPin, ...], opt: CountOptions
) -> tuple[str, list[str]]:
    """Tell the counts next to a pin that clashes alone: beside the others, or without them where they forbid all.

    Where others forbid a nearer count, the names of a smallest set that does are returned, too.
    """

    def nearest(asked: SumPin, beside: tuple[SumPin, ...], way: int) -> int | None:
        return nearest_count(layout, targets, asked, beside, opt, way)

    others = tuple(p for p in pins if p.name != pin.name)
    had = _both_ways(layout, targets, pin, others, opt)
    free = _both_ways(layout, targets, pin, (), opt) if others else []
    if not had:
        return (f"without the other pins, the nearest {_are(free, pin)}" if free else "remove it"), []
    told = f"the nearest that can be had {_are(had, pin)}"
    best = min(free, key=lambda count: abs(count - pin.count), default=had[0])
    if all(abs(count - pin.count) > abs(best - pin.count) for count in had):
        stays, goes = part_blocking(pin, others, best, nearest)
        freed = _both_ways(layout, targets, pin, tuple(stays), opt)
        if goes and freed:
            without = "it" if len(goes) == 1 else "them"
            told = f"beside {list_wishes(goes)} {told}; without {without} the nearest {_are(freed, pin)}"
            return told, [other.name for other in goes]
    return told, []


def _explain_some(
    layout: Layout, targets: FloatArray, kept: list[SumPin], pins: tuple[SumPin, ...], opt: CountOptions
) -> str:
    """Tell how pins that clash may be changed: of a few, the counts next to each that fit all other pins."""
    names = list(dict.fromkeys(pin.name for pin in kept))
    fits = []
    for pin in kept if len(names) == len(kept) <= _FEW else ():
        others = tuple(other for other in pins if other.name != pin.name)
        near = _both_ways(layout, targets, pin, others, opt)
        if near:
            fits.append(f"{pin.name}={' or '.join(str(count * pin.copies) for count in near)}")
    if fits:
        return f"change one of them ({', '.join(fits)} would fit the others), or remove one"
    return "change one of them, or remove one"


def _both_ways(
    layout: Layout, targets: FloatArray, pin: SumPin, others: tuple[SumPin, ...], opt: CountOptions
) -> list[int]:
    """Return the counts next to a pin's, below and above it, that can be had beside others."""
    sides = (nearest_count(layout, targets, pin, others, opt, way) for way in (-1, 1))
    return [count for count in sides if count is not None]


def _are(counts: list[int], pin: SumPin) -> str:
    return f"{'are' if len(counts) > 1 else 'is'} {' and '.join(str(count * pin.copies) for count in counts)}"


def list_wishes(pins: list[SumPin]) -> str:
    """Return pins in words, such as ``the pin lips/mouth=24``."""
    names = list(dict.fromkeys(pin.wish for pin in pins))
    return f"the {'pin' if len(names) == 1 else 'pins'} {', '.join(names)}"


def part_blocking(
    pin: SumPin, others: tuple[SumPin, ...], count: int, nearest: Nearest
) -> tuple[list[SumPin], list[SumPin]]:
    """Return which of the others may stay where a pin gets a count, and a smallest set of them that has to go.

    Parameters
    ----------
    count : of segments on this half, which the pin can have without the others.
    nearest : returns the count that can be had next to a pin's, as :func:`nearest_count` does.
    """
    stays: list[SumPin] = []
    goes: list[SumPin] = []
    for other in others:
        fits = nearest(replace(pin, count=count + 1), (*stays, other), -1) == count
        (stays if fits else goes).append(other)
    return stays, goes


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
