"""Carry what is painted and marked on one sculpt to another that it is registered with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from loopwright.edit_wishes import read_operation
from loopwright.errors import InternalError, MarksError
from loopwright.marks.marks_file import Marks
from loopwright.reuse.align import Similarity
from loopwright.reuse.register_sculpts import SculptRegistration
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, Sculpt
from loopwright.wishes import Point

_FAR = 0.01  # of the diagonal: a hand that puts a place on the surface misses it by far less


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

    Flow lines, fixed points, the places of pins, of painted sizes and of edits move, the edits' directions turn;
    names, colours, counts and wishes stay.
    """
    moved = registration.move_points(np.array([place for _, place in _places(marks)], np.float64).reshape(-1, 3))
    following = iter(_point(place) for place in moved)
    similarity = registration.similarity()
    scale = similarity.scale
    lines = tuple(replace(line, points=tuple(next(following) for _ in line.points)) for line in marks.lines)
    points = tuple(replace(point, at=next(following)) for point in marks.points)
    dabs = tuple(
        replace(dab, at=next(following), radius=scale * dab.radius, length=scale * dab.length)
        for dab in marks.size_dabs
    )
    pins = tuple(pin if pin.near is None else replace(pin, near=next(following)) for pin in marks.pins)
    edits = tuple(
        {**_turn(edit, similarity), **({"near": list(next(following))} if "near" in edit else {})}
        for edit in marks.edits
    )
    sizes = {name: scale * length for name, length in marks.sizes.items()}
    vertex_sizes = None
    if marks.vertex_sizes is not None:
        if len(marks.vertex_sizes) != len(registration.moved):
            raise MarksError(
                f"The painted sizes are those of another sculpt: there are {len(marks.vertex_sizes):,}, but the old "
                f"sculpt has {plural(len(registration.moved), 'vertex', 'vertices')}.",
                in_marks=True,
                about="vertex_sizes",
            )
        vertex_sizes = scale * marks.vertex_sizes[registration.source_vertices()]
    return replace(
        marks,
        lines=lines,
        points=points,
        size_dabs=dabs,
        pins=pins,
        sizes=sizes,
        vertex_sizes=vertex_sizes,
        edits=edits,
    )


def tell_far(marks: Marks, source: Sculpt) -> list[Finding]:
    """Return a finding for what lies further from the old sculpt than 1 % of its diagonal, and is carried from there.

    Such a place is put on the nearest part of the surface, which need not be the one that was meant.
    """
    named = _places(marks)
    points = np.array([place for _, place in named], np.float64).reshape(-1, 3)
    if not len(points):
        return []
    projector = SurfaceProjector(source.positions, source.triangles)
    gap = np.linalg.norm(projector.project(points).points - points, axis=1)
    far = np.flatnonzero(gap > _FAR * projector.diagonal)
    if not len(far):
        return []
    worst = int(gap.argmax())
    at = "({:.4g}, {:.4g}, {:.4g})".format(*points[worst])
    text = (
        f"{plural(len(far), 'place')} of the marks {'lies' if len(far) == 1 else 'lie'} off the old sculpt, the "
        f"furthest by {gap[worst]:.3g}: {named[worst][0]} at {at}. What is carried is the nearest place on the "
        "surface; put them on the sculpt if that is not meant."
    )
    return [Finding("marks_off_surface", text, len(far))]


def _places(marks: Marks) -> list[tuple[str, Point]]:
    """Return all places in the marks with what they belong to, in the order in which they are carried."""
    places = [(line.name or f"line {k}", point) for k, line in enumerate(marks.lines, 1) for point in line.points]
    places += [(point.name or f"point {k}", point.at) for k, point in enumerate(marks.points, 1)]
    places += [(f"size dab {k}", dab.at) for k, dab in enumerate(marks.size_dabs, 1)]
    places += [(f"pin {pin.name}", pin.near) for pin in marks.pins if pin.near is not None]
    return places + [(f"edit {k}", _near(edit)) for k, edit in enumerate(marks.edits, 1) if "near" in edit]


def _point(place: FloatArray) -> Point:
    x, y, z = place.tolist()
    return x, y, z


def _near(edit: Mapping[str, object]) -> Point:
    place = read_operation(edit, "edit").place
    if place is None:
        raise InternalError("An edit near a place has none.")
    return _point(place.near)


def _turn(edit: Mapping[str, object], similarity: Similarity) -> dict[str, object]:
    """Return an edit with its directions turned as the sculpt was."""
    place = read_operation(edit, "edit").place
    turned = dict(edit)
    for word in ("across", "along", "toward"):
        direction = None if place is None else getattr(place, word)
        if word in edit and direction is not None:
            turned[word] = similarity.turn(direction[None])[0].tolist()
    return turned
