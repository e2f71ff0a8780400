"""Put points on the sculpt where its normal agrees: never across a lip, a lid or an ear."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import lagrange
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from loopwright.errors import InputError, InternalError
from loopwright.numerics.nearest import nearest
from loopwright.numerics.norms import norms
from loopwright.surface.sort_pairs import sort_ids
from loopwright.types import FloatArray, IntArray

_NORMAL_REACH = 0.02  # of the diagonal: how far a point may travel to find a normal that agrees
_WALK_STEPS = 64
_SAMPLES = 500_000  # of the sculpt's vertices, near which a sketched landing finds its tangent plane
_SKETCH_LEAF = 32  # of those in a leaf of their tree: fewer jumps in memory than in a deeper one
_SMOOTHING_ROUNDS = 2


@dataclass(frozen=True)
class Projection:
    """Where points landed on the sculpt.

    Attributes
    ----------
    points : (k, 3) float64, on the sculpt.
    triangles : (k,) int32, the triangle each point lies in.
    normals : (k, 3) float64, the sculpt's smoothed unit normal there.
    """

    points: FloatArray
    triangles: IntArray
    normals: FloatArray


class SurfaceProjector:
    """Closest points on one sculpt; trees are built once and asked many times.

    Parameters
    ----------
    positions : (n, 3) float64
    triangles : (m, 3) int32, counter-clockwise seen from outside. The whole
        sculpt, areas that stay open included.

    Raises
    ------
    InputError
        If there is no triangle, or a position is not finite.

    Examples
    --------
    >>> import numpy as np
    >>> corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> projector = SurfaceProjector(corners, np.array([[0, 1, 2]], np.int32))
    >>> projector.project(np.array([[0.25, 0.25, 1.0]])).points.tolist()
    [[0.25, 0.25, 0.0]]
    """

    def __init__(self, positions: FloatArray, triangles: IntArray) -> None:
        self.positions = np.ascontiguousarray(positions, np.float64)
        self.triangles = np.ascontiguousarray(triangles, np.int32)
        if len(self.triangles) == 0:
            raise InputError("The sculpt has no triangles to put points on; give a sculpt with a surface.")
        if not np.isfinite(self.positions).all():
            raise InputError("The sculpt has positions that are not finite numbers; repair the file first.")
        low, high = self.positions.min(axis=0), self.positions.max(axis=0)
        self._center = (low + high) / 2.0
        self.diagonal = float(np.linalg.norm(high - low))
        self.vertex_normals = smooth_vertex_normals(self.positions, self.triangles)
        mesh = lagrange.SurfaceMesh()
        mesh.add_vertices(self.positions - self._center)
        mesh.add_triangles(self.triangles.astype(np.uint32))
        self._caster = lagrange.raycasting.RayCaster()
        self._caster.add_mesh(mesh)
        self._caster.commit_updates()

    @cached_property
    def _used(self) -> IntArray:
        return np.flatnonzero(np.bincount(self.triangles.ravel(), minlength=len(self.positions))).astype(np.int32)

    @cached_property
    def _tree(self) -> cKDTree:
        reach = _NORMAL_REACH * self.diagonal
        used = self._used
        points = np.hstack([self.positions[used] - self._center, reach * self.vertex_normals[used]])
        return cKDTree(points, balanced_tree=False, compact_nodes=False)

    @cached_property
    def _rings(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return (start, triangle): the triangles round vertex v are triangle[start[v]:start[v + 1]]."""
        corners = self.triangles.ravel()
        order = sort_ids(corners, len(self.positions)).astype(np.int64)
        start = np.zeros(len(self.positions) + 1, np.int64)
        np.cumsum(np.bincount(corners, minlength=len(self.positions)), out=start[1:])
        return start, order // 3

    def project(self, points: FloatArray, normals: FloatArray | None = None, *, min_cosine: float = 0.3) -> Projection:
        """Return the closest points on the sculpt, with its normal agreeing where one is asked for.

        Parameters
        ----------
        points : (k, 3) float64
        normals : (k, 3) float64 unit normals to agree with, or None. A zero normal asks for nothing.
        min_cosine : least cosine between the asked normal and the sculpt's smoothed one. Where the
            plain closest point fails it, the nearest surface near by that passes is taken; where there
            is none, the plain closest point stays.
        """
        points = np.ascontiguousarray(points, np.float64)
        if len(points) == 0:
            return Projection(np.zeros((0, 3)), np.zeros(0, np.int32), np.zeros((0, 3)))
        if not np.isfinite(points).all():
            raise InternalError("A point to put on the sculpt is not finite.")
        hits: Any = self._caster.closest_point((points - self._center).astype(np.float32).reshape(-1, 3))
        found = np.asarray(hits.facet_index).astype(np.int32)
        weights = self._weights(points, found)
        surface_normals = self._normals(found, weights)
        if normals is not None:
            cosine = np.einsum("ij,ij->i", normals, surface_normals)
            astray = np.flatnonzero((cosine < min_cosine) & (np.abs(normals).sum(axis=1) > 0.0))
            if len(astray):
                self._correct(points, normals, min_cosine, astray, found, weights)
                surface_normals = self._normals(found, weights)
        landed = np.einsum("ij,ijk->ik", weights, self.positions[self.triangles[found]])
        return Projection(landed, found, surface_normals)

    @cached_property
    def _sketch(self) -> tuple[cKDTree, FloatArray, FloatArray]:
        """Return a tree of some of the sculpt's vertices, their positions and their normals."""
        chosen = self._used[:: max(1, len(self._used) // _SAMPLES)]
        places = self.positions[chosen]
        return cKDTree(places, balanced_tree=False, leafsize=_SKETCH_LEAF), places, self.vertex_normals[chosen]

    def sketch(
        self, points: FloatArray, normals: FloatArray, reach: FloatArray, *, min_cosine: float = 0.3
    ) -> tuple[FloatArray, FloatArray]:
        """Return about where points land, and the normals there: several times quicker than :meth:`project`.

        A point lands in the tangent plane of a vertex of the sculpt near it, off the surface by some of
        the squared distance to that vertex times the curvature. Where no vertex whose normal agrees is
        within reach, it lands exactly.

        Parameters
        ----------
        points : (k, 3) float64
        normals : (k, 3) float64 unit normals to agree with. A zero normal asks for nothing.
        reach : (k,) how far the vertex may lie from the point.
        """
        tree, places, facing = self._sketch
        distance, near = nearest(tree, points)
        there = facing[near]
        landed = points - _dot(points - places[near], there)[:, None] * there
        fails = (distance > reach) | ((_dot(normals, there) < min_cosine) & normals.any(axis=1))
        exact = np.flatnonzero(fails)
        if len(exact):
            found = self.project(points[exact], normals[exact], min_cosine=min_cosine)
            landed[exact], there[exact] = found.points, found.normals
        return landed, there

    def _weights(self, points: FloatArray, triangles: NDArray[np.integer]) -> FloatArray:
        corners = self.positions[self.triangles[triangles]]
        return closest_barycentric(points, corners[:, 0], corners[:, 1], corners[:, 2])

    def _normals(self, triangles: NDArray[np.integer], weights: FloatArray) -> FloatArray:
        return unit(np.einsum("ij,ijk->ik", weights, self.vertex_normals[self.triangles[triangles]]))

    def _correct(
        self,
        points: FloatArray,
        normals: FloatArray,
        min_cosine: float,
        astray: NDArray[np.int64],
        found: IntArray,
        weights: FloatArray,
    ) -> None:
        """Overwrite ``found`` and ``weights`` of the points that landed on a surface that faces elsewhere."""
        asked_points, asked_normals = points[astray], normals[astray]
        reach = _NORMAL_REACH * self.diagonal
        _, near = nearest(self._tree, np.hstack([asked_points - self._center, reach * asked_normals]))
        vertex = self._used[near].astype(np.int64)
        best = np.full(len(astray), np.inf)
        active = np.arange(len(astray))
        for _ in range(_WALK_STEPS):
            triangle, weight, distance = self._best_in_ring(
                vertex[active], asked_points[active], asked_normals[active], min_cosine
            )
            better = distance < best[active] * (1.0 - 1e-9)
            if not better.any():
                break
            active, triangle, weight = active[better], triangle[better], weight[better]
            best[active] = distance[better]
            found[astray[active]] = triangle
            weights[astray[active]] = weight
            vertex[active] = self.triangles[triangle, weight.argmax(axis=1)]

    def _best_in_ring(
        self, vertices: NDArray[np.int64], points: FloatArray, normals: FloatArray, min_cosine: float
    ) -> tuple[NDArray[np.int64], FloatArray, FloatArray]:
        """Return the closest agreeing triangle round each vertex, its weights and the distance (inf if none)."""
        start, ring = self._rings
        count = start[vertices + 1] - start[vertices]
        owner = np.repeat(np.arange(len(vertices)), count)
        first = np.cumsum(count) - count
        triangle = ring[np.arange(count.sum()) - first[owner] + start[vertices][owner]]
        weight = self._weights(points[owner], triangle)
        landed = np.einsum("ij,ijk->ik", weight, self.positions[self.triangles[triangle]])
        distance = norms(landed - points[owner])
        agrees = np.einsum("ij,ij->i", self._normals(triangle, weight), normals[owner]) >= min_cosine
        distance[~agrees] = np.inf
        order = np.lexsort((distance, owner))
        chosen = order[first]
        return triangle[chosen], weight[chosen], distance[chosen]


def unit(vectors: FloatArray) -> FloatArray:
    """Return (k, 3) vectors scaled to length one; zero stays zero."""
    length = np.sqrt(np.einsum("...j,...j->...", vectors, vectors))[..., None]
    scaled: FloatArray = vectors / np.where(length > 0.0, length, 1.0)
    return scaled


def smooth_vertex_normals(positions: FloatArray, triangles: IntArray, *, rounds: int = _SMOOTHING_ROUNDS) -> FloatArray:
    """Return (n, 3) unit vertex normals, area weighted and averaged ``rounds`` times over the neighbours."""
    a, b, c = (positions[triangles[:, k]] for k in range(3))
    cross = _cross(b - a, c - a)
    incidence = csr_matrix(
        (np.ones(triangles.size), triangles.ravel(), np.arange(0, triangles.size + 1, 3)),
        shape=(len(triangles), len(positions)),
    )
    normals = unit(incidence.T @ cross)
    area = np.sqrt(_dot(cross, cross))[:, None]
    for _ in range(rounds):
        normals = unit(incidence.T @ ((incidence @ normals) * area))
    return normals


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.stack([a[:, i] * b[:, j] - a[:, j] * b[:, i] for i, j in ((1, 2), (2, 0), (0, 1))], axis=1)


def closest_barycentric(points: FloatArray, a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Return (k, 3) barycentric weights of the point of triangle (a, b, c) closest to each point.

    The foot in the plane where it lies inside, else the best foot on the three edges; a triangle without
    area falls back on its edges.
    """
    ab, ac, ap = b - a, c - a, points - a
    d00, d01, d11 = _dot(ab, ab), _dot(ab, ac), _dot(ac, ac)
    d20, d21 = _dot(ap, ab), _dot(ap, ac)
    area = d00 * d11 - d01 * d01
    safe = np.where(area > 1e-30 * np.maximum(d00 * d11, 1e-300), area, 1.0)
    v, w = (d11 * d20 - d01 * d21) / safe, (d00 * d21 - d01 * d20) / safe
    inside = (area > 1e-14 * d00 * d11) & (v >= 0.0) & (w >= 0.0) & (v + w <= 1.0)
    best = np.stack([1.0 - v - w, v, w], axis=1)
    outside = np.flatnonzero(~inside)
    if len(outside):
        best[outside] = _closest_on_edges(points[outside], np.stack([a[outside], b[outside], c[outside]], axis=1))
    return best


def _closest_on_edges(points: FloatArray, corners: FloatArray) -> FloatArray:
    rows = np.arange(len(points))
    weights = np.zeros((3, len(points), 3))
    distance = np.zeros((3, len(points)))
    for k in range(3):
        start, end = corners[:, k], corners[:, (k + 1) % 3]
        along = end - start
        length = _dot(along, along)
        t = np.clip(_dot(points - start, along) / np.where(length > 0.0, length, 1.0), 0.0, 1.0)
        weights[k, :, k], weights[k, :, (k + 1) % 3] = 1.0 - t, t
        gap = points - start - t[:, None] * along
        distance[k] = _dot(gap, gap)
    chosen: FloatArray = weights[distance.argmin(axis=0), rows]
    return chosen


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    product: FloatArray = np.einsum("ij,ij->i", a, b)
    return product
