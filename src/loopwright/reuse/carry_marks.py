"""Carry what is painted and marked on one sculpt to another that it is registered with."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.errors import MarksError
from loopwright.marks.marks_file import Marks
from loopwright.reuse.register_sculpts import SculptRegistration
from loopwright.types import FloatArray, Sculpt
from loopwright.wishes import Point


def carry_colors(source: Sculpt, target: Sculpt, registration: SculptRegistration) -> Sculpt:
    """Return the target with the source's paint: each vertex takes the colour of the one that comes to lie nearest.

    Colours are taken over, never mixed, so that regions keep their very colour.

    Raises
    ------
    MarksError
        If the source has no paint, or the registration is that of other sculpts.
    """
    if source.colors is None:
        raise MarksError(f"{source.name} has no vertex colours to be carried; paint it, or carry from another.")
    same = len(registration.moved) == len(source.positions)
    if not same or len(registration.target.positions) != len(target.positions):
        raise MarksError("The registration is that of other sculpts; register these two first.")
    return replace(target, colors=np.ascontiguousarray(source.colors[registration.source_vertices()]))


def carry_marks(marks: Marks, registration: SculptRegistration) -> Marks:
    """Return the marks at their places on the other sculpt; lengths grow with the sculpt's size.

    Flow lines, fixed points, the places of pins and of painted sizes move; names, colours, counts and wishes stay.
    """
    places = [point for line in marks.lines for point in line.points]
    places += [point.at for point in marks.points] + [dab.at for dab in marks.size_dabs]
    places += [pin.near for pin in marks.pins if pin.near is not None]
    moved = registration.move_points(np.array(places, np.float64).reshape(-1, 3))
    following = iter(_point(place) for place in moved)
    scale = registration.coarse.similarity.scale
    lines = tuple(replace(line, points=tuple(next(following) for _ in line.points)) for line in marks.lines)
    points = tuple(replace(point, at=next(following)) for point in marks.points)
    dabs = tuple(
        replace(dab, at=next(following), radius=scale * dab.radius, length=scale * dab.length)
        for dab in marks.size_dabs
    )
    pins = tuple(pin if pin.near is None else replace(pin, near=next(following)) for pin in marks.pins)
    sizes = {name: scale * length for name, length in marks.sizes.items()}
    vertex_sizes = None
    if marks.vertex_sizes is not None:
        if len(marks.vertex_sizes) != len(registration.moved):
            raise MarksError("The painted sizes are those of another sculpt: their number is not that of its vertices.")
        vertex_sizes = scale * marks.vertex_sizes[registration.source_vertices()]
    return replace(marks, lines=lines, points=points, size_dabs=dabs, pins=pins, sizes=sizes, vertex_sizes=vertex_sizes)


def _point(place: FloatArray) -> Point:
    x, y, z = place.tolist()
    return x, y, z
