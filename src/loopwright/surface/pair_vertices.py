"""Match the vertices of a mesh with their mirror images."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from loopwright.types import FloatArray, IntArray, MirrorPlane


def pair_vertices(
    positions: FloatArray, quads: IntArray, axis: int, *, same: float
) -> tuple[NDArray[np.int64], MirrorPlane] | None:
    """Return (n,) partners and the plane if the mesh is symmetric across this axis, positions and faces.

    Parameters
    ----------
    axis : 0, 1 or 2.
    same : of the diagonal, the most that a vertex may miss its image by.
    """
    low, high = positions.min(axis=0), positions.max(axis=0)
    diagonal = float(np.linalg.norm(high - low))
    normal = np.eye(3)[axis]
    tree = cKDTree(positions, balanced_tree=False, compact_nodes=False)
    for offset in (0.0, float(low[axis] + high[axis]) / 2.0):
        plane = MirrorPlane(normal, offset)
        distance, partner = tree.query(plane.reflect(positions))
        if distance.max() > same * diagonal or (partner[partner] != np.arange(len(partner))).any():
            continue
        faces = np.sort(quads, axis=1)
        images = np.sort(partner[quads], axis=1)
        if np.array_equal(faces[np.lexsort(faces.T)], images[np.lexsort(images.T)]):
            return partner.astype(np.int64), plane
    return None
