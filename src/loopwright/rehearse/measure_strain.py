"""The angle between a mesh's edges and the directions in which a pose stretches it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.types import FloatArray, IntArray

RANDOM_ANGLE = 22.5
"""Degrees: the mean for edges that know nothing of the strain; angles modulo 90 fold to 0..45, evenly spread."""
_LEAST = 0.02  # logarithm of the ratio of the stretches, below which a quad has no direction of strain


@dataclass(frozen=True)
class Strain:
    """How a pose strains each quad.

    Attributes
    ----------
    stretches : (m, 2) principal stretches, the larger first; 1 is unchanged.
    angle : (m,) degrees from 0 to 45 between edges and principal directions, modulo 90; the mean of both edge ways.
    weight : (m,) area at rest times the logarithm of the stretches' ratio; zero where a quad is hardly strained.
    """

    stretches: FloatArray
    angle: FloatArray
    weight: FloatArray

    @property
    def mean_angle(self) -> float:
        """Return the weighted mean angle in degrees; not a number where nothing is strained."""
        total = float(self.weight.sum())
        return float((self.weight * self.angle).sum() / total) if total > 0.0 else float("nan")


def measure_strain(rest: FloatArray, posed: FloatArray, quads: IntArray) -> Strain:
    """Measure (m, 4) quads between (n, 3) positions at rest and posed.

    The deformation gradient at the middle of each quad, seen as a bilinear patch: F takes the middle's two tangents
    at rest to those in the pose. The eigenvectors of F^T F are the principal directions, the roots of its
    eigenvalues the stretches (polar decomposition, any text on continuum mechanics).
    """
    first, second = _tangents(rest, quads)
    e1, e2 = _tangents(posed, quads)
    length = np.linalg.norm(first, axis=1)
    x = first / np.where(length > 0.0, length, 1.0)[:, None]
    along = np.einsum("ij,ij->i", second, x)
    across = np.linalg.norm(second - along[:, None] * x, axis=1)
    area = length * across
    safe = area > 1e-12 * max(float(area.max(initial=0.0)), 1e-300)
    inverse = np.zeros((len(quads), 2, 2))
    inverse[safe, 0, 0] = 1.0 / length[safe]
    inverse[safe, 0, 1] = -along[safe] / area[safe]
    inverse[safe, 1, 1] = 1.0 / across[safe]
    gradient = np.stack([e1, e2], axis=2) @ inverse
    values, vectors = np.linalg.eigh(np.swapaxes(gradient, 1, 2) @ gradient)
    stretches = np.sqrt(np.maximum(values[:, ::-1], 0.0))
    principal = np.degrees(np.arctan2(vectors[:, 1, 1], vectors[:, 0, 1]))
    angle = (_fold(-principal) + _fold(np.degrees(np.arctan2(across, along)) - principal)) / 2.0
    ratio = np.log(np.maximum(stretches[:, 0], 1e-12) / np.maximum(stretches[:, 1], 1e-12))
    weight = np.where(safe & (ratio > _LEAST), area * ratio, 0.0)
    return Strain(stretches, angle, weight)


def _tangents(positions: FloatArray, quads: IntArray) -> tuple[FloatArray, FloatArray]:
    a, b, c, d = (positions[quads[:, k]] for k in range(4))
    return (b + c - a - d) / 2.0, (c + d - a - b) / 2.0


def _fold(degrees: FloatArray) -> FloatArray:
    """Return angles modulo 90 degrees, from 0 to 45."""
    rest = np.mod(degrees, 90.0)
    return np.minimum(rest, 90.0 - rest)
