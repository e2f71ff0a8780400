"""Tell a mesh that does not lie on the sculpt it is measured against: it was made from another."""

from __future__ import annotations

import numpy as np

from loopwright.reuse.template import template_of_quads
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Finding, QuadMesh

_OFF = 0.01  # of the sculpt's diagonal: a mesh that is fitted lies several times nearer
_MOST = 0.9  # of the vertices are that near, or it is another sculpt's


def lies_by_limit(mesh: QuadMesh, projector: SurfaceProjector) -> bool:
    """Return whether a mesh's smooth limit surface lies nearer to a sculpt than the mesh itself."""
    itself, limit = _distances_off(mesh, projector)
    return limit < itself


def distance_off(mesh: QuadMesh, projector: SurfaceProjector) -> float:
    """Return the distance from the sculpt, in its diagonals, within which nine of ten vertices of a mesh lie.

    What counts is the mesh itself or its smooth limit surface, whichever lies nearer. Vertices that no quad uses
    count for nothing.
    """
    return min(_distances_off(mesh, projector)) / projector.diagonal


def _distances_off(mesh: QuadMesh, projector: SurfaceProjector) -> tuple[float, float]:
    """Return the distance within which nine of ten vertices lie, of the mesh itself and of its limit surface."""
    used = np.unique(mesh.quads)
    itself, limit = mesh.positions[used], template_of_quads(mesh.positions, mesh.quads).positions[used]
    gaps = [np.linalg.norm(projector.project(points).points - points, axis=1) for points in (itself, limit)]
    return float(np.quantile(gaps[0], _MOST)), float(np.quantile(gaps[1], _MOST))


def tell_elsewhere(mesh: QuadMesh, projector: SurfaceProjector, name: str, sculpt: str) -> list[Finding]:
    """Return a finding where a mesh lies so far off a sculpt that it is another's; none where it may be its own.

    Parameters
    ----------
    name, sculpt : of the mesh and the sculpt, for the message.
    """
    off = distance_off(mesh, projector)
    if off <= _OFF:
        return []
    text = (
        f"{name} does not seem to belong to {sculpt}: a tenth of its vertices lies {100 * off:.1f} % of the diagonal "
        "or more away. Give the sculpt that it was made from, in the same unit and place; figures against this one "
        "mean little."
    )
    return [Finding("other_sculpt", text)]
