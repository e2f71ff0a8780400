"""Whether both halves of the mesh are made equal, where the artist has not said."""

from __future__ import annotations

from loopwright.marks.options import MarksReport
from loopwright.options import BuildOptions
from loopwright.surface.mirror import MOST_APART

MOST_UNEQUAL = 0.3
"""Of an edge that the paint of the halves, or their shapes (rms), may be apart."""


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
    return max(report.paint_apart, report.mirror_rms * diagonal) <= MOST_UNEQUAL * edge
