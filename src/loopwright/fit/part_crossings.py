"""Take back moves of the fit that push one part of the mesh through another, such as one lip through the other."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.sparse import csr_matrix, diags

from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import Fold
from loopwright.fit.link_edges import unique_edges
from loopwright.types import BoolArray, FloatArray, QuadMesh

_GENTLE_ROUNDS = 6  # that halve moves; later ones forbid them
_ROUNDS = 16
_LOOSENINGS = 30


def part_crossings(
    mesh: QuadMesh,
    crossings: CrossingFinder,
    start: FloatArray,
    fitted: FloatArray,
    spoilt: Callable[[FloatArray], BoolArray] | None = None,
) -> FloatArray:
    """Return the fitted (n, 3) positions, drawn back towards ``start`` where quads pass through others.

    The vertices of such quads go back by steps; quads that cross at the start already stay as they are there.
    What the steps spoil next to them goes back too.

    Parameters
    ----------
    crossings : of this mesh.
    spoilt : tells of (n, 3) positions which (m,) quads are worse than they may be; none at ``start``.
    """
    share = np.ones(len(start))
    for attempt in range(_ROUNDS):
        moved = start + share[:, None] * (fitted - start)
        bad = crossings.find(moved)
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


def _neighbour_average(fold: Fold) -> csr_matrix:
    edges = unique_edges(fold.quads)
    both = np.vstack([edges, edges[:, ::-1]])
    size = (fold.whole_count, fold.whole_count)
    link = csr_matrix((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=size)
    degree = np.maximum(np.asarray(link.sum(axis=1)).ravel(), 1.0)
    return (diags(1.0 / degree) @ link).tocsr()
