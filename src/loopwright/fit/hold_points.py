"""Vertices that must be at a place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from loopwright.errors import InfeasibleError, MarksError
from loopwright.fit.link_edges import mean_edges
from loopwright.numerics.norms import norms
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Finding, FloatArray, QuadMesh
from loopwright.wishes import FixedPoint

IN_OPENING = "point_in_opening"
"""The kind of the finding on a place in an area that stays open."""

_ASTRAY = 0.1  # furthest that a place may be from the sculpt, as a share of its diagonal
_OFF = 0.5  # further than this off the sculpt, in edges, is told
_BEYOND = 1.0  # further than this from what the mesh covers, in edges, is in an opening
_ON_CURVE = 0.4  # nearer than this to a curve, in edges, a place is meant to be on it


def hold_points(
    mesh: QuadMesh, points: Sequence[FixedPoint], projector: SurfaceProjector
) -> tuple[QuadMesh, tuple[int, ...]]:
    """Return the mesh with the vertex nearest to each place moved there and held, and those vertices.

    A place near a border, an opening or a flow line takes one of its
    vertices, one near the mirror plane a vertex of the plane; a place behind
    the plane of a half mesh is reflected.

    Raises
    ------
    MarksError : a place lies far from the sculpt.
    InfeasibleError : two places want one vertex.
    """
    if not points:
        return mesh, ()
    positions, fixed = mesh.positions.copy(), mesh.is_fixed.copy()
    taken: dict[int, str] = {}
    edge = mean_edges(mesh.positions, mesh.quads)
    for i, point in enumerate(points):
        name = point.name or f"point {i + 1}"
        vertex, landed = _choose(mesh, _land(_on_kept_half(mesh, np.array(point.at)), name, projector)[0], edge)
        if vertex in taken:
            raise InfeasibleError(
                f"{name} and {taken[vertex]} lie so near to one another that one vertex would have to be at both: "
                "raise the budget, paint a smaller size there, or drop one.",
                places=[name, taken[vertex]],
                in_marks=True,
            )
        taken[vertex] = name
        positions[vertex] = landed
        fixed[vertex] = True
    return replace(mesh, positions=positions, is_fixed=fixed), tuple(taken)


def tell_points(
    mesh: QuadMesh, points: Sequence[FixedPoint], projector: SurfaceProjector, covered: FloatArray
) -> list[Finding]:
    """Tell which places lie off the sculpt, or where the mesh has nothing to hold them with.

    Parameters
    ----------
    mesh : in which they are to be held.
    covered : (n, 3) points of what the mesh covers.
    """
    findings = []
    edge = mean_edges(mesh.positions, mesh.quads)
    for i, point in enumerate(points):
        name = point.name or f"point {i + 1}"
        landed, gap = _land(_on_kept_half(mesh, np.array(point.at)), name, projector)
        size = float(edge[norms(mesh.positions - landed).argmin()])
        beyond = float(norms(covered - landed).min())
        if beyond > _BEYOND * size:
            text = (
                f"{name}: its place lies in an area that stays open, {beyond:.3g} from what the mesh covers "
                f"({beyond / size:.1f} edges), so no vertex is held there: hold one on what gets faces."
            )
            findings.append(Finding(IN_OPENING, text, 1, names=(name,)))
        elif gap > _OFF * size:
            place = ", ".join(f"{value:.4g}" for value in landed)
            text = (
                f"{name}: its place lies {gap:.3g} off the sculpt ({gap / size:.1f} edges); what is held is ({place})."
            )
            findings.append(Finding("point_off_surface", text, 1))
    return findings


def without_openings(points: Sequence[FixedPoint], findings: Sequence[Finding]) -> list[FixedPoint]:
    """Return the places but for those that :func:`tell_points` found in openings, where a mesh could only fold."""
    inside = {name for finding in findings if finding.kind == IN_OPENING for name in finding.names}
    return [point for point in points if point.name not in inside]


def check_points(points: Sequence[FixedPoint], projector: SurfaceProjector) -> None:
    """Raise MarksError where a place lies far from the sculpt."""
    for i, point in enumerate(points):
        _land(np.array(point.at), point.name or f"point {i + 1}", projector)


def _land(place: FloatArray, name: str, projector: SurfaceProjector) -> tuple[FloatArray, float]:
    """Return the point of the sculpt nearest to a place, and how far it is."""
    landed: FloatArray = projector.project(place[None].astype(np.float64)).points[0]
    gap = float(np.linalg.norm(landed - place))
    if gap > _ASTRAY * projector.diagonal:
        at = ", ".join(f"{value:.6g}" for value in place)
        raise MarksError(
            f"{name}: its place ({at}) is {gap:.3g} away from the sculpt; put it on the surface, "
            "in the sculpt's own unit",
            places=[name, tuple(place.tolist())],
            in_marks=True,
        )
    return landed, gap


def _on_kept_half(mesh: QuadMesh, place: FloatArray) -> FloatArray:
    if mesh.mirror is None or float(mesh.mirror.signed_distance(place[None])[0]) >= 0:
        return place
    reflected: FloatArray = mesh.mirror.reflect(place[None])[0]
    return reflected


def _choose(mesh: QuadMesh, place: FloatArray, edge: FloatArray) -> tuple[int, FloatArray]:
    """Return the vertex that shall be at a place, and the place, drawn into the mirror plane if it is near."""
    gap = norms(mesh.positions - place)
    nearest = int(gap.argmin())
    if mesh.mirror is not None and mesh.on_mirror.any():
        height = float(mesh.mirror.signed_distance(place[None])[0])
        if abs(height) < 0.5 * edge[nearest]:
            place = place - height * mesh.mirror.normal
            return int(np.where(mesh.on_mirror, gap, np.inf).argmin()), place
    near_curve = _nearest_curve(mesh, place, _ON_CURVE * float(edge[nearest]))
    if near_curve >= 0:
        on_it = (mesh.vertex_curve == near_curve) & (~mesh.is_fixed | (gap < 0.25 * edge))
        if on_it.any():
            return int(np.where(on_it, gap, np.inf).argmin()), place
    inside = (mesh.vertex_curve < 0) & ~mesh.on_mirror & ~mesh.is_fixed
    return int(np.where(inside, gap, np.inf).argmin()), place


def _nearest_curve(mesh: QuadMesh, place: FloatArray, reach: float) -> int:
    best, found = reach, -1
    for i, curve in enumerate(mesh.curves):
        points = np.concatenate([curve.points, curve.points[:1]]) if curve.closed else curve.points
        a, along = points[:-1], np.diff(points, axis=0)
        square = np.maximum((along**2).sum(axis=1), 1e-300)
        t = np.clip(((place - a) * along).sum(axis=1) / square, 0.0, 1.0)
        gap = float(norms(a + t[:, None] * along - place).min())
        if gap < best:
            best, found = gap, i
    return found
