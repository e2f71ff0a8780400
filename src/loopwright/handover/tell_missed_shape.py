"""Tell where the sculpt stands off the mesh: forms that its faces are too large, or laid too far off, to follow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from loopwright.numerics.catmull_clark import refine
from loopwright.numerics.limit_surface import limit_matrix
from loopwright.numerics.norms import norms
from loopwright.surface.edges import cross_rows, row_lengths, triangle_normals
from loopwright.surface.mirror import sample_triangles
from loopwright.surface.project import SurfaceProjector, closest_barycentric
from loopwright.surface.rim import Rim
from loopwright.types import BoolArray, Finding, FloatArray, IntArray, Paint, QuadMesh

_SAMPLES = 20_000  # spread evenly over the sculpt, beside its vertices
_OFF = 0.5  # of an edge of the quads there, from which the shape is missed
_FACE = 1.0  # quads' area over which that is told ...
_LEAST, _FAR = 0.1, 2.0 / 3.0  # ... or over so little, a form smaller than a face, where it is so many edges
_BESIDE = 1.5  # edges: so near to each other, samples are of one place
_CELLS = 2.0  # a step within that reach, along each axis: in each of them, one sample stands for all
_LEADERS = 250.0  # cells along the diagonal, in each of which one sample is measured first, and ...
_SURELY = 0.25  # ... the others only where the distance may be so many edges, or the largest of all
_FEW = 20_000  # quads up to which the limit is sampled finely: facets of larger ones would be off it
_LEAST_EDGE = 0.5  # of the usual edge: where edges are shorter, distances are told against so much
_SHOWN = 3  # places that are named


@dataclass(frozen=True)
class _Place:
    """A place where the sculpt stands off: how far at most, in edges too, how wide it is, where, in which region."""

    off: float
    edges: float
    width: float
    at: FloatArray
    region: int


@dataclass(frozen=True)
class Samples:
    """Points of a sculpt.

    Attributes
    ----------
    points : (k, 3), and the (k,) ``areas`` that they stand for.
    leader : (k,) the row of a point near to each, which few have in common, and how far that is: ``apart``.
    """

    points: FloatArray
    areas: FloatArray
    leader: NDArray[np.int64]
    apart: FloatArray


def sample_kept(projector: SurfaceProjector, paint: Paint, is_open: BoolArray) -> Samples:
    """Return samples of a sculpt, but for those of areas that are left open.

    They are all its vertices, so that no form is too small to be met, and middles of triangles, spread evenly by area,
    for where its triangles are large. Each of the two stands for half of the area.

    Parameters
    ----------
    projector : of the sculpt. paint : the colours of its vertices.
    is_open : (c,) which colours of the palette are left open.
    """
    positions, triangles = projector.positions, projector.triangles
    is_kept = np.logical_not(np.append(is_open, False)[paint.color][triangles].any(axis=1))
    area = 0.5 * row_lengths(triangle_normals(positions, triangles))
    kept = triangles[is_kept]
    own = np.bincount(kept.ravel(), np.repeat(area[is_kept] / 3.0, 3), len(positions))
    used = np.flatnonzero(np.bincount(kept.ravel(), minlength=len(positions)))
    chosen = sample_triangles(positions, triangles, _SAMPLES)
    middles = positions[triangles[chosen[is_kept[chosen]]]].mean(axis=1)
    share = np.full(len(middles), float(area.sum()) / _SAMPLES)
    points = np.concatenate([positions[used], middles])
    _, first, cell = _cells(points, projector.diagonal / _LEADERS)
    leader = first[cell]
    return Samples(points, 0.5 * np.concatenate([own[used], share]), leader, norms(points - points[leader]))


def _cells(points: FloatArray, width: float) -> tuple[IntArray, NDArray[np.int64], NDArray[np.int64]]:
    """Return the cells of this width that points lie in, the first point of each, and (k,) each point's cell."""
    cells = np.floor((points - points.min(axis=0, initial=np.inf)) / max(width, 1e-300)).astype(np.int64)
    spans = cells.max(axis=0, initial=0) + 1
    keys, first, cell = np.unique(np.ravel_multi_index(cells.T, spans), return_index=True, return_inverse=True)
    return keys, first, cell.ravel()


def tell_missed_shape(mesh: QuadMesh, samples: Samples, *, use_limit: bool = True) -> list[Finding]:
    """Return a finding with the places where the sculpt stands off the mesh by half an edge or more, farthest first.

    They are those as large as a face, and smaller ones that stand off by two thirds of an edge, such as a horn that is
    lost. Told, too, is on what share of the sculpt's area it stands off so, and how far any sample does at most.

    Parameters
    ----------
    mesh : the whole mesh.
    samples : of what the mesh covers.
    use_limit : compare the smooth surface that the mesh tends to, else the mesh itself.
    """
    if len(mesh.quads) == 0 or len(samples.points) == 0:
        return []
    points = samples.points
    corners = mesh.positions[mesh.quads]
    area = 0.5 * row_lengths(cross_rows(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]))
    edges = np.sqrt(area)
    edges = np.maximum(edges, max(_LEAST_EDGE * float(np.median(edges)), 1e-300))
    away, quad, is_beyond = _measure(mesh, samples, edges, use_limit=use_limit)
    edge = edges[quad]
    off = np.flatnonzero((away > _OFF * edge) & ~is_beyond)
    places = []
    for group in _groups(points[off], float(np.mean(edge[off])) * _BESIDE if len(off) else 0.0):
        ids = off[group]
        faces = float(samples.areas[ids].sum()) / float(np.mean(edge[ids])) ** 2
        if faces >= _FACE or (faces >= _LEAST and (away[ids] / edge[ids]).max() >= _FAR):
            worst = int(ids[away[ids].argmax()])
            width = float(np.ptp(points[ids], axis=0).max())
            region = int(mesh.quad_region[quad[worst]])
            places.append(_Place(float(away[worst]), float(away[worst] / edge[worst]), width, points[worst], region))
    share = float(samples.areas[off].sum() / samples.areas[~is_beyond].sum()) if len(off) else 0.0
    return _tell(mesh, sorted(places, key=lambda place: -place.off), share, float(away[~is_beyond].max(initial=0.0)))


def _measure(
    mesh: QuadMesh, samples: Samples, edges: FloatArray, *, use_limit: bool
) -> tuple[FloatArray, NDArray[np.int64], BoolArray]:
    """Return how far each sample is from the mesh, the quad it lands on, and whether it lies beyond the mesh's rim.

    Where a sample's leader is near, and it near to that, their distances count for it: they are no less than its own.

    Parameters
    ----------
    edges : (m,) of the quads.
    """
    positions, quads, of_quad = _surface(mesh, use_limit=use_limit)
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32)
    surface, rim = SurfaceProjector(positions, triangles), Rim(triangles)
    count = len(samples.points)
    away, quad, is_beyond = np.zeros(count), np.zeros(count, np.int64), np.zeros(count, np.bool_)
    is_known = np.zeros(count, np.bool_)

    def look(rows: NDArray[np.int64]) -> None:
        landed = surface.project(samples.points[rows])
        corners = positions[triangles[landed.triangles]]
        weights = closest_barycentric(landed.points, corners[:, 0], corners[:, 1], corners[:, 2])
        away[rows], quad[rows] = norms(samples.points[rows] - landed.points), of_quad[landed.triangles % len(quads)]
        is_beyond[rows], is_known[rows] = rim.holds(landed.triangles, weights), True

    look(np.unique(samples.leader))
    most = np.where(is_known, away, away[samples.leader] + samples.apart)
    quad, is_beyond = np.where(is_known, quad, quad[samples.leader]), is_beyond[samples.leader]
    look(np.flatnonzero(~is_known & ((most > _SURELY * edges[quad]) | is_beyond)))
    look(np.flatnonzero(~is_known & (most > away[is_known & ~is_beyond].max(initial=0.0))))
    return np.where(is_known, away, most), quad, is_beyond


def _tell(mesh: QuadMesh, places: list[_Place], share: float, most: float) -> list[Finding]:
    if not places:
        return []
    shown = "; ".join(
        f"by {place.off:.3g} ({place.edges:.1f} edges) in {mesh.regions[place.region].name} near "
        f"({', '.join(f'{value:.4g}' for value in place.at)}), where that is {place.width:.3g} wide"
        for place in places[:_SHOWN]
    )
    count = "one place" if len(places) == 1 else f"{len(places)} places"
    text = (
        f"The sculpt stands off the mesh by half an edge or more on {_percent(share)} of its area, most of all in "
        f"{count}: {shown}. But for what lies beyond the mesh's rims, no vertex of it that gets faces is off by more "
        f"than {_round_up(most)}. Smaller faces there (--size, or a size dab in a marks file), a flow line along the "
        "form, or a larger budget come nearer."
    )
    return [Finding("shape_missed", text, len(places))]


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %" if share >= 1e-3 else "less than 0.1 %"


def _round_up(value: float) -> str:
    """Return a positive number, in three digits, that is not below a value."""
    step = 10.0 ** (np.floor(np.log10(value)) - 2)
    return f"{np.ceil(value / step) * step:.3g}"


def _surface(mesh: QuadMesh, *, use_limit: bool) -> tuple[FloatArray, IntArray, NDArray[np.int64]]:
    """Return positions, quads, and which quad of the mesh each is of: those of the limit, or of the mesh itself."""
    if not use_limit:
        return mesh.positions, mesh.quads, np.arange(len(mesh.quads))
    quads, control, of_quad = mesh.quads, mesh.positions, np.arange(len(mesh.quads))
    for _ in range(2 if len(quads) <= _FEW else 1):
        finer = refine(quads, len(control))
        quads, control, of_quad = finer.quads, finer.matrix @ control, np.repeat(of_quad, 4)
    limit: FloatArray = limit_matrix(quads, len(control)) @ control
    return limit, quads, of_quad


def _groups(points: FloatArray, reach: float) -> list[NDArray[np.int64]]:
    """Return the rows of points that hang together by steps within reach, or little more."""
    if len(points) == 0:
        return []
    _, first, cell = _cells(points, reach / _CELLS)
    pairs = cKDTree(points[first], balanced_tree=False).query_pairs(reach, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(first), len(first)))
    count, part = connected_components(links, directed=False)
    label = part[cell]
    return [np.flatnonzero(label == k) for k in range(count)]
