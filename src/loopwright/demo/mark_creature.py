"""Marks for the demo creature, as an example of what a marks file can hold."""

from __future__ import annotations

import math

import numpy as np

from loopwright.demo.paint_creature import DEMO_OPEN_COLOR, demo_regions
from loopwright.marks.marks_file import Marks
from loopwright.types import IntArray, Sculpt
from loopwright.wishes import FixedPoint, FlowLine, Pin, Point, SizeDab

_BUDGET = 5000  # that the lengths and counts here are meant for; with another they go as the length of edges does
_PINNED = 40  # segments round the lips' opening
_DAB = 0.42  # length of edges on the nose
_LEAST_PINNED = 150  # faces: with 100, the lips are smaller than a face and cannot be pinned
_EYE, _NECK = (5.4, -2.1, 6.5), (2.7, -9.3, 2.4)  # by the borders of the area round the eye, and of the neck
_CHEEK = ((5.2, -3.2, 6.0), (4.9, -4.6, 5.7), (4.4, -6.2, 5.4), (3.7, -7.7, 5.0), (3.2, -8.8, 4.0))  # between the two
_CHIN = (0.0, -10.2, 6.4)
_NOSE = (0.0, -1.8, 9.5)


def creature_marks(sculpt: Sculpt, *, budget: int = _BUDGET) -> Marks:
    """Return marks that fit the demo creature at a budget: a flow line, a pin, a held place and a dab of size.

    The line runs from border to border, so that neither end is loose. With so few faces that the lips have none,
    there is no pin.

    Parameters
    ----------
    sculpt : as :func:`loopwright.demo.make_creature.make_creature` makes it; the places are its vertices nearest to
        where they are meant, and the line's ends those of them at which colours meet.
    budget : faces of the whole mesh.
    """
    ends = (_nearest_border(sculpt, place) for place in (_EYE, _NECK))
    cheek = (next(ends), *(_nearest(sculpt, place) for place in _CHEEK), next(ends))
    finer = math.sqrt(budget / _BUDGET)
    pin = Pin("lips", "opening", 4 * round(_PINNED * finer / 4))  # as many on both sides of the mirror plane
    return Marks(
        budget=budget,
        region_names={region.color: region.name for region in demo_regions()},
        leave_open=(DEMO_OPEN_COLOR,),
        size_dabs=(SizeDab(_nearest(sculpt, _NOSE), 1.2, round(_DAB / finer, 3)),),
        pins=(pin,) if budget >= _LEAST_PINNED else (),
        points=(FixedPoint(_nearest(sculpt, _CHIN), "chin"),),
        lines=(FlowLine(cheek, name="cheek"),),
    )


def _nearest(sculpt: Sculpt, place: Point, among: IntArray | None = None) -> Point:
    """Return the vertex, of all or of some, that is nearest to a place, to a thousandth of a centimetre."""
    positions = sculpt.positions if among is None else sculpt.positions[among]
    gap = ((positions - np.array(place)) ** 2).sum(axis=1)
    x, y, z = (round(float(value), 3) for value in positions[int(gap.argmin())])
    return x, y, z


def _nearest_border(sculpt: Sculpt, place: Point) -> Point:
    """Return the vertex nearest to a place of those whose triangles have a corner of another colour."""
    if sculpt.colors is None:
        return _nearest(sculpt, place)
    corners = sculpt.colors[sculpt.triangles]
    differ = (corners != corners[:, :1]).any(axis=(1, 2))
    return _nearest(sculpt, place, np.unique(sculpt.triangles[differ]))
