"""Marks become options, and options given by hand win over them."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

from loopwright.marks.marks_file import Marks
from loopwright.options import BuildOptions, Mirror
from loopwright.wishes import Pin


def use_marks(options: BuildOptions, marks: Marks) -> BuildOptions:
    """Return the options with everything that the marks say laid over them.

    Raises
    ------
    MarksError : a value is out of its range.
    """
    return replace(
        options,
        budget=options.budget if marks.budget is None else marks.budget,
        mirror=options.mirror if marks.mirror is None else cast(Mirror, marks.mirror),
        mirror_shape=options.mirror_shape if marks.mirror_shape is None else marks.mirror_shape,
        region_names={**options.region_names, **marks.region_names},
        leave_open=tuple(dict.fromkeys((*options.leave_open, *marks.leave_open))),
        sizes={**options.sizes, **marks.sizes},
        size_dabs=(*options.size_dabs, *marks.size_dabs),
        vertex_sizes=options.vertex_sizes if marks.vertex_sizes is None else marks.vertex_sizes,
        pins=merge_pins(options.pins, marks.pins),
        points=(*options.points, *marks.points),
        poles=tuple({p.region: p for p in (*options.poles, *marks.poles)}.values()),
        lines=(*options.lines, *marks.lines),
        edits=(*options.edits, *marks.edits),
    )


def merge_pins(first: tuple[Pin, ...], later: tuple[Pin, ...]) -> tuple[Pin, ...]:
    """Return all pins; of two on the same border the later one stays."""
    return tuple({(frozenset((p.region_a, p.region_b)), p.near): p for p in (*first, *later)}.values())
