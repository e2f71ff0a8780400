"""Whether both halves of the mesh are made equal, where the artist has not said."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.marks.options import MarksReport
from loopwright.options import BuildOptions
from loopwright.surface.mirror import MOST_APART

MOST_UNEQUAL = 0.3
"""Of an edge that the paint of the halves, or their shapes (rms), may be apart."""
_MOST_FAR = 0.75
"""Of an edge that a part of their shapes may be: a horn or an ear that leans counts for little in the rms."""


@dataclass(frozen=True)
class Apart:
    """How far one thing is apart in the halves.

    Attributes
    ----------
    what : "paint", "shape" (rms) or "part" (of the shape).
    edges : how far, and most : the most that one mesh of equal halves can be true to, in edges of the mesh.
    """

    what: str
    edges: float
    most: float


def makes_equal(report: MarksReport, edge: float, diagonal: float, wishes: BuildOptions) -> bool:
    """Return whether one half is made and mirrored; else each side keeps its own shape and paint.

    Unless that is asked for, it depends on how far the halves are apart: one mesh cannot be true to both where that
    is a good part of an edge. Halves that are no images of one another at all are another matter.

    Parameters
    ----------
    edge : the mesh's mean edge, in the sculpt's unit.
    diagonal : of the sculpt.
    """
    if wishes.mirror_shape is not None:
        return wishes.mirror_shape
    if report.mirror is None or report.mirror_rms > MOST_APART:
        return True
    apart = furthest_apart(report, edge, diagonal)
    return apart.edges <= apart.most


def furthest_apart(report: MarksReport, edge: float, diagonal: float) -> Apart:
    """Return what is furthest apart in the halves, by what it may be; parameters as of :func:`makes_equal`."""
    all_of_it = (
        Apart("paint", report.paint_apart / edge, MOST_UNEQUAL),
        Apart("shape", report.mirror_rms * diagonal / edge, MOST_UNEQUAL),
        Apart("part", report.mirror_far * diagonal / edge, _MOST_FAR),
    )
    return max(all_of_it, key=lambda apart: apart.edges / apart.most)
