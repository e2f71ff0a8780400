"""How good the quads of a mesh are: scaled Jacobian, angles, aspect, poles by valence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.fit.link_edges import link_stars
from loopwright.numerics.norms import norms
from loopwright.surface.edges import cross_rows
from loopwright.surface.project import unit
from loopwright.types import BoolArray, FloatArray, IntArray

_SOUND = 0.02  # least scaled Jacobian, against a quad's own normal, that is not a fold
_BEFORE = [3, 0, 1, 2]  # the corner before each


@dataclass(frozen=True)
class QualityReport:
    """Quality per quad, and poles by valence.

    Attributes
    ----------
    scaled_jacobian : (m,) least over the corners; 1 is a rectangle, 0 or less is folded.
    min_angle, max_angle : (m,) degrees.
    aspect : (m,) longest edge over shortest; infinite where an edge has no length.
    poles : inner vertices by valence, those of valence four left out.
    """

    scaled_jacobian: FloatArray
    min_angle: FloatArray
    max_angle: FloatArray
    aspect: FloatArray
    poles: dict[int, int]

    def summary(self) -> dict[str, float]:
        """Return the figures that reports print; those of the aspect are infinite where edges have no length."""
        jacobian = self.scaled_jacobian
        if len(jacobian) == 0:
            return {}
        return {
            "min": float(jacobian.min()),
            "p1": float(np.quantile(jacobian, 0.01)),
            "p5": float(np.quantile(jacobian, 0.05)),
            "mean": float(jacobian.mean()),
            "below_0.2": float((jacobian < 0.2).sum()),
            "inverted": float((jacobian <= 0.0).sum()),
            "min_angle": float(self.min_angle.min()),
            "max_angle": float(self.max_angle.max()),
            "aspect_mean": float(self.aspect.mean()),
            "aspect_p95": _quantile(self.aspect, 0.95),
        }


def _quantile(values: FloatArray, share: float) -> float:
    """Return a quantile of numbers that may be infinite, between which nothing is interpolated."""
    return float(np.quantile(values, share, method="linear" if np.isfinite(values).all() else "higher"))


def corner_sines(positions: FloatArray, quads: IntArray, normals: FloatArray | None = None) -> FloatArray:
    """Return (m, 4) scaled Jacobians of the corners, against each quad's normal or the (m, 3) unit ones given."""
    corners = np.ascontiguousarray(positions.T)[:, quads.T]  # by coordinate, corner, quad: the last is long
    x, y, z = corners[:, [1, 2, 3, 0]] - corners
    length = np.sqrt(x * x + y * y + z * z)
    if normals is None:
        normals = unit(cross_rows((corners[:, 2] - corners[:, 0]).T, (corners[:, 3] - corners[:, 1]).T))
    a, b, c = np.ascontiguousarray(normals.T)
    u, v, w = x[_BEFORE], y[_BEFORE], z[_BEFORE]
    area = (v * z - w * y) * a + (w * x - u * z) * b + (u * y - v * x) * c
    scale = length * length[_BEFORE]
    sines: FloatArray = (area / np.where(scale > 0.0, scale, 1.0)).T
    return sines


def measure_quality(positions: FloatArray, quads: IntArray) -> QualityReport:
    """Measure (m, 4) quads on (n, 3) positions.

    References
    ----------
    C. J. Stimpson et al., "The Verdict Geometric Quality Library", SAND2007-1751, 2007: the quad's scaled
    Jacobian, with the normal at the centre (cross product of the principal axes) as orientation.
    """
    corners = positions[quads]
    edge = np.roll(corners, -1, axis=1) - corners
    length = norms(edge)
    back = -np.roll(edge, 1, axis=1)
    scale = length * np.roll(length, 1, axis=1)
    cosine = np.einsum("nkj,nkj->nk", edge, back) / np.where(scale > 0.0, scale, 1.0)
    sines = corner_sines(positions, quads)
    angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    angle = np.where(sines < 0.0, 360.0 - angle, angle)
    shortest = length.min(axis=1)
    aspect = np.divide(length.max(axis=1), shortest, out=np.full(len(quads), np.inf), where=shortest > 0.0)
    stars = link_stars(quads, len(positions))
    inner = stars.valence[~stars.is_boundary & (stars.valence > 0) & (stars.valence != 4)]
    valences, counts = np.unique(inner, return_counts=True)
    return QualityReport(
        scaled_jacobian=sines.min(axis=1),
        min_angle=angle.min(axis=1),
        max_angle=angle.max(axis=1),
        aspect=aspect,
        poles={int(v): int(c) for v, c in zip(valences, counts, strict=True)},
    )


def are_folded(positions: FloatArray, quads: IntArray) -> BoolArray:
    """Tell which of the (m,) quads are folded, or all but so, against their own normal."""
    return np.asarray(corner_sines(positions, quads).min(axis=1) < _SOUND, np.bool_)
