"""A pull on a cage that draws badly shaped quads towards the rectangles nearest to them, and long ones to squares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.fit.mend_worst import edge_ratios, face_measures
from loopwright.fit.shape_energy import ShapeEnergy, quad_targets
from loopwright.types import FloatArray

_BAD = 0.3  # a quad whose scaled Jacobian is so far below 1 counts fully
_LONG, _TOO_LONG = 2.0, 3.0  # longest edge over shortest from which on a quad counts, and at which it counts fully
_LEAST_RATIO = 1e-9  # of edges that have no length
_MOST = 2.0  # nothing counts as if it were further off than so many times that
_SQUARENESS = 0.5  # how far a long rectangle is drawn towards a square


@dataclass(frozen=True)
class ShapePull:
    """Weighted least squares of rows over the whole's vertices against targets.

    Attributes
    ----------
    rows, rows_transposed, squares : sparse (3 m, N), (N, 3 m) and, with each entry squared, (N, 3 m).
    targets : (3 m, 3) what the rows shall come to.
    weights : (3 m,)
    """

    rows: csr_matrix
    rows_transposed: csr_matrix
    squares: csr_matrix
    targets: FloatArray
    weights: FloatArray

    def force(self, points: FloatArray) -> FloatArray:
        """Return (N, 3) the pull on each vertex of the whole at these (N, 3) points."""
        force: FloatArray = self.rows_transposed @ (self.weights[:, None] * (self.targets - self.rows @ points))
        return force

    def apply(self, moves: FloatArray) -> FloatArray:
        """Return (N, 3) by how much the pull falls when the vertices move by (N, 3)."""
        image: FloatArray = self.rows_transposed @ (self.weights[:, None] * (self.rows @ moves))
        return image

    def stiffness(self) -> FloatArray:
        """Return (N,) the diagonal of :meth:`apply`."""
        diagonal: FloatArray = self.squares @ self.weights
        return diagonal


def build_shape_pull(
    energy: ShapeEnergy, positions: FloatArray, points: FloatArray, normals: FloatArray, strength: FloatArray
) -> ShapePull:
    """Return the pull at these places: the further a quad is from a rectangle, or the longer, by the square.

    Parameters
    ----------
    energy : whose rows of quads are taken.
    positions, normals : (n, 3) of the half, normals of the sculpt.
    points : (N, 3) positions of the whole.
    strength : (m,) weight of each quad, if it is one of scaled Jacobian 0.7, or three times as long as wide, against 1
        for each sample of the surface; one that is both has both, before the square.
    """
    targets, _, _ = quad_targets(
        energy,
        points,
        energy.rows @ points,
        normals,
        squareness=0.0,
        long_squareness=_SQUARENESS,
        evenness=0.0,
    )
    lack = (1.0 - face_measures(positions, energy.quads, normals)[:, 0]) / _BAD
    aspect = 1.0 / np.maximum(edge_ratios(positions, energy.quads), _LEAST_RATIO)
    lack += np.clip((aspect - _LONG) / (_TOO_LONG - _LONG), 0.0, 1.0)
    weights = np.tile(strength * np.clip(lack, 0.0, _MOST) ** 2, 3)
    count = len(weights)
    rows = energy.rows[:count]
    return ShapePull(rows, rows.T.tocsr(), energy.squares[:, :count], targets, weights)
