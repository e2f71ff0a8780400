"""Bring one shape over another by turning, moving and scaling it as a whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from loopwright.surface.mirror import sample_surface
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray

_ROUNDS = 40
_KEPT_SHARE = 0.85  # of the points, those nearest to the sculpt, speak for the alignment
_FLAT = 1e-3  # second singular value against the first: landmarks in a line fix no turn
_DAMPING = 1e-6
_SETTLED = 1e-9  # of the diagonal: a round that moves less is the last
_MOVING = 0.1  # price of a squared move against a squared gap: a gain for less is sliding along a round form
_CLOSE = 0.03  # of the diagonal: shapes whose points lie this near are taken to lie over each other already


@dataclass(frozen=True)
class Similarity:
    """Takes points p to ``scale * rotation @ p + shift``."""

    scale: float
    rotation: FloatArray
    shift: FloatArray

    def apply(self, points: FloatArray) -> FloatArray:
        """Return the images of (n, 3) points."""
        return self.scale * points @ self.rotation.T + self.shift

    def turn(self, vectors: FloatArray) -> FloatArray:
        """Return (n, 3) directions turned along."""
        return vectors @ self.rotation.T


IDENTITY = Similarity(1.0, np.eye(3), np.zeros(3))


def fit_similarity(source: FloatArray, target: FloatArray) -> Similarity | None:
    """Return the similarity that takes (k, 3) points nearest to (k, 3) others, or None where they lie in a line.

    References
    ----------
    S. Umeyama, "Least-squares estimation of transformation parameters between two point patterns", IEEE PAMI
    13(4), 1991.
    """
    from_center, to_center = source.mean(axis=0), target.mean(axis=0)
    a, b = source - from_center, target - to_center
    spread = [np.linalg.svd(points, compute_uv=False) for points in (a, b)]
    if len(source) < 3 or any(s[1] <= _FLAT * s[0] or s[0] == 0.0 for s in spread):
        return None
    u, s, vt = np.linalg.svd(b.T @ a)
    sign = np.array([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    rotation = u @ (sign[:, None] * vt)
    scale = float((s * sign).sum() / (a**2).sum())
    return Similarity(scale, rotation, to_center - scale * rotation @ from_center)


def align_shapes(
    points: FloatArray,
    normals: FloatArray,
    projector: SurfaceProjector,
    marks: FloatArray,
    goals: FloatArray,
) -> Similarity:
    """Return the similarity that lays (n, 3) points with their normals over a sculpt.

    Three landmarks that do not lie in a line decide alone. Otherwise the shapes have to stand the same way up: the
    start is as they lie, or centre over centre in equal size, whichever is nearer; one or two landmarks shift
    it; then closest points whose normals agree pull it into place, unless that gains little.

    Parameters
    ----------
    marks, goals : (l, 3) landmarks on the shape and on the sculpt.

    References
    ----------
    Y. Chen, G. Medioni, "Object modelling by registration of multiple range images", Image and Vision Computing
    10(3), 1992: distances to tangent planes.
    """
    if len(marks):
        certain = fit_similarity(marks, goals)
        if certain is not None:
            return certain
    chosen = np.linspace(0, len(points) - 1, min(len(points), 4000)).astype(np.int64)
    points, normals = points[chosen], normals[chosen]
    if len(marks):
        starts = [_shifted(start, marks, goals) for start in _starts(points, projector)]
    else:
        starts = _starts(points, projector)
    gaps = [_trimmed_gap(start, points, normals, projector) for start in starts]
    as_is_close = gaps[0] <= _CLOSE
    first = 0 if as_is_close else int(np.argmin(gaps))
    best = starts[first]
    pulled = _pull(best, points, normals, projector, marks, goals)
    moved = pulled.apply(points) - best.apply(points)
    cost = _trimmed_gap(pulled, points, normals, projector) ** 2
    cost += _MOVING * float((moved**2).sum(axis=1).mean()) / projector.diagonal**2
    return pulled if cost < gaps[first] ** 2 else best


def _starts(points: FloatArray, projector: SurfaceProjector) -> list[Similarity]:
    surface = sample_surface(projector.positions, projector.triangles, 4000)
    low, high = points.min(axis=0), points.max(axis=0)
    scale = projector.diagonal / max(float(np.linalg.norm(high - low)), 1e-300)
    boxed = (surface.min(axis=0) + surface.max(axis=0)) / 2.0 - scale * (low + high) / 2.0
    spread = float(np.sqrt(((surface - surface.mean(axis=0)) ** 2).sum(axis=1).mean()))
    own = float(np.sqrt(((points - points.mean(axis=0)) ** 2).sum(axis=1).mean()))
    even = spread / max(own, 1e-300)
    centred = surface.mean(axis=0) - even * points.mean(axis=0)
    return [IDENTITY, Similarity(scale, np.eye(3), boxed), Similarity(even, np.eye(3), centred)]


def _shifted(start: Similarity, marks: FloatArray, goals: FloatArray) -> Similarity:
    shift = start.shift + (goals - start.apply(marks)).mean(axis=0)
    return Similarity(start.scale, start.rotation, shift)


def _trimmed_gap(start: Similarity, points: FloatArray, normals: FloatArray, projector: SurfaceProjector) -> float:
    """Return the rms distance of the nearer points, as a share of the diagonal."""
    here = start.apply(points)
    landed = projector.project(here, start.turn(normals))
    gap = np.sort(np.linalg.norm(landed.points - here, axis=1))
    return float(np.sqrt((gap[: max(1, int(_KEPT_SHARE * len(gap)))] ** 2).mean())) / projector.diagonal


def _pull(
    start: Similarity,
    points: FloatArray,
    normals: FloatArray,
    projector: SurfaceProjector,
    marks: FloatArray,
    goals: FloatArray,
) -> Similarity:
    current = start
    for _ in range(_ROUNDS):
        here = current.apply(points)
        facing = current.turn(normals)
        landed = projector.project(here, facing)
        gap = landed.points - here
        kept = _keep_nearest(gap, np.einsum("ij,ij->i", facing, landed.normals))
        center = here.mean(axis=0)
        rows, right = _plane_rows(here[kept] - center, landed.normals[kept], gap[kept])
        if len(marks):
            more, wanted = _point_rows(current.apply(marks) - center, goals - current.apply(marks))
            weight = np.sqrt(len(rows) / len(more))
            rows, right = np.vstack([rows, weight * more]), np.concatenate([right, weight * wanted])
        move = _solve_damped(rows, right, projector.diagonal)
        turn = Rotation.from_rotvec(move[:3]).as_matrix()
        grow = float(np.exp(np.clip(move[6], -0.2, 0.2)))
        shift = grow * turn @ (current.shift - center) + center + move[3:6]
        current = Similarity(grow * current.scale, turn @ current.rotation, shift)
        if np.abs(move * [1, 1, 1, *(3 * [1 / projector.diagonal]), 1]).max() < _SETTLED:
            break
    return current


def _keep_nearest(gap: FloatArray, agreement: FloatArray) -> NDArray[np.bool_]:
    length = np.linalg.norm(gap, axis=1)
    kept: NDArray[np.bool_] = (length <= np.quantile(length, _KEPT_SHARE)) & (agreement > 0.3)
    return kept if kept.sum() >= 7 else np.ones(len(gap), bool)


def _plane_rows(arm: FloatArray, normal: FloatArray, gap: FloatArray) -> tuple[FloatArray, FloatArray]:
    growth = np.einsum("ij,ij->i", normal, arm)
    rows = np.hstack([np.cross(arm, normal), normal, growth[:, None]])
    return rows, np.einsum("ij,ij->i", normal, gap)


def _point_rows(arm: FloatArray, gap: FloatArray) -> tuple[FloatArray, FloatArray]:
    parts = [_plane_rows(arm, np.broadcast_to(axis, arm.shape), gap) for axis in np.eye(3)]
    return np.vstack([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def _solve_damped(rows: FloatArray, right: FloatArray, diagonal: float) -> FloatArray:
    """Solve in lengths of the diagonal; what the shape leaves free, such as a sphere's turning, stays as it is."""
    scale = np.array([1.0, 1.0, 1.0, diagonal, diagonal, diagonal, 1.0])
    matrix = rows * scale / diagonal
    square = matrix.T @ matrix
    square += _DAMPING * np.trace(square) * np.eye(7)
    move: FloatArray = scale * np.linalg.solve(square, matrix.T @ (right / diagonal))
    return move


__all__ = ["IDENTITY", "Similarity", "align_shapes", "fit_similarity"]
