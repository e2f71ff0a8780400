"""How the curves of a mesh move together: a shift at each of many stations along them, with what holds them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags, kron, vstack

from loopwright.fit.slide_curves import CurveSet
from loopwright.numerics.factorize import factorize
from loopwright.numerics.norms import norms
from loopwright.types import FloatArray

_LEAST = 4  # stations on a curve
_STIFFNESS = 30.0  # of the shifts, in units of the stations' spacing: they bend within about two edges
_HOME = 0.02  # pull of each station to where it was, against 1 of a place to go to
_TIE = 1e3  # of curves that meet, and of places that stay


class CurveShifts:
    """Shifts of all curves of a mesh at stations along them, linear in between.

    Parameters
    ----------
    curves : the curves.
    spacing : (c,) about how far apart the stations of each are; an open curve has them at its ends too.

    Attributes
    ----------
    curve, along : (n,) the curve of each station and where on it that is.
    """

    def __init__(self, curves: CurveSet, spacing: FloatArray) -> None:
        self.curves = curves
        self.count = np.maximum(_LEAST, np.ceil(curves.length / spacing)).astype(np.int64)
        self.first = np.concatenate([[0], np.cumsum(self.count)]).astype(np.int64)
        self.curve = np.repeat(np.arange(len(self.count)), self.count)
        self.steps = np.where(curves.closed, self.count, self.count - 1)
        number = np.arange(self.first[-1]) - self.first[self.curve]
        self.along = number / self.steps[self.curve] * curves.length[self.curve]

    def weights(self, curve: NDArray[np.integer], along: FloatArray) -> csr_matrix:
        """Return (k, n) by how much each station's shift counts at these places on curves."""
        wrapped = np.where(self.curves.closed[curve], np.mod(along, self.curves.length[curve]), along)
        place = np.clip(wrapped / self.curves.length[curve], 0.0, 1.0) * self.steps[curve]
        before = np.minimum(place.astype(np.int64), self.steps[curve] - 1)
        share = place - before
        columns = np.stack([before, (before + 1) % self.count[curve]]) + self.first[curve]
        rows = np.arange(len(along))
        return csr_matrix(
            (np.concatenate([1.0 - share, share]), (np.tile(rows, 2), columns.ravel())),
            shape=(len(along), len(self.curve)),
        )

    def _bending(self) -> csr_matrix:
        """Return the second differences along each curve, none at the ends of an open one."""
        number = np.arange(len(self.curve)) - self.first[self.curve]
        inner = self.curves.closed[self.curve] | ((number > 0) & (number < self.count[self.curve] - 1))
        middle, own = np.flatnonzero(inner), self.curve[inner]
        beside = [(number[inner] + step) % self.count[own] + self.first[own] for step in (-1, 1)]
        rows = np.tile(np.arange(len(middle)), 3)
        values = np.repeat([1.0, 1.0, -2.0], len(middle))
        columns = np.concatenate([*beside, middle])
        return csr_matrix((values, (rows, columns)), shape=(len(middle), len(self.curve)))

    def solve(
        self, station: NDArray[np.int64], way: FloatArray, offset: FloatArray, weight: FloatArray, ties: csr_matrix
    ) -> FloatArray:
        """Return (n, 3) the shifts that bring stations nearest to where they shall go, and bend little.

        Parameters
        ----------
        station, way, offset, weight : (k,), (k, 3) unit vectors, (k,) and (k,): how far each of these stations shall go
            along its way, and how much that counts.
        ties : (t, n) combinations of the shifts that shall be zero.
        """
        count, rows = len(self.curve), np.arange(len(station))
        columns = 3 * station[:, None] + np.arange(3)
        wish = csr_matrix((way.ravel(), (np.repeat(rows, 3), columns.ravel())), shape=(len(rows), 3 * count))
        bending = self._bending()
        held = _STIFFNESS * (bending.T @ bending) + _TIE * (ties.T @ ties) + _HOME * diags(np.ones(count))
        weighted = wish.T @ diags(weight)
        shifts: FloatArray = factorize(weighted @ wish + kron(held, np.eye(3))).solve(weighted @ offset)
        return shifts.reshape(-1, 3)

    def tie(self, spots: FloatArray, reach: FloatArray, *, to_rest: bool) -> csr_matrix:
        """Return the combinations of shifts that are zero where curves pass the spots together, or rest there.

        Parameters
        ----------
        spots : (s, 3). reach : (c,) how near to a spot each curve has to pass.
        to_rest : the spots stay where they are; else the curves at each stay together.
        """
        rows = []
        passing: dict[int, csr_matrix] = {}
        for index in range(len(self.count)):
            along, off = self.curves.locate(index, spots)
            near = np.flatnonzero(off < reach[index])
            along = along[near]
            if not self.curves.closed[index]:  # both ends may be at one spot
                ends = self.curves.position(np.array([index, index]), np.array([0.0, self.curves.length[index]]))
                at_both = (norms(spots[near][:, None] - ends) < reach[index]).all(axis=1)
                along = np.concatenate([along, self.curves.length[index] - along[at_both]])
                near = np.concatenate([near, near[at_both]])
            weights = self.weights(np.full(len(near), index), along)
            for k, spot in enumerate(near.tolist()):
                if to_rest:
                    rows.append(weights[k])
                elif spot in passing:
                    rows.append(weights[k] - passing[spot])
                else:
                    passing[spot] = weights[k]
        return vstack(rows).tocsr() if rows else csr_matrix((0, len(self.curve)))
