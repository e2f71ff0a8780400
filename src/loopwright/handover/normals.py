"""Vertex normals of quad meshes."""

from __future__ import annotations

import numpy as np

from loopwright.types import FloatArray, IntArray


def quad_vertex_normals(positions: FloatArray, quads: IntArray) -> FloatArray:
    """Return (n, 3) unit normals, the mean of the quads' area vectors round each vertex.

    A quad's area vector is half the cross product of its diagonals.  Where it
    vanishes, and at vertices without faces, the normal is +z.
    """
    a, b, c, d = (positions[quads[:, k]] for k in range(4))
    area_vectors = np.cross(c - a, d - b)
    corners = quads.ravel()
    columns = [np.bincount(corners, np.repeat(area_vectors[:, k], 4), len(positions)) for k in range(3)]
    normals: FloatArray = np.stack(columns, axis=1).astype(np.float64)
    length = np.linalg.norm(normals, axis=1)
    is_flat = ~(length > 0.0)
    normals[is_flat] = (0.0, 0.0, 1.0)
    normals /= np.where(is_flat, 1.0, length)[:, None]
    return normals
