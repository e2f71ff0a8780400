"""Marks for the demo creature, as an example of what a marks file can hold."""

from __future__ import annotations

import numpy as np

from loopwright.demo.paint_creature import DEMO_OPEN_COLOR, demo_regions
from loopwright.marks.marks_file import Marks
from loopwright.types import Sculpt
from loopwright.wishes import FixedPoint, FlowLine, Pin, Point, SizeDab

_BUDGET = 5000  # that the other wishes are meant for
_CHEEK = ((5.2, -3.2, 6.0), (4.9, -4.6, 5.7), (4.4, -6.2, 5.4), (3.6, -7.7, 5.2))  # from below the eye to the jaw
_CHIN = (0.0, -10.2, 6.4)
_NOSE = (0.0, -1.8, 9.5)


def creature_marks(sculpt: Sculpt) -> Marks:
    """Return marks that fit the demo creature: a flow line, a pin, a held place and a dab of size.

    Parameters
    ----------
    sculpt : as :func:`loopwright.demo.make_creature.make_creature` makes it, with any seed and number of triangles;
        the places are its vertices nearest to where they are meant.
    """
    return Marks(
        budget=_BUDGET,
        region_names={region.color: region.name for region in demo_regions()},
        leave_open=(DEMO_OPEN_COLOR,),
        size_dabs=(SizeDab(_nearest(sculpt, _NOSE), 1.2, 0.35),),
        pins=(Pin("lips", "opening", 40),),
        points=(FixedPoint(_nearest(sculpt, _CHIN), "chin"),),
        lines=(FlowLine(tuple(_nearest(sculpt, place) for place in _CHEEK), name="cheek"),),
    )


def _nearest(sculpt: Sculpt, place: Point) -> Point:
    """Return the vertex that is nearest to a place, to a thousandth of a centimetre."""
    gap = ((sculpt.positions - np.array(place)) ** 2).sum(axis=1)
    x, y, z = (round(float(value), 3) for value in sculpt.positions[int(gap.argmin())])
    return x, y, z
