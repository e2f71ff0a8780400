"""A lighter stand-in for a dense surface, for pictures in which it is only the background."""

from __future__ import annotations

import numpy as np

from loopwright.types import FloatArray, IntArray

MOST_TRIANGLES = 200_000


def thin_surface(
    positions: FloatArray, triangles: IntArray, *, most: int = MOST_TRIANGLES
) -> tuple[FloatArray, IntArray]:
    """Return a surface of about ``most`` triangles that looks the same from afar.

    The vertices in each cell of a grid become one, at their mean; triangles that collapse go.  Parts closer than a
    cell may grow together, so the outcome is for pictures alone.  A surface that is light enough is returned as it is.
    """
    if len(triangles) <= most:
        return positions, triangles
    corners = positions[triangles]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum() / 2
    cell = float(np.sqrt(3 * area / most)) or 1.0
    steps = np.floor((positions - positions.min(axis=0)) / cell).astype(np.int64)
    width = steps.max(axis=0) + 1
    keys = (steps[:, 0] * width[1] + steps[:, 1]) * width[2] + steps[:, 2]
    _, inverse, members = np.unique(keys, return_inverse=True, return_counts=True)
    means = [np.bincount(inverse, positions[:, axis], len(members)) / members for axis in range(3)]
    faces = inverse.ravel()[triangles]
    is_whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return np.stack(means, axis=1), np.ascontiguousarray(faces[is_whole], dtype=np.int32)
