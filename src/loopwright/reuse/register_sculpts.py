"""Register one sculpt with another, so that what is marked on the one can be carried to the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.progress import Progress, silent
from loopwright.reuse.align import Similarity, fit_similarity
from loopwright.reuse.check_landmarks import check_landmarks
from loopwright.reuse.read_landmarks import NO_LANDMARKS, Landmarks
from loopwright.reuse.register import RegisterOptions, Registration, register
from loopwright.reuse.template import mixtures, template_of_triangles
from loopwright.surface.edges import vertex_normals
from loopwright.surface.project import SurfaceProjector, closest_barycentric
from loopwright.surface.proxy import coarsen, even_edge, surface_area
from loopwright.types import FloatArray, Sculpt

PROXY_TRIANGLES = 12_000


@dataclass(frozen=True)
class SculptRegistration:
    """Two sculpts and where the points of the first come to lie on the second.

    Attributes
    ----------
    source, target : the sculpts. target_projector : of the second.
    moved : (n, 3) the vertices of the first over the second.
    coarse : the registration of a coarse form of the first, with its distances.
    """

    source: Sculpt
    target: Sculpt
    target_projector: SurfaceProjector
    moved: FloatArray
    coarse: Registration

    def similarity(self) -> Similarity:
        """Return the similarity that comes nearest to where the vertices went: how the first lies and how it grew."""
        return fit_similarity(self.source.positions, self.moved) or self.coarse.similarity

    def move_points(self, points: FloatArray) -> FloatArray:
        """Return the (k, 3) places on the second sculpt of points on or near the first."""
        if len(points) == 0:
            return np.zeros((0, 3))
        source = SurfaceProjector(self.source.positions, self.source.triangles)
        landed = source.project(points)
        corners, weights = _corners(source, landed.triangles, landed.points)
        normals = vertex_normals(self.moved, self.source.triangles)
        there = np.einsum("ij,ijk->ik", weights, self.moved[corners])
        facing = np.einsum("ij,ijk->ik", weights, normals[corners])
        facing /= np.maximum(np.linalg.norm(facing, axis=1, keepdims=True), 1e-300)
        return self.target_projector.project(there, facing).points

    def source_vertices(self) -> NDArray[np.int64]:
        """Return for each vertex of the second sculpt the vertex of the first that comes to lie nearest."""
        moved = SurfaceProjector(self.moved, self.source.triangles)
        landed = moved.project(self.target.positions, self.target_projector.vertex_normals)
        corners, weights = _corners(moved, landed.triangles, landed.points)
        nearest: NDArray[np.int64] = corners[np.arange(len(corners)), weights.argmax(axis=1)].astype(np.int64)
        return nearest


def register_sculpts(
    source: Sculpt,
    target: Sculpt,
    *,
    landmarks: Landmarks = NO_LANDMARKS,
    proxy_triangles: int = PROXY_TRIANGLES,
    options: RegisterOptions | None = None,
    shapes: tuple[str, str] = ("first sculpt", "second sculpt"),
    progress: Progress = silent,
) -> SculptRegistration:
    """Register a sculpt with another of the same kind; both are oriented manifolds, as a repair leaves them.

    A coarse form of the first is registered; its vertices follow.

    Parameters
    ----------
    landmarks : places on the first (called ``mesh``) and the second (``sculpt``).
    proxy_triangles : about how many triangles the coarse form has.
    shapes : what the two are called in messages.

    Raises
    ------
    MarksError : a landmark lies far off its sculpt.
    """
    size = even_edge(surface_area(source.positions, source.triangles), proxy_triangles)
    net = coarsen(source.positions, source.triangles, size).net
    template = template_of_triangles(net.positions, net.triangles)
    projector = SurfaceProjector(target.positions, target.triangles)
    if landmarks.names:
        first = SurfaceProjector(source.positions, source.triangles)
        for shape, surface, places in zip(shapes, (first, projector), (landmarks.mesh, landmarks.sculpt), strict=True):
            gaps = np.linalg.norm(surface.project(places).points - places, axis=1)
            check_landmarks(landmarks, places, gaps, surface.diagonal, shape)
    coarse = register(
        template, projector, marks=landmarks.mesh, goals=landmarks.sculpt, options=options, progress=progress
    )
    rows, _ = mixtures(template, source.positions, vertex_normals(source.positions, source.triangles))
    bent = coarse.moved - coarse.similarity.apply(net.positions)
    moved = coarse.similarity.apply(source.positions) + rows @ bent
    return SculptRegistration(source, target, projector, np.ascontiguousarray(moved), coarse)


def _corners(
    projector: SurfaceProjector, triangles: NDArray[np.integer], points: FloatArray
) -> tuple[NDArray[np.integer], FloatArray]:
    corners = projector.triangles[triangles]
    where = projector.positions[corners]
    return corners, closest_barycentric(points, where[:, 0], where[:, 1], where[:, 2])
