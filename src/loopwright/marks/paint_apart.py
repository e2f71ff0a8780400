"""How far the paint of a sculpt's two halves is apart."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from loopwright.numerics.nearest import nearest
from loopwright.types import FloatArray, IntArray, MirrorPlane

_SAMPLES = 20_000  # vertices of one half that are looked at
_FEW = 1_000  # of which those next to them are looked for
_MOST = 95.0  # percentile of the distances


def paint_apart(positions: FloatArray, labels: IntArray, plane: MirrorPlane) -> float:
    """Return how far borders of paint are from where their mirror images lie, in most places, in the sculpt's unit.

    Where a vertex and its image have different colours, that is how far the image is from the nearest paint of the
    vertex's colour on its own half, less the distance of neighbouring vertices; of these the 95th percentile.
    Colours that one half does not have do not count.

    Parameters
    ----------
    positions : (n, 3) of the sculpt's vertices.
    labels : (n,) their colours, -1 for none.
    """
    is_known, ahead = labels >= 0, plane.signed_distance(positions) >= 0.0
    near, far = np.flatnonzero(is_known & ahead), np.flatnonzero(is_known & ~ahead)
    near = near[:: max(1, len(near) // _SAMPLES)]
    if len(near) == 0 or len(far) == 0:
        return 0.0
    image, there = plane.reflect(positions[near]), positions[far]
    tree = cKDTree(there, balanced_tree=False)
    differs = labels[far[nearest(tree, image)[1]]] != labels[near]
    apart = []
    for color in np.unique(labels[near[differs]]):
        same = there[labels[far] == color]
        if len(same):
            chosen = image[differs & (labels[near] == color)]
            apart.append(nearest(cKDTree(same, balanced_tree=False), chosen)[0])
    if not apart:
        return 0.0
    few = there[:: max(1, len(there) // _FEW)]
    spacing = float(np.median(tree.query(few, k=2)[0][:, 1])) if len(there) > 1 else 0.0
    return max(0.0, float(np.percentile(np.concatenate(apart), _MOST)) - spacing)
