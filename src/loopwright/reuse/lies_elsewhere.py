"""Tell a mesh that does not lie on the sculpt it is measured against: it was made from another."""

from __future__ import annotations

import numpy as np

from loopwright.reuse.template import template_of_quads
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Finding, QuadMesh

_OFF = 0.01  # of the sculpt's diagonal: a mesh that is fitted lies several times nearer
_MOST = 0.9  # of the vertices are that near, or it is another sculpt's


def share_off(mesh: QuadMesh, projector: SurfaceProjector) -> float:
    """Return the distance from the sculpt, in its diagonals, within which nine of ten vertices of a mesh lie.

    What counts is the mesh itself or its smooth limit surface, whichever lies nearer.
    """
    limit = template_of_quads(mesh.positions, mesh.quads).positions
    gaps = (np.linalg.norm(projector.project(p).points - p, axis=1) for p in (mesh.positions, limit))
    return min(float(np.quantile(gap, _MOST)) for gap in gaps) / projector.diagonal


def tell_elsewhere(mesh: QuadMesh, projector: SurfaceProjector, name: str, sculpt: str) -> list[Finding]:
    """Return a finding where a mesh lies so far off a sculpt that it is another's; none where it may be its own.

    Parameters
    ----------
    name, sculpt : of the mesh and the sculpt, for the message.
    """
    off = share_off(mesh, projector)
    if off <= _OFF:
        return []
    text = (
        f"{name} does not seem to belong to {sculpt}: a tenth of its surface lies {100 * off:.1f} % of the diagonal or "
        "more away. Give the sculpt that it was made from, in the same unit and place; figures against this one mean "
        "little."
    )
    return [Finding("other_sculpt", text)]
