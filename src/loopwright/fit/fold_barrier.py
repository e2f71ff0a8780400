"""An energy that grows without bound as the corners of quads turn flat, and that folded corners may start behind."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from loopwright.numerics.norms import norms
from loopwright.surface.project import unit
from loopwright.types import BoolArray, FloatArray, IntArray

_SIZE = 0.1  # weight of equal areas against right angles
_AGREES = 0.5  # cosine with the sculpt's normal from which a quad's own is what counts
_HOLD = 3.0  # weight of staying at the curve, for vertices that were let off it
_LEAST = 1e-3  # of a square's area: what the barrier takes for flat where nothing is folded
_NEXT, _LAST = [1, 2, 3, 0], [3, 0, 1, 2]  # the corner after each, and the one before


class Barrier:
    """The energy of quads' corners over steps of some vertices along two directions each.

    Arrays are by coordinate, corner and quad, the longest axis last: there are few quads, and many evaluations.

    Parameters
    ----------
    positions, normals : (n, 3) of the vertices, normals of the sculpt.
    quads : (m, 4)
    chosen : (k,) ascending, the vertices that may move, all of them in quads.
    bases : (k, 2, 3) their directions.
    home : (k, 3) where those stay that were let off their curves; ``is_held`` (k,) says which.

    References
    ----------
    V. Garanzha, I. Kaporin, L. Kudryavtseva, F. Protais, N. Ray, D. Sokolov, "Foldover-free maps in 50 lines of
    code", ACM TOG 40(4), 2021, doi:10.1145/3450626.3459847.
    """

    def __init__(
        self,
        positions: FloatArray,
        normals: FloatArray,
        quads: IntArray,
        chosen: NDArray[np.int64],
        bases: FloatArray,
        home: FloatArray,
        is_held: BoolArray,
    ) -> None:
        used, local = np.unique(quads, return_inverse=True)
        self.count = len(chosen)
        self._start = np.ascontiguousarray(positions[used].T)
        self._corners = np.ascontiguousarray(local.reshape(-1, 4).T)
        self._chosen = np.searchsorted(used, chosen)
        self._bases = np.ascontiguousarray(bases.transpose(1, 2, 0))
        at = positions[quads]
        own = unit(np.cross(at[:, 2] - at[:, 0], at[:, 3] - at[:, 1]))
        normal = unit(normals[quads].sum(axis=1))
        agrees = np.einsum("ij,ij->i", own, normal) > _AGREES
        self._normal = np.ascontiguousarray(np.where(agrees[:, None], own, normal).T)
        edge = norms(np.roll(at, -1, axis=1) - at)
        self._scale = float(np.mean(edge**2))
        self._soft = 1.0
        row = np.full(len(used), -1, np.int64)
        row[self._chosen] = np.arange(self.count)
        at_corner = row[local.reshape(-1)]
        moving = np.flatnonzero(at_corner >= 0)
        moving = moving[np.argsort(at_corner[moving], kind="stable")]  # by vertex, then by quad
        begin = np.searchsorted(at_corner[moving], np.arange(self.count + 1))
        columns = (moving % 4) * len(quads) + moving // 4
        self._gather = csr_matrix((np.ones(len(moving)), columns, begin), shape=(self.count, quads.size))
        self._home = np.ascontiguousarray(home.T)
        self._hold = _HOLD * is_held / self._scale

    def soften(self, step: FloatArray) -> None:
        """Set the barrier so that the worst corner after (2 k,) steps lies before it."""
        area = self._areas(self._ahead(self._place(step)))[1]
        self._soft = float(np.sqrt(_LEAST**2 + 0.04 * min(float(area.min()), 0.0) ** 2))

    def _place(self, step: FloatArray) -> FloatArray:
        points = self._start.copy()
        first, second = np.ascontiguousarray(step.reshape(-1, 2).T)
        points[:, self._chosen] += first * self._bases[0] + second * self._bases[1]
        return points

    def _ahead(self, points: FloatArray) -> FloatArray:
        at = points[:, self._corners]
        ahead: FloatArray = at[:, _NEXT] - at
        return ahead

    def _areas(self, ahead: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return (3, 4, m) ways from the corners to those before them, and (4, m) areas."""
        behind = -ahead[:, _LAST]
        return behind, _dot(self._normal[:, None], _cross(ahead, behind)) / self._scale

    def __call__(self, step: FloatArray) -> tuple[float, FloatArray]:
        """Return the energy of (2 k,) steps and its gradient."""
        points = self._place(step)
        ahead = self._ahead(points)
        behind, area = self._areas(ahead)
        root = np.sqrt(area * area + self._soft**2)
        barrier = 0.5 * (area + root)
        square = _dot(ahead, ahead)
        sides = (square + square[_LAST]) / self._scale
        top = 0.5 * sides + _SIZE * (area * area + 1.0)
        value = float(np.ascontiguousarray((top / barrier).T).sum())
        by_side = 1.0 / (self._scale * barrier)
        by_area = (2.0 * _SIZE * area / barrier - top / (barrier * barrier) * 0.5 * (1.0 + area / root)) / self._scale
        normal = self._normal[:, None]
        pull_ahead = by_side * ahead + by_area * _cross(behind, normal)
        pull_behind = by_side * behind + by_area * _cross(normal, ahead)
        pull = pull_ahead[:, _LAST] + pull_behind[:, _NEXT] - pull_ahead - pull_behind
        total = (self._gather @ pull.reshape(3, -1).T).T
        if self._hold.any():
            astray = points[:, self._chosen] - self._home
            value += float((self._hold * (astray * astray).sum(axis=0)).sum())
            total = total + 2.0 * self._hold * astray
        return value, np.stack([_dot(base, total) for base in self._bases], axis=1).ravel()


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the scalar products of vectors along the first axis."""
    out: FloatArray = (a[0] * b[0] + a[2] * b[2]) + a[1] * b[1]
    return out


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the vector products of vectors along the first axis."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.subtract(a[j] * b[k], a[k] * b[j], out=out[i])
    return out
