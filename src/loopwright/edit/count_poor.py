"""Count the quads that taking strips out has spoilt."""

from __future__ import annotations

import numpy as np

from loopwright.fit.measure_quality import corner_sines
from loopwright.types import FloatArray, QuadMesh

_LEAST_COSINE = 0.2  # between a quad's normal and those that the mesh had at its corners


def count_poor(mesh: QuadMesh, normals: FloatArray, floor: float) -> int:
    """Count quads that are poorly shaped, or face another way than their corners did before.

    Parameters
    ----------
    normals : (n, 3) of the vertices before they were merged.
    floor : scaled Jacobian that is too little, as all below it are.
    """
    corners = mesh.positions[mesh.quads]
    normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    wanted = normals[mesh.quads].sum(axis=1)
    size = np.linalg.norm(normal, axis=1) * np.linalg.norm(wanted, axis=1)
    facing = np.einsum("ij,ij->i", normal, wanted) >= _LEAST_COSINE * size
    good = corner_sines(mesh.positions, mesh.quads).min(axis=1) > floor
    return int((~(facing & good)).sum())
