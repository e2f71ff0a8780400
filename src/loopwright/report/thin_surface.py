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
    normals = _cross(positions, triangles)
    cell = float(np.sqrt(1.5 * np.linalg.norm(normals, axis=1).sum() / most)) or 1.0
    steps = np.floor((positions - positions.min(axis=0)) / cell).astype(np.int64)
    width = steps.max(axis=0) + 1
    keys = (steps[:, 0] * width[1] + steps[:, 1]) * width[2] + steps[:, 2]
    _, inverse, members = np.unique(keys, return_inverse=True, return_counts=True)
    means = [np.bincount(inverse.ravel(), positions[:, axis], len(members)) / members for axis in range(3)]
    thin = np.stack(means, axis=1)
    faces = inverse.ravel().astype(np.int32)[triangles]
    outward = _gather(normals, faces, len(thin))
    is_whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return thin, _turn_outward(thin, np.ascontiguousarray(faces[is_whole], dtype=np.int32), outward)


def _turn_outward(positions: FloatArray, faces: IntArray, outward: FloatArray) -> IntArray:
    """Turn the triangles that folded over, so that all look the way that the surface looked there."""
    is_folded = np.einsum("nc,nc->n", _cross(positions, faces), outward[faces].sum(axis=1)) < 0
    return np.where(is_folded[:, None], faces[:, ::-1], faces)


def _gather(normals: FloatArray, faces: IntArray, count: int) -> FloatArray:
    """Return (count, 3) the sum of the normals of the triangles at each vertex."""
    sums = np.zeros((count, 3))
    for column in faces.T:
        for axis in range(3):
            sums[:, axis] += np.bincount(column, normals[:, axis], count)
    return sums


def _cross(positions: FloatArray, faces: IntArray) -> FloatArray:
    """Return (m, 3) normals of triangles, twice as long as their area."""
    corners = positions[faces]
    normals: FloatArray = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return normals
