"""Find the edge, the pole or the quad that a place on the mesh means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from loopwright.edit.move_pole import find_poles
from loopwright.edit.quad_links import Ids, QuadLinks
from loopwright.edit_wishes import Place
from loopwright.errors import InfeasibleError, MarksError
from loopwright.fit.link_edges import mean_edges
from loopwright.types import FloatArray, MirrorPlane, QuadMesh

_SAME = 1e-9  # of the extent: distances that differ by less are ties, broken by position
FAR_POLE = 3.0  # edges: a pole farther from a place is not the one that is meant
_ASTRAY = 0.25  # of the diagonal: a place so far from the mesh means nothing on it
_LEAST_SINE = 1e-6  # between the surface and a direction that says something on it


def onto_half(place: Place, half: QuadMesh) -> Place:
    """Return the place, mirrored where it lies on the side that a half mesh has not."""
    mirror = half.mirror
    if mirror is None or place.is_settled or mirror.signed_distance(place.near[None])[0] >= 0.0:
        return place
    return reflect_place(place, mirror)


def reflect_place(place: Place, mirror: MirrorPlane) -> Place:
    """Return the mirror image of a place, which is what it means on the half."""

    def turn(direction: FloatArray | None) -> FloatArray | None:
        return None if direction is None else direction - 2.0 * (direction @ mirror.normal) * mirror.normal

    near = mirror.reflect(place.near[None])[0]
    return replace(
        place,
        near=near,
        across=turn(place.across),
        along=turn(place.along),
        toward=turn(place.toward),
        is_mirrored=True,
    )


def check_near(mesh: QuadMesh, place: Place | None) -> None:
    """Refuse a place that is not near the mesh; of a half, its image counts too.

    Raises
    ------
    MarksError
        If it is farther from every vertex than a share of the mesh's diagonal.
    """
    if place is None or not len(mesh.positions):
        return
    points = onto_half(place, mesh).near
    gap = float(np.linalg.norm(mesh.positions - points, axis=1).min())
    if gap > _ASTRAY * float(np.linalg.norm(np.ptp(mesh.positions, axis=0))):
        here = tell_spot(mesh, place, place.near)
        raise MarksError(f"its place {here} is {gap:.3g} away from the mesh; put it on the surface.")


def pick_rung(mesh: QuadMesh, links: QuadLinks, place: Place) -> int:
    """Return the edge that the new loop would cross: the nearest one, or the nearest that runs the way asked for."""
    if place.across is not None:
        return _pick_directed(mesh, links, place.near, place.across, is_along=True)
    if place.along is not None:
        return _pick_directed(mesh, links, place.near, place.along, is_along=False)
    return _nearest_edge(mesh, links, np.arange(len(links.edges)), place.near)


def pick_rail(mesh: QuadMesh, links: QuadLinks, place: Place) -> int:
    """Return the edge on the loop that is meant: the nearest one, or the nearest that runs the way asked for."""
    return pick_rung(mesh, links, replace(place, across=place.along, along=place.across))


def pick_pole(mesh: QuadMesh, place: Place) -> int:
    """Return the pole nearest to a place.

    Raises
    ------
    MarksError
        If the mesh has none, or the nearest is more than a few edges off: another one would be meant, or none.
    """
    poles = find_poles(mesh)
    if len(poles) == 0:
        raise MarksError("The mesh has no poles.")
    pole = int(poles[_nearest(mesh.positions[poles], place.near)])
    gap, edges = _gap(mesh, place, pole)
    if edges > FAR_POLE:
        here, there = tell_spot(mesh, place, place.near), tell_spot(mesh, place, mesh.positions[pole])
        raise MarksError(
            f"no pole is within {FAR_POLE:g} edges of its place {here}: the nearest, at {there}, is {gap:.3g} away "
            f"({edges:.2f} edges); name the place of the pole that is meant.",
            places=[tuple(_beside(mesh, place, mesh.positions[pole]).tolist())],
        )
    return pole


def pick_partner(mesh: QuadMesh, links: QuadLinks, pole: int, place: Place) -> int:
    """Return the pole of another valence that an edge joins to this one; of several the one nearest to the place.

    Raises
    ------
    InfeasibleError
        If there is none.
    """
    near = links.edges[(links.edges == pole).any(axis=1)].sum(axis=1) - pole
    partners: Ids = np.intersect1d(near, find_poles(mesh))
    partners = partners[links.valence[partners] != links.valence[pole]]
    if len(partners) == 0:
        spot = mesh.positions[pole]
        raise InfeasibleError(
            f"The pole near {tell_spot(mesh, place, spot)} has no partner of another valence beside it.",
            places=[tuple(_beside(mesh, place, spot).tolist())],
        )
    distance = np.linalg.norm(mesh.positions[partners] - place.near, axis=1)
    return int(partners[int(distance.argmin())])


def tell_poles_taken(mesh: QuadMesh, place: Place, poles: Sequence[int]) -> str:
    """Say which poles an edit took for a place, on the side where the place is, and how far off the first one is."""
    spots = " and ".join(tell_spot(mesh, place, mesh.positions[pole]) for pole in poles)
    what = "pole taken was that" if len(poles) == 1 else "poles taken were those"
    return f"the {what} at {spots}, {_gap(mesh, place, poles[0])[1]:.2g} edges from the place"


def tell_spot(mesh: QuadMesh, place: Place, point: FloatArray) -> str:
    """Return a (3,) point of the half that is edited as text, on the side where the place was given."""
    return "({:.4g}, {:.4g}, {:.4g})".format(*_beside(mesh, place, point))


def _beside(mesh: QuadMesh, place: Place, point: FloatArray) -> FloatArray:
    """Return a (3,) point of the half that is edited, on the side where the place was given."""
    if mesh.mirror is not None and place.is_mirrored:
        point = mesh.mirror.reflect(point[None])[0]
    return point + 0.0


def _gap(mesh: QuadMesh, place: Place, vertex: int) -> tuple[float, float]:
    """Return how far a vertex is from a place, and that in edges of the vertex."""
    gap = float(np.linalg.norm(mesh.positions[vertex] - place.near))
    return gap, gap / max(float(mean_edges(mesh.positions, mesh.quads)[vertex]), 1e-300)


def _pick_directed(mesh: QuadMesh, links: QuadLinks, near: FloatArray, direction: FloatArray, *, is_along: bool) -> int:
    """Pick the nearest quad, in it the pair of edges most along (or most across) the direction, of them the nearer."""
    corners = mesh.positions[mesh.quads]
    quad = _nearest(corners.mean(axis=1), near)
    edge = np.roll(corners[quad], -1, axis=0) - corners[quad]
    pair = np.stack([edge[0] - edge[2], edge[1] - edge[3]])
    size = np.linalg.norm(pair, axis=1)
    cosine = np.abs(pair @ direction) / np.where(size > 0.0, size, 1.0) / np.linalg.norm(direction)
    if cosine.max() < _LEAST_SINE:
        raise MarksError("The direction stands upright on the mesh there; give one that lies in its surface.")
    first = int(cosine.argmax()) if is_along else 1 - int(cosine.argmax())
    return _nearest_edge(mesh, links, links.quad_edge[quad, [first, first + 2]], near)


def _nearest_edge(mesh: QuadMesh, links: QuadLinks, edges: Ids, near: FloatArray) -> int:
    return int(edges[_nearest(mesh.positions[links.edges[edges]].mean(axis=1), near)])


def _nearest(points: FloatArray, near: FloatArray) -> int:
    """Return the nearest of (k, 3) points; ties go to the lowest coordinates, not to the lowest id."""
    distance = np.linalg.norm(points - near, axis=1)
    unit = _SAME * max(float(np.ptp(points, axis=0).max()), float(distance.min()), 1e-300)
    tied = np.flatnonzero(distance <= distance.min() + unit)
    place = np.round(points[tied] / unit)
    return int(tied[np.lexsort((place[:, 2], place[:, 1], place[:, 0]))[0]])
