"""Take back moves of the fit that push one part of the mesh through another, such as one lip through the other."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags

from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import Fold
from loopwright.fit.link_edges import unique_edges
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh

_GENTLE_ROUNDS = 6  # that halve moves; later ones forbid them
_ROUNDS = 16
_LOOSENINGS = 30
_HOMINGS = 3
_SHARES = (0.5, 1.0, 2.0)  # of the way home
_DEPTHS = (0.05, 0.1, 0.2, 0.3, 0.45)  # of an edge, inward


class StrayFinder:
    """The quads of one mesh that :func:`quads_astray` tells, looked up again only where something moved."""

    def __init__(self, quads: IntArray, projector: SurfaceProjector) -> None:
        self._quads, self._projector = quads, projector
        self._last: FloatArray | None = None
        self._away = np.zeros(len(quads), bool)

    def find(self, positions: FloatArray) -> BoolArray:
        """Return (m,) which quads are astray at (n, 3) positions."""
        is_moved = np.ones(len(self._quads), bool)
        if self._last is not None:
            is_moved = (positions != self._last).any(axis=1)[self._quads].any(axis=1)
        away = self._away.copy()
        away[is_moved] = quads_astray(positions, self._quads[is_moved], self._projector)
        self._away, self._last = away, positions
        return away


def quads_astray(positions: FloatArray, quads: IntArray, projector: SurfaceProjector) -> BoolArray:
    """Return (m,) which quads' middles lie nearest to a piece of the sculpt that faces the other way."""
    corners = positions[quads]
    own = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    triangle = projector.triangles[projector.project(corners.mean(axis=1)).triangles]
    a, b, c = (projector.positions[triangle[:, k]] for k in range(3))
    away: BoolArray = np.einsum("ij,ij->i", own, np.cross(b - a, c - a)) < 0.0
    return away


def part_crossings(
    mesh: QuadMesh,
    crossings: CrossingFinder,
    start: FloatArray,
    fitted: FloatArray,
    spoilt: Callable[[FloatArray], BoolArray] | None = None,
    astray: Callable[[FloatArray], BoolArray] | None = None,
) -> FloatArray:
    """Return the fitted (n, 3) positions, drawn back towards ``start`` where quads pass through others.

    The vertices of such quads go back by steps; quads that cross at the start already stay as they are there.
    What the steps spoil next to them goes back too.

    Parameters
    ----------
    crossings : of this mesh.
    spoilt : tells of (n, 3) positions which (m,) quads are worse than they may be; none at ``start``.
    astray : tells which quads came nearer to another part of the surface than to their own; they go back too.
    """
    share = np.ones(len(start))
    for attempt in range(_ROUNDS):
        moved = start + share[:, None] * (fitted - start)
        bad = crossings.find(moved)
        if astray is not None:
            bad = np.union1d(bad, np.flatnonzero(astray(moved)))
        if spoilt is not None and (share < 1.0).any():
            bad = np.union1d(bad, np.flatnonzero(spoilt(moved)))
        vertices = np.unique(mesh.quads[bad]) if len(bad) else bad
        if not (share[vertices] > 0.0).any():
            break
        share[vertices] *= 0.5 if attempt < _GENTLE_ROUNDS else 0.0
    back: FloatArray = start + share[:, None] * (fitted - start)
    return back


def loosen_crossings(
    mesh: QuadMesh,
    fold: Fold,
    crossings: CrossingFinder,
    positions: FloatArray,
    spoilt: Callable[[FloatArray], BoolArray],
) -> FloatArray:
    """Return (n, 3) positions with quads that pass through others drawn smooth, where that lets them go.

    Inner vertices of such quads go towards the middle of their neighbours, off the sculpt if need be. A round
    counts if it leaves fewer crossing quads and spoils none.
    """
    free = (mesh.vertex_curve < 0) & ~mesh.is_fixed
    average = _neighbour_average(fold)
    best = moved = positions
    crossing = crossings.find(best)
    fewest = len(crossing)
    for _ in range(_LOOSENINGS if fewest else 0):
        near = np.zeros(len(positions), bool)
        near[mesh.quads[crossing]] = True
        near[mesh.quads[near[mesh.quads].any(axis=1)]] = True
        middle = (average @ fold.unfold_points(moved))[: len(positions)]
        if mesh.mirror is not None:
            flat = np.flatnonzero(mesh.on_mirror)
            middle[flat] -= mesh.mirror.signed_distance(middle[flat])[:, None] * mesh.mirror.normal
        moved = np.where((near & free)[:, None], moved + 0.2 * (middle - moved), moved)
        crossing = crossings.find(moved)
        count = len(crossing)
        if count < fewest and not spoilt(moved).any():
            best, fewest = moved, count
        if count == 0:
            break
    return best


def draw_home(
    mesh: QuadMesh,
    fold: Fold,
    crossings: CrossingFinder,
    positions: FloatArray,
    projector: SurfaceProjector,
    spoilt: Callable[[FloatArray], BoolArray],
) -> FloatArray:
    """Return (n, 3) positions with quads that lie nearer to another part of the sculpt drawn to their own.

    Where two parts touch, such as lips at the corner of the mouth, the middle of a quad may lie beyond its own
    by less than the gap. One quad after the other is moved, if that leaves fewer such quads, spoils none and
    lets none cross.
    """
    free = (mesh.vertex_curve < 0) & ~mesh.is_fixed & ~mesh.on_mirror
    own = len(mesh.quads)
    away = _astray(fold, positions, projector)
    if not len(away):
        return positions
    crossing = len(crossings.find(positions))
    for _ in range(_HOMINGS):
        before = len(away)
        for quad in away.tolist():
            vertices = mesh.quads[quad % own]
            near = np.flatnonzero(np.isin(mesh.quads, vertices).any(axis=1))
            near = np.union1d(near, near + own) if len(fold.quads) > own else near
            there = int(np.isin(away, near).sum())
            for step in _ways_home(fold, quad, positions, projector):
                moved = positions.copy()
                moved[vertices[free[vertices]]] += step
                left = near[quads_astray(fold.unfold_points(moved), fold.quads[near], projector)]
                if len(left) >= there or spoilt(moved).any():
                    continue
                if len(crossings.find(moved)) <= crossing:
                    positions, away = moved, np.union1d(away[~np.isin(away, near)], left)
                    break
        if len(away) in (0, before):
            break
    return positions


def _astray(fold: Fold, positions: FloatArray, projector: SurfaceProjector) -> NDArray[np.int64]:
    return np.flatnonzero(quads_astray(fold.unfold_points(positions), fold.quads, projector))


def _ways_home(fold: Fold, quad: int, positions: FloatArray, projector: SurfaceProjector) -> FloatArray:
    """Return (k, 3) moves that may bring a quad back to its own part of the sculpt; of an image, mirrored back.

    They lead to the nearest place whose normal agrees, or straight inward.
    """
    corners = fold.unfold_points(positions)[fold.quads[quad]]
    middle, edge = corners.mean(axis=0), float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())
    normal = unit(np.cross(corners[2] - corners[0], corners[3] - corners[1])[None])
    way = projector.project(middle[None], normal).points - middle
    steps = np.vstack([np.outer(_SHARES, way[0]), np.outer(_DEPTHS, -edge * normal[0])])
    if fold.mirror is not None and quad >= len(fold.quads) // 2:
        steps = steps - 2.0 * np.outer(steps @ fold.mirror.normal, fold.mirror.normal)
    return np.asarray(steps, np.float64)


def _neighbour_average(fold: Fold) -> csr_matrix:
    edges = unique_edges(fold.quads)
    both = np.vstack([edges, edges[:, ::-1]])
    size = (fold.whole_count, fold.whole_count)
    link = csr_matrix((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=size)
    degree = np.maximum(np.asarray(link.sum(axis=1)).ravel(), 1.0)
    return (diags(1.0 / degree) @ link).tocsr()
