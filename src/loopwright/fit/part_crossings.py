"""Take back moves of the fit that push one part of the mesh through another, such as one lip through the other."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags

from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import Fold
from loopwright.fit.link_edges import unique_edges, vertices_around
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh

_GENTLE_ROUNDS = 6  # that halve moves; later ones forbid them
_ROUNDS = 16
_LOOSENINGS = 30
_SMOOTHING = 0.2  # of the way to the neighbours' middle, per loosening
_WIDER = 2  # rows round quads that cross
_FEW = 0.05  # share of the quads up to which those that cross are freed with what lies round them


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


def touches_more(fold: Fold, projector: SurfaceProjector, positions: FloatArray, before: FloatArray) -> bool:
    """Return whether more quads cross, or lie nearer to another part of the sculpt, than before.

    Parameters
    ----------
    fold : of the mesh. positions, before : (n, 3), its vertices.
    """
    crossings, strays = CrossingFinder(fold), StrayFinder(fold.quads, projector)
    crossing = [len(crossings.find(at)) for at in (before, positions)]
    stray = [strays.find(fold.unfold_points(at)).sum() for at in (before, positions)]
    return bool(crossing[1] > crossing[0] or stray[1] > stray[0])


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

    Inner vertices of such quads, and of those that this spoils, go towards the middle of their neighbours, off the
    sculpt if need be. What a round leaves counts if fewer quads cross and none is spoilt. Where some still cross, it is
    done once more from the start, with more of what lies round them, and what a round would spoil stays as it was.
    """
    free = (mesh.vertex_curve < 0) & ~mesh.is_fixed
    average = _neighbour_average(fold)

    def smooth(moved: FloatArray, bad: NDArray[np.int64], rows: int, stays: BoolArray) -> FloatArray:
        near = vertices_around(mesh.quads, np.isin(np.arange(len(mesh.quads)), bad), rows)
        middle = (average @ fold.unfold_points(moved))[: len(positions)]
        if mesh.mirror is not None:
            flat = np.flatnonzero(mesh.on_mirror)
            middle[flat] -= mesh.mirror.signed_distance(middle[flat])[:, None] * mesh.mirror.normal
        return np.where((near & free & ~stays)[:, None], moved + _SMOOTHING * (middle - moved), moved)

    best = moved = positions
    bad = crossings.find(best)
    fewest = len(bad)
    if fewest == 0:
        return positions
    before, stays = spoilt(best), np.zeros(len(positions), np.bool_)
    for _ in range(_LOOSENINGS):
        moved = smooth(moved, bad, 1, stays)
        crossing, worse = crossings.find(moved), np.flatnonzero(spoilt(moved) & ~before)
        if len(crossing) < fewest and len(worse) == 0:
            best, fewest = moved, len(crossing)
        bad = np.union1d(crossing, worse)  # what a round spoils becomes smooth in the next ones
        if len(bad) == 0:
            return best
    if fewest > _FEW * len(mesh.quads):
        return best  # no room is left between so many
    moved, bad = positions, crossings.find(positions)
    for _ in range(_LOOSENINGS):  # or else it stays as it was, and what lies round it gives way
        moved, stays = _without(smooth(moved, bad, _WIDER, stays), moved, stays, mesh.quads, spoilt, before)
        bad = crossings.find(moved)
        if len(bad) < fewest:
            best, fewest = moved, len(bad)
        if len(bad) == 0:
            break
    return best


def _without(
    moved: FloatArray,
    last: FloatArray,
    stays: BoolArray,
    quads: IntArray,
    spoilt: Callable[[FloatArray], BoolArray],
    before: BoolArray,
) -> tuple[FloatArray, BoolArray]:
    """Return the moved positions with quads that a move spoils as they were last, and which vertices stay for that."""
    moved, stays = moved.copy(), stays.copy()
    while True:
        held = np.zeros(len(stays), np.bool_)
        held[quads[spoilt(moved) & ~before]] = True
        if not (held & ~stays).any():
            return moved, stays
        stays |= held
        moved[stays] = last[stays]


def _neighbour_average(fold: Fold) -> csr_matrix:
    edges = unique_edges(fold.quads)
    both = np.vstack([edges, edges[:, ::-1]])
    size = (fold.whole_count, fold.whole_count)
    link = csr_matrix((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=size)
    degree = np.maximum(np.asarray(link.sum(axis=1)).ravel(), 1.0)
    return (diags(1.0 / degree) @ link).tocsr()
