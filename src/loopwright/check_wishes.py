"""Refuse wishes that no sculpt can keep: pins, dabs, lines, places and poles that make no sense by themselves."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from numbers import Integral, Real
from typing import TypeVar, get_args

import numpy as np

from loopwright.errors import MarksError
from loopwright.types import FloatArray
from loopwright.wishes import FixedPoint, FlowLine, Pin, PolePin, PoleWish, SizeDab

Wish = TypeVar("Wish")


def check_pins(pins: Sequence[Pin], *, call: Callable[[str], str] = str) -> None:
    """Refuse pins that cannot hold, each by itself or two on one border.

    Parameters
    ----------
    call : the one name of a region, of all that wishes may mean it by.

    Raises
    ------
    MarksError
        Names the border.
    """
    found: dict[object, Pin] = {}
    for pin in _all_of(Pin, pins, "pins"):
        check_pin(pin)
        near = None if pin.near is None else tuple(pin.near)
        regions = frozenset((call(pin.region_a), call(pin.region_b)))
        if len(regions) == 1:
            raise _one_region(f"{pin.region_a}/{pin.region_b}")
        first = found.setdefault((regions, near), pin)
        if first.count != pin.count:
            raise MarksError(
                f"the border {first.name} is pinned to {first.count} and, as {pin.name}, to {pin.count}; keep one of "
                "the two",
                places=[first.name, pin.name],
                about="pins",
            )


def check_sizes_agree(sizes: Sequence[tuple[str, float]], call: Callable[[str], str]) -> None:
    """Refuse two different lengths for one region, however it is meant.

    Parameters
    ----------
    sizes : the region as written, and its length. call : as for :func:`check_pins`.

    Raises
    ------
    MarksError
        Names the region both ways.
    """
    found: dict[str, tuple[str, float]] = {}
    for name, length in sizes:
        first, before = found.setdefault(call(name), (name, length))
        if before != length:
            also = "" if first == name else f", as {name},"
            text = f"the size of {first} is given as {before} and{also} as {length}; keep one of the two"
            raise MarksError(text, places=list(dict.fromkeys((call(name), first, name))), about="sizes")


def check_pin(pin: Pin) -> None:
    """Refuse a pin that cannot hold by itself.

    Raises
    ------
    MarksError
        Names the border.
    """
    name = f"{pin.region_a}/{pin.region_b}"
    count: object = pin.count
    if isinstance(count, bool) or not isinstance(count, Integral):
        raise MarksError(f"the pin on {name} asks for {pin.count!r} segments; give a whole number", places=[name])
    if pin.near is not None:
        _check_place(pin.near, f"the pin on {name}: its near")
    if pin.count < 1:
        raise MarksError(f"the pin on {name} asks for {pin.count} segments; it must be at least 1", places=[name])
    if pin.region_a == pin.region_b:
        raise _one_region(name)


def _one_region(border: str) -> MarksError:
    text = f"the pin on {border} names one region twice; name the two that share the border"
    return MarksError(text, places=[border], about="pins")


def check_dabs(dabs: Sequence[SizeDab]) -> None:
    """Refuse dabs without a place, a radius or a length.

    Raises
    ------
    MarksError
        Names the place.
    """
    for number, dab in enumerate(_all_of(SizeDab, dabs, "size_dabs"), 1):
        _check_place(dab.at, f"size dab {number}")
        if not all(_is_number(value) and math.isfinite(value) and value > 0 for value in (dab.radius, dab.length)):
            raise MarksError(f"the size dab at {dab.at} needs a positive radius and length", places=[dab.at])


def check_drawn(lines: Sequence[FlowLine], points: Sequence[FixedPoint]) -> None:
    """Refuse lines of fewer than 2 different points, 3 if closed, and what is no place.

    Raises
    ------
    MarksError
        Names the line or the place.
    """
    for number, line in enumerate(_all_of(FlowLine, lines, "lines"), 1):
        name = line.name or f"line {number}"
        points_of = _points_of(line, name)
        least, kind = (3, "a closed") if line.closed else (2, "an open")
        given = 1 + int((points_of[1:] != points_of[:-1]).any(axis=1).sum()) if len(points_of) else 0
        if line.closed and given > 1 and (points_of[0] == points_of[-1]).all():
            given -= 1
        if given < least:
            raise MarksError(
                f"{name}: {kind} line needs at least {least} different points, but {given} "
                f"{'is' if given == 1 else 'are'} given",
                places=[name],
            )
    for number, held in enumerate(_all_of(FixedPoint, points, "points"), 1):
        _check_place(held.at, held.name or f"point {number}")


def check_poles(poles: Sequence[PolePin]) -> None:
    """Refuse wishes for poles that are none.

    Raises
    ------
    MarksError
        Names the region.
    """
    for pole in _all_of(PolePin, poles, "poles"):
        if pole.wish not in get_args(PoleWish):
            wishes = " or ".join(get_args(PoleWish))
            text = f"the wish for poles in {pole.region} is {pole.wish!r}; it must be {wishes}"
            raise MarksError(text, places=[pole.region])


def _points_of(line: FlowLine, name: str) -> FloatArray:
    """Return the (k, 3) points of a line; refuse one that is no place."""
    try:
        points = np.asarray(line.points)
    except ValueError:  # rows that differ in length
        points = np.zeros(0, object)
    if points.dtype.kind in "fiu" and points.ndim == 2 and points.shape[1] == 3 and np.isfinite(points).all():
        return points.astype(np.float64)
    if not isinstance(line.points, Sequence | np.ndarray):
        raise MarksError(f"{name}: its points are {line.points!r}; give a sequence of places", places=[name])
    for place, point in enumerate(line.points, 1):
        _check_place(point, f"{name}: its point {place}")
    return np.array([tuple(map(float, point)) for point in line.points]).reshape(-1, 3)


def _check_place(place: object, name: str) -> None:
    values = list(place) if isinstance(place, Sequence | np.ndarray) and not isinstance(place, str) else []
    if len(values) != 3 or not all(map(_is_number, values)):
        raise MarksError(f"{name}: {place!r} is no place; give three numbers (x, y, z)", places=[name])
    if not all(map(math.isfinite, values)):
        raise MarksError("{}: the place ({:g}, {:g}, {:g}) is not finite".format(name, *values), places=[name])


def _is_number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool)


def _all_of(kind: type[Wish], wishes: Sequence[Wish], field: str) -> Sequence[Wish]:
    """Return the wishes; refuse what is no sequence, and a wish that is of another kind."""
    if not isinstance(wishes, Sequence):
        raise MarksError(f"{field} is {wishes!r}; it takes a tuple of {kind.__name__}s")
    for wish in wishes:
        if not isinstance(wish, kind):
            raise MarksError(f"{field} holds {wish!r}; it takes {kind.__name__}s")
    return wishes
