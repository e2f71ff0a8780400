"""The shape that is carried: points, triangles between them and what they are made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import splu

from loopwright.numerics.catmull_clark import unique_edges
from loopwright.numerics.limit_surface import limit_matrix
from loopwright.surface.edges import build_edges, vertex_normals
from loopwright.surface.project import SurfaceProjector, closest_barycentric
from loopwright.types import FloatArray, IntArray

_CALM = 1e-6  # weight of a smooth move of the control points, where the limit surface leaves them free


@dataclass(frozen=True)
class Template:
    """A surface to be carried.

    Attributes
    ----------
    positions : (n, 3) points on the surface; for a quad mesh those of its limit surface.
    triangles : (m, 3) int32.
    edges : (e, 2) int32.
    rims : runs of vertex ids along each closed boundary, in order.
    """

    positions: FloatArray
    triangles: IntArray
    edges: IntArray
    rims: tuple[IntArray, ...]

    def normals(self, positions: FloatArray) -> FloatArray:
        """Return (n, 3) unit normals of the surface with its points elsewhere."""
        return vertex_normals(positions, self.triangles)


def template_of_quads(positions: FloatArray, quads: IntArray) -> Template:
    """Return the limit surface of a quad mesh, one point per vertex."""
    points = np.ascontiguousarray(limit_matrix(quads, len(positions)) @ positions)
    triangles = np.ascontiguousarray(np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]), np.int32)
    return Template(points, triangles, unique_edges(quads).astype(np.int32), trace_rims(quads))


def template_of_triangles(positions: FloatArray, triangles: IntArray) -> Template:
    """Return a triangle mesh as it is."""
    edges = build_edges(triangles, len(positions)).edges.astype(np.int32)
    return Template(positions, triangles, edges, trace_rims(triangles))


def trace_rims(faces: IntArray) -> tuple[IntArray, ...]:
    """Return each closed boundary of (m, k) faces as a run of vertices, in the direction of the faces."""
    start, end = faces.ravel().astype(np.int64), np.roll(faces, -1, axis=1).ravel().astype(np.int64)
    base = int(faces.max()) + 1 if faces.size else 1
    is_rim = ~np.isin(start * base + end, end * base + start)
    onward: dict[int, list[int]] = {}
    for a, b in sorted(zip(start[is_rim].tolist(), end[is_rim].tolist(), strict=True), reverse=True):
        onward.setdefault(a, []).append(b)
    rims = []
    while onward:
        run = [min(onward)]
        while run[-1] in onward:
            following = onward[run[-1]]
            run.append(following.pop())
            if not following:
                del onward[run[-2]]
        rims.append(np.array(run[:-1] if run[0] == run[-1] else run, np.int32))
    return tuple(rims)


def mixtures(
    template: Template, points: FloatArray, normals: FloatArray | None = None
) -> tuple[csr_matrix, FloatArray]:
    """Return a sparse (k, n) that mixes the template's points to those nearest to (k, 3) others, and the distances.

    With (k, 3) normals the template's normal has to agree with them where it can.
    """
    n = len(template.positions)
    if len(points) == 0:
        return csr_matrix((0, n)), np.zeros(0)
    landed = SurfaceProjector(template.positions, template.triangles).project(points, normals)
    corners = template.triangles[landed.triangles]
    where = template.positions[corners]
    weights = closest_barycentric(landed.points, where[:, 0], where[:, 1], where[:, 2])
    rows = np.repeat(np.arange(len(points)), 3)
    matrix = csr_matrix((weights.ravel(), (rows, corners.ravel())), shape=(len(points), n))
    return matrix, np.linalg.norm(landed.points - points, axis=1)


def second_differences(edges: IntArray, count: int) -> csr_matrix:
    """Return the sparse (n, n) that takes each value less the mean of its neighbours'."""
    both = np.vstack([edges, edges[:, ::-1]])
    degree = np.maximum(np.bincount(both[:, 0], minlength=count), 1)
    rows, columns = np.concatenate([np.arange(count), both[:, 0]]), np.concatenate([np.arange(count), both[:, 1]])
    values = np.concatenate([np.ones(count), -1.0 / degree[both[:, 0]]])
    return csr_matrix((values, (rows, columns)), shape=(count, count))


def follow_limit(quads: IntArray, edges: IntArray, moves: FloatArray) -> FloatArray:
    """Return the (n, 3) moves of control points under which the limit points make the moves given."""
    points = limit_matrix(quads, len(moves))
    fair = second_differences(edges, len(moves))
    square = (points.T @ points + _CALM * (fair.T @ fair)).tocsc()
    solved: FloatArray = splu(square, permc_spec="MMD_AT_PLUS_A").solve(points.T @ moves)
    return solved
