"""Check that drawn lines lie on the sculpt."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.errors import MarksError
from loopwright.marks.draw_line import LineDrawer
from loopwright.marks.local_size import LocalSize
from loopwright.numerics.norms import norms
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, RegionSurface
from loopwright.wishes import FlowLine

_ASTRAY = 0.1  # furthest that a point may be drawn from the sculpt, as a share of its diagonal
_OFF = 1.0  # mesh edges from the surface beyond which it is told


def check_lines(
    surface: RegionSurface, drawer: LineDrawer, lines: Sequence[FlowLine], size: LocalSize
) -> list[Finding]:
    """Return a finding for each line with points more than an edge of the mesh off the surface.

    Raises
    ------
    MarksError : a point lies further than a tenth of the diagonal from the surface.
    """
    whole = surface.positions
    if surface.mirror is not None:
        whole = np.concatenate([whole, surface.mirror.reflect(whole)])
    diagonal = float(np.linalg.norm(np.ptp(whole, axis=0)))
    findings = []
    for line in lines:
        points = np.array(line.points, np.float64)
        if surface.mirror is not None:
            behind = surface.mirror.signed_distance(points) < 0
            points = np.where(behind[:, None], surface.mirror.reflect(points), points)
        gap = norms(drawer.on_surface(points) - points)
        worst = int(gap.argmax())
        if gap[worst] > _ASTRAY * diagonal:
            raise MarksError(
                f"{line.name}: its point {worst + 1} at {line.points[worst]} is {gap[worst]:.3g} away from the sculpt; "
                "draw it on the surface, in the sculpt's own unit",
                places=[line.name, line.points[worst]],
                in_marks=True,
            )
        off = np.flatnonzero(gap > _OFF * size(points))
        if len(off):
            worst = int(off[gap[off].argmax()])
            at = "({:.4g}, {:.4g}, {:.4g})".format(*line.points[worst])
            lie = plural(len(off), f"point of {line.name} lies", f"points of {line.name} lie")
            text = (
                f"{lie} up to {gap[worst]:.3g} (point {worst + 1} at {at}) off "
                "the surface that gets faces; each was put on its nearest place, which may bend the line: draw on the "
                "surface, and leave out points over openings."
            )
            findings.append(Finding("line_off_surface", text, len(off)))
    return findings
