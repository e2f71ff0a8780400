"""How far the paint of a sculpt's two halves is apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from loopwright.numerics.nearest import nearest
from loopwright.numerics.norms import norms
from loopwright.types import FloatArray, IntArray, MirrorPlane

_SAME = 0.025  # of the diagonal: borders further apart than this are different ones
_MOST = 95.0  # percentile of the distances


def paint_apart(positions: FloatArray, triangles: IntArray, labels: IntArray, plane: MirrorPlane) -> float:
    """Return how far borders of paint are from the mirror images of those on the other half, in the sculpt's unit.

    From each place where two colours meet it is the distance to the nearest place where they do on the other half,
    less half an edge, as far as that is the same border: the 95th percentile of one half or the other, whichever is
    more. What is painted on one half alone does not count.

    Parameters
    ----------
    positions, triangles : (n, 3) and (m, 3) of the sculpt.
    labels : (n,) the vertices' colours; those without one, -1, count as having the nearest.
    """
    color = sure_colors(positions, labels)
    if len(color) == 0 or color[0] < 0:
        return 0.0
    sides = [triangles[:, [k, (k + 1) % 3]] for k in range(3)]
    edges = np.concatenate([side[color[side[:, 0]] != color[side[:, 1]]] for side in sides])
    if len(edges) == 0:
        return 0.0
    first, second = positions[edges[:, 0]], positions[edges[:, 1]]
    middle, half_edge = 0.5 * (first + second), 0.5 * float(np.median(norms(first - second)))
    pair = color[edges].min(axis=1) * (int(color.max()) + 1) + color[edges].max(axis=1)
    ahead = plane.signed_distance(middle) >= 0.0
    image = plane.reflect(middle)
    reach = _SAME * float(np.linalg.norm(np.ptp(positions, axis=0)))
    apart = [_apart(image[here], pair[here], middle[~here], pair[~here], reach) for here in (ahead, ~ahead)]
    return max(0.0, max(apart) - half_edge)


def sure_colors(positions: FloatArray, labels: IntArray) -> NDArray[np.int64]:
    """Return (n,) the vertices' colours, of those without one, -1, the nearest; all -1 where none has one."""
    color = labels.astype(np.int64)
    known, unknown = np.flatnonzero(labels >= 0), np.flatnonzero(labels < 0)
    if len(known) and len(unknown):
        color[unknown] = color[known[nearest(cKDTree(positions[known], balanced_tree=False), positions[unknown])[1]]]
    return color


def _apart(
    places: FloatArray, pairs: NDArray[np.int64], others: FloatArray, other_pairs: NDArray[np.int64], reach: float
) -> float:
    """Return the 95th percentile of distances to the nearest of the others of the same pair, within reach; or 0."""
    found = []
    for pair in np.intersect1d(pairs, other_pairs):
        gap = nearest(cKDTree(others[other_pairs == pair], balanced_tree=False), places[pairs == pair])[0]
        found.append(gap[gap < reach])
    gaps = np.concatenate([np.zeros(0), *found])
    return float(np.percentile(gaps, _MOST)) if len(gaps) else 0.0
