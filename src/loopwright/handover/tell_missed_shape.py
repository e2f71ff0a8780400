"""Tell where the sculpt stands off the mesh: forms that its faces are too large, or laid too far off, to follow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from loopwright.fit.link_edges import on_rim
from loopwright.numerics.catmull_clark import refine
from loopwright.numerics.limit_surface import limit_matrix
from loopwright.numerics.norms import norms
from loopwright.surface.edges import cross_rows, row_lengths
from loopwright.surface.mirror import sample_triangles
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.proxy import surface_area
from loopwright.types import BoolArray, Finding, FloatArray, IntArray, Paint, QuadMesh

_SAMPLES = 20_000  # of the sculpt
_OFF = 0.5  # of an edge of the quads there, from which the shape is missed
_LEAST = 1.0  # quads' area over which it has to be
_BESIDE = 1.5  # edges: so near to each other, samples are of one place
_SHOWN = 3  # places that are named


@dataclass(frozen=True)
class _Place:
    """A place where the sculpt stands off: how far at most, in edges too, where that is, and in which region."""

    off: float
    edges: float
    at: FloatArray
    region: int


@dataclass(frozen=True)
class Samples:
    """(k, 3) points of a sculpt, spread evenly, and the area that each stands for."""

    points: FloatArray
    area: float


def sample_kept(projector: SurfaceProjector, paint: Paint, is_open: BoolArray) -> Samples:
    """Return samples of a sculpt, but for those of areas that are left open.

    Parameters
    ----------
    projector : of the sculpt. paint : the colours of its vertices.
    is_open : (c,) which colours of the palette are left open.
    """
    positions, triangles = projector.positions, projector.triangles
    corners = triangles[sample_triangles(positions, triangles, _SAMPLES)]
    kept = corners[~np.append(is_open, False)[paint.color][corners].any(axis=1)]
    return Samples(positions[kept].mean(axis=1), surface_area(positions, triangles) / _SAMPLES)


def tell_missed_shape(mesh: QuadMesh, samples: Samples, *, use_limit: bool = True) -> list[Finding]:
    """Return a finding with the places where the sculpt stands off the mesh by half an edge or more, the worst first.

    Parameters
    ----------
    mesh : the whole mesh.
    samples : of what the mesh covers.
    use_limit : compare the smooth surface that the mesh tends to, else the mesh itself.
    """
    if len(mesh.quads) == 0 or len(samples.points) == 0:
        return []
    points = samples.points
    positions, quads, of_quad = _surface(mesh, use_limit=use_limit)
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32)
    landed = SurfaceProjector(positions, triangles).project(points)
    fine = landed.triangles % len(quads)
    quad, away = of_quad[fine], norms(points - landed.points)
    corners = mesh.positions[mesh.quads]
    area = 0.5 * row_lengths(cross_rows(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]))
    edge = np.sqrt(np.maximum(area, 1e-300))[quad]
    at_rim = on_rim(quads, len(positions))[quads[fine]].any(axis=1)
    off = np.flatnonzero((away > _OFF * edge) & ~at_rim)  # beyond the rim the sculpt goes on without the mesh
    places = []
    for group in _groups(points[off], float(np.mean(edge[off])) * _BESIDE if len(off) else 0.0):
        ids = off[group]
        if len(ids) * samples.area >= _LEAST * float(np.mean(edge[ids])) ** 2:
            worst = int(ids[(away[ids] / edge[ids]).argmax()])
            region = int(mesh.quad_region[quad[worst]])
            places.append(_Place(float(away[worst]), float(away[worst] / edge[worst]), points[worst], region))
    return _tell(mesh, sorted(places, key=lambda place: -place.edges))


def _tell(mesh: QuadMesh, places: list[_Place]) -> list[Finding]:
    if not places:
        return []
    shown = "; ".join(
        f"{place.off:.3g} ({place.edges:.1f} edges) in {mesh.regions[place.region].name} near "
        f"({', '.join(f'{value:.4g}' for value in place.at)})"
        for place in places[:_SHOWN]
    )
    count = "one place" if len(places) == 1 else f"{len(places)} places"
    text = (
        f"The sculpt stands off the mesh in {count}, at most by {shown}. Smaller faces there (--size, or a size dab in "
    )
    text += "a marks file), a flow line along the form, or a larger budget come nearer."
    return [Finding("shape_missed", text, len(places))]


def _surface(mesh: QuadMesh, *, use_limit: bool) -> tuple[FloatArray, IntArray, NDArray[np.int64]]:
    """Return positions, quads, and which quad of the mesh each is of: those of the limit, or of the mesh itself."""
    if not use_limit:
        return mesh.positions, mesh.quads, np.arange(len(mesh.quads))
    finer = refine(mesh.quads, len(mesh.positions))
    control = finer.matrix @ mesh.positions
    limit: FloatArray = limit_matrix(finer.quads, len(control)) @ control
    return limit, finer.quads, np.repeat(np.arange(len(mesh.quads)), 4)


def _groups(points: FloatArray, reach: float) -> list[NDArray[np.int64]]:
    """Return the rows of points that hang together by steps within reach."""
    if len(points) == 0:
        return []
    pairs = cKDTree(points, balanced_tree=False).query_pairs(reach, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    count, part = connected_components(links, directed=False)
    return [np.flatnonzero(part == k) for k in range(count)]
