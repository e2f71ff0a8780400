"""Points of the limit surface as linear functions of the cage, and the least squares over them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from loopwright.fit.fold_mirror import Fold
from loopwright.fit.link_edges import link_stars, mean_edges, unique_edges
from loopwright.fit.shape_pull import ShapePull
from loopwright.fit.slide_curves import CurveSet, lay_curves
from loopwright.fit.solve_descent import solve_descent
from loopwright.numerics.catmull_clark import NO_SHARPNESS, Sharpness, refine
from loopwright.numerics.limit_surface import limit_matrix, limit_tangent_matrices
from loopwright.numerics.norms import norms
from loopwright.surface.edges import cross_rows, row_lengths
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import BoolArray, FloatArray, QuadMesh

_ON_CURVE = 0.05  # of an edge: a vertex this near to a curve stands on it
_SKETCHED = 0.35  # of an edge: vertices of the sculpt this near will do while the mesh still moves


@dataclass(frozen=True)
class Distances:
    """Distance from the limit surface to the sculpt, in the sculpt's unit: rms, 95th percentile and largest."""

    rms: float
    p95: float
    max: float


@dataclass(frozen=True)
class Offset:
    """Where the samples ought to go.

    Attributes
    ----------
    gap : (k, 3) from each sample to the sculpt; for samples on curves, to their curve.
    normals : (k, 3) of the sculpt.
    tangents : (k, 3) of the curve, zero for samples on none.
    """

    gap: FloatArray
    normals: FloatArray
    tangents: FloatArray


@dataclass(frozen=True)
class LimitSamples:
    """The limit surface at the vertices, edge middles and face centres of the half.

    Attributes
    ----------
    mesh, fold : what they are of.
    points, first, second : sparse (k, N), control points of the whole to limit points and tangents. The
        first n rows are the half's vertices.
    fair : sparse (r, N), second differences.
    curve : (k,) the curve that a sample keeps to, or -1.
    pinned : (k,) bool, samples that keep a place of their own: that of their vertex.
    curves : the curves.
    share : (k,) 1, or 1/2 for samples in the mirror plane, which the image half shares.
    reach : (k,) how near to a sample a vertex of the sculpt stands for the sculpt in a sketch.
    stays : (n,) bool, vertices that no solution moves.
    """

    mesh: QuadMesh
    fold: Fold
    points: csr_matrix
    points_transposed: csr_matrix
    squares: csr_matrix
    first: csr_matrix
    second: csr_matrix
    fair: csr_matrix
    curve: NDArray[np.int64]
    pinned: NDArray[np.bool_]
    curves: CurveSet
    share: FloatArray
    reach: FloatArray
    stays: BoolArray

    def held(self, stays: BoolArray) -> LimitSamples:
        """Return the samples with (n,) vertices that stay; those that no other vertex moves count no more."""
        touches = np.abs(self.points) @ self.fold.unfold_scalars(~stays) > 0.0
        return replace(self, stays=stays, share=np.where(touches, self.share, 0.0))

    def normals(self, positions: FloatArray) -> FloatArray:
        """Return (k, 3) unit normals of the limit surface at the samples."""
        whole = self.fold.unfold_points(positions)
        return unit(cross_rows(self.first @ whole, self.second @ whole))

    def distance(
        self, positions: FloatArray, projector: SurfaceProjector, min_cosine: float, *, is_sketch: bool = False
    ) -> tuple[Offset, Distances]:
        """Return where the samples ought to go, and how far they are from the sculpt now; as a sketch, about so."""
        here = self.points @ self.fold.unfold_points(positions)
        asked = self.normals(positions)
        if is_sketch:
            there, facing = projector.sketch(here, asked, self.reach, min_cosine=min_cosine)
        else:
            landed = projector.project(here, asked, min_cosine=min_cosine)
            there, facing = landed.points, landed.normals
        gap, tangents = there - here, np.zeros_like(here)
        length = row_lengths(gap)
        distances = Distances(float(np.sqrt((length**2).mean())), float(np.quantile(length, 0.95)), float(length.max()))
        for index in np.unique(self.curve[self.curve >= 0]):
            chosen = np.flatnonzero(self.curve == index)
            along, _ = self.curves.locate(int(index), here[chosen])
            rows = np.full(len(chosen), index)
            reach = np.full(len(chosen), 1e-3 * self.curves.length[index])
            gap[chosen] = self.curves.position(rows, along) - here[chosen]
            tangents[chosen] = self.curves.tangent(rows, along, reach)
        pinned = np.flatnonzero(self.pinned)
        gap[pinned] = self.mesh.positions[pinned] - here[pinned]
        return Offset(gap, facing, tangents), distances

    def solve(
        self,
        positions: FloatArray,
        start: FloatArray,
        offset: Offset,
        *,
        fairness: float,
        slide: float,
        curve_weight: float,
        hold_weight: float,
        steps: int,
        pull: ShapePull | None = None,
    ) -> FloatArray:
        """Return (n, 3) moves of the cage by conjugate gradients on the folded normal equations.

        ``pull`` draws quads towards shapes of their own, beside what draws the surface to the sculpt.
        """
        on_curve, kept = self.curve >= 0, self.pinned
        eye = np.eye(3)
        held = offset.normals[:, :, None] * offset.normals[:, None, :]
        across = eye - offset.tangents[:, :, None] * offset.tangents[:, None, :]
        held[on_curve] = curve_weight * across[on_curve]
        held[kept] = curve_weight * eye
        held[: len(self.mesh.positions)][self.mesh.is_fixed] = hold_weight * eye
        held *= self.share[:, None, None]
        weights = held + slide * self.share[:, None, None] * eye
        fairness *= 0.5 if self.fold.mirror is not None else 1.0  # the rows are the whole's, the samples the half's
        spread = self.fair @ self.fold.unfold_vectors(positions - start)
        right = self.points_transposed @ np.einsum("kij,kj->ki", held, offset.gap)
        right = right - fairness * (self.fair.T @ spread)
        blocks = (self.squares @ weights.reshape(-1, 9)).reshape(-1, 3, 3)
        if pull is not None:
            right = right + pull.force(self.fold.unfold_points(positions))
            blocks = blocks + pull.stiffness()[: len(blocks), None, None] * eye
        right = self._fold(right)
        fair_transposed = self.fair.T.tocsr()

        def apply(move: FloatArray) -> FloatArray:
            whole = self.fold.unfold_vectors(move)
            image = self.points_transposed @ np.einsum("kij,kj->ki", weights, self.points @ whole)
            image = image + fairness * (fair_transposed @ (self.fair @ whole))
            return self._fold(image if pull is None else image + pull.apply(whole))

        inverse = np.linalg.inv(blocks + 1e-9 * np.trace(blocks, axis1=1, axis2=2).max() * eye)

        def precondition(residual: FloatArray) -> FloatArray:
            return self._flatten(np.einsum("nij,nj->ni", inverse, self._flatten(residual)))

        return solve_descent(apply, right, precondition, steps)

    def _fold(self, vectors: FloatArray) -> FloatArray:
        """Return the sums over vertices and their images, with no way out of the mirror plane."""
        return self._flatten(self.fold.fold_vectors(vectors))

    def _flatten(self, vectors: FloatArray) -> FloatArray:
        """Return the vectors with those of mirror vertices put into the plane, and none where vertices stay."""
        if self.mesh.mirror is None and not self.stays.any():
            return vectors
        vectors = vectors.copy()
        vectors[self.stays] = 0.0
        if self.mesh.mirror is not None:
            flat, normal = self.mesh.on_mirror, self.mesh.mirror.normal
            vectors[flat] -= np.outer(vectors[flat] @ normal, normal)
        return vectors


def build_limit_samples(mesh: QuadMesh, fold: Fold, sharpness: Sharpness = NO_SHARPNESS) -> LimitSamples:
    """Return the limit surface of a mesh at vertices, edge middles and face centres, as rows over its fold.

    ``sharpness`` names edges of the mesh; the images of a half are as sharp.
    """
    count = fold.whole_count
    level = refine(fold.quads, count, fold.unfold_sharpness(sharpness))
    size = level.matrix.shape[0]
    edges = unique_edges(fold.quads)
    edge_ids = _edge_ids(mesh, edges, count)
    n, m = len(mesh.positions), len(mesh.quads)
    rows = np.concatenate([np.arange(n), count + edge_ids, count + len(edges) + np.arange(m)])
    points = (limit_matrix(level.quads, size, level.sharpness)[rows] @ level.matrix).tocsr()
    first, second = (t[rows] @ level.matrix for t in limit_tangent_matrices(level.quads, size, level.sharpness))
    curves = lay_curves(mesh.curves)
    curve, pinned = _curve_of_samples(mesh, fold, edges[edge_ids], curves, len(rows))
    return LimitSamples(
        mesh=mesh,
        fold=fold,
        points=points,
        points_transposed=points.T.tocsr(),
        squares=points.multiply(points).T.tocsr()[:n],
        first=first,
        second=second,
        fair=_fairness_rows(fold),
        curve=curve,
        pinned=pinned,
        curves=curves,
        share=_share(mesh, fold, edges[edge_ids]),
        reach=_SKETCHED * _sizes(mesh, edges[edge_ids]),
        stays=np.zeros(n, np.bool_),
    )


def _sizes(mesh: QuadMesh, edges: NDArray[np.int64]) -> FloatArray:
    """Return (k,) the mean length of the edges at each sample's vertices."""
    size = mean_edges(mesh.positions, mesh.quads)
    return np.concatenate([size, size[edges].mean(axis=1), size[mesh.quads].mean(axis=1)])


def _share(mesh: QuadMesh, fold: Fold, edges: NDArray[np.int64]) -> FloatArray:
    flat = mesh.on_mirror & (fold.mirror is not None)
    return np.where(np.concatenate([flat, flat[edges].all(axis=1), np.zeros(len(mesh.quads), bool)]), 0.5, 1.0)


def _edge_ids(mesh: QuadMesh, edges: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Return which of the whole's edges are the half's."""
    own = unique_edges(mesh.quads)
    return np.searchsorted(edges[:, 0] * count + edges[:, 1], own[:, 0] * count + own[:, 1])


def _curve_of_samples(
    mesh: QuadMesh, fold: Fold, edges: NDArray[np.int64], curves: CurveSet, total: int
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the curve that each sample keeps to, or -1, and which samples are pinned to their vertex's place."""
    n = len(mesh.positions)
    rim = link_stars(fold.quads, fold.whole_count).is_boundary[:n]
    pinned = np.zeros(total, bool)
    pinned[:n] = mesh.is_fixed | (mesh.on_mirror & (mesh.vertex_curve >= 0)) | (rim & (mesh.vertex_curve < 0))
    curve = np.full(total, -1, np.int64)
    curve[:n] = np.where(pinned[:n], -1, mesh.vertex_curve)
    own = mesh.vertex_curve[edges].astype(np.int64)
    stop = pinned[:n][edges]
    same = (own[:, 0] == own[:, 1]) & (own[:, 0] >= 0)
    mixed = (own.max(axis=1) >= 0) & ~same & stop.any(axis=1)
    candidate = np.where(same, own[:, 0], np.where(mixed, np.where(stop[:, 0], own[:, 1], own[:, 0]), -1))
    length = norms(mesh.positions[edges[:, 0]] - mesh.positions[edges[:, 1]])
    for index in np.unique(candidate[candidate >= 0]):
        chosen = np.flatnonzero(candidate == index)
        ends = np.stack([curves.locate(int(index), mesh.positions[edges[chosen, k]])[1] for k in range(2)], axis=1)
        candidate[chosen[ends.max(axis=1) > _ON_CURVE * length[chosen]]] = -1
    curve[n : n + len(edges)] = candidate
    return curve, pinned


def _fairness_rows(fold: Fold) -> csr_matrix:
    """Return the second differences along every line of the whole, and of the stars that are not regular."""
    count = fold.whole_count
    stars = link_stars(fold.quads, count)
    lines = stars.lines
    line = np.arange(len(lines))
    centers, owner = np.unique(stars.star_center, return_inverse=True)
    degree = np.bincount(owner, minlength=len(centers))
    rows = [line, line, line, len(lines) + owner, len(lines) + np.arange(len(centers))]
    columns = [lines[:, 0], lines[:, 1], lines[:, 2], stars.star_neighbour, centers]
    half, ones = np.full(len(lines), 0.5), np.ones(len(lines))
    weights = [half, -ones, half, 1.0 / degree[owner], -np.ones(len(centers))]
    return csr_matrix(
        (np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns))),
        shape=(len(lines) + len(centers), count),
    )
