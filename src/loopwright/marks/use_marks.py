"""Marks become options, and options given by hand win over them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import cast

from loopwright.marks.marks_file import Marks
from loopwright.options import RGB, BuildOptions, Mirror, call_region
from loopwright.wishes import Pin, Point


def use_marks(options: BuildOptions, marks: Marks) -> BuildOptions:
    """Return the options with everything that the marks say laid over them.

    Raises
    ------
    MarksError : a value is out of its range.
    """
    names = {**options.region_names, **marks.region_names}
    return replace(
        options,
        budget=options.budget if marks.budget is None else marks.budget,
        mirror=options.mirror if marks.mirror is None else cast(Mirror, marks.mirror),
        mirror_shape=options.mirror_shape if marks.mirror_shape is None else marks.mirror_shape,
        region_names=names,
        leave_open=tuple(dict.fromkeys((*options.leave_open, *marks.leave_open))),
        sizes=merge_sizes(options.sizes, marks.sizes, names),
        size_dabs=(*options.size_dabs, *marks.size_dabs),
        vertex_sizes=options.vertex_sizes if marks.vertex_sizes is None else marks.vertex_sizes,
        pins=merge_pins(options.pins, marks.pins, names),
        points=(*options.points, *marks.points),
        poles=tuple({p.region: p for p in (*options.poles, *marks.poles)}.values()),
        lines=(*options.lines, *marks.lines),
        edits=(*options.edits, *marks.edits),
    )


def merge_pins(first: tuple[Pin, ...], later: tuple[Pin, ...], names: Mapping[RGB, str]) -> tuple[Pin, ...]:
    """Return all pins; those on a border that a later one is for, be its regions meant by name or colour, give way."""
    anew = {border_key(pin, names): pin for pin in later}
    return tuple(dict.fromkeys(anew.get(border_key(pin, names), pin) for pin in (*first, *later)))


def merge_sizes(first: Mapping[str, float], later: Mapping[str, float], names: Mapping[RGB, str]) -> dict[str, float]:
    """Return all sizes; those of a region that a later one is for, be it meant by name or colour, give way."""
    anew = {call_region(region, names) for region in later}
    return {**{region: size for region, size in first.items() if call_region(region, names) not in anew}, **later}


def border_key(pin: Pin, names: Mapping[RGB, str]) -> tuple[frozenset[str], Point | None]:
    """Return what is the same for all pins on one border, or on its piece near one place."""
    near = None if pin.near is None else (pin.near[0], pin.near[1], pin.near[2])
    return frozenset((call_region(pin.region_a, names), call_region(pin.region_b, names))), near
