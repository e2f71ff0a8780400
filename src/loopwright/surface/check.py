"""Look a sculpt over and say what is wrong with it."""

from __future__ import annotations

from loopwright.progress import Progress, silent
from loopwright.surface.repair import find_faults
from loopwright.surface.repair_work import RepairOptions
from loopwright.types import Finding, Sculpt


def check_sculpt(sculpt: Sculpt, options: RepairOptions | None = None, *, progress: Progress = silent) -> list[Finding]:
    """Return what :func:`~loopwright.surface.repair.repair_sculpt` would mend or tell, in the order it is found.

    A closed, sound sculpt of one piece has no findings.  ``elements`` are the sculpt's own
    triangles (``degenerate_face``, ``sliver_face``, ``duplicate_face``, ``fin``, ``stray_piece``,
    ``mixed_orientation``, ``inward_orientation``, ``piece``) or vertices (all other kinds).

    Raises
    ------
    InputError
        If the sculpt is beyond repair; see :func:`~loopwright.surface.repair.repair_sculpt`.
    """
    _, faults = find_faults(sculpt, options or RepairOptions(), progress)
    return [fault.finding(is_repaired=False) for fault in faults]
