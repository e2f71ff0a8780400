"""How rough the sculpt is."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray

_PLACES = 1200
_NEIGHBOURS = 60
_SEED = 7


def measure_noise(projector: SurfaceProjector, length: float) -> float:
    """Return the sculpt's roughness at the scale of a length, in its own unit.

    That is the median, over places spread on the sculpt, of the rms residual of a quadric laid through the
    vertices within about half the length: forms of that size and larger are no noise.

    Parameters
    ----------
    length : an edge of the cage.
    """
    used = np.flatnonzero(np.bincount(projector.triangles.ravel()))
    a, b, c = (projector.positions[projector.triangles[:, k]] for k in range(3))
    area = 0.5 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
    wanted = _NEIGHBOURS * area / max(np.pi * (0.5 * length) ** 2, 1e-300)
    order = np.random.default_rng(_SEED).permutation(used)
    kept = order[: int(np.clip(wanted, min(_PLACES, len(used)), len(used)))]
    count = min(_NEIGHBOURS, len(kept))
    if count < 12:
        return 0.0
    places = kept[:_PLACES]
    _, near = cKDTree(projector.positions[kept], balanced_tree=False, compact_nodes=False).query(
        projector.positions[places], count
    )
    around = projector.positions[kept[near]] - projector.positions[places][:, None]
    return float(np.median(_quadric_residual(around, projector.vertex_normals[places])))


def _quadric_residual(around: FloatArray, normals: FloatArray) -> FloatArray:
    """Return (p,) rms residuals of height over a quadratic polynomial; ``around`` is (p, k, 3)."""
    axis = np.eye(3)[np.abs(normals).argmin(axis=1)]
    first = np.cross(normals, axis)
    first /= np.maximum(np.linalg.norm(first, axis=1, keepdims=True), 1e-300)
    frame = np.stack([first, np.cross(normals, first), normals], axis=1)
    x, y, z = np.moveaxis(np.einsum("pij,pkj->pki", frame, around), 2, 0)
    scale = np.maximum(np.sqrt((x**2 + y**2).mean(axis=1, keepdims=True)), 1e-300)
    x, y = x / scale, y / scale
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    normal_matrix = np.einsum("pki,pkj->pij", terms, terms) + 1e-9 * np.eye(6)
    right = np.einsum("pki,pk->pi", terms, z)[..., None]
    rest = z - np.einsum("pki,pi->pk", terms, np.linalg.solve(normal_matrix, right)[..., 0])
    freedom = max(around.shape[1] - 6, 1)
    residual: FloatArray = np.sqrt((rest**2).sum(axis=1) / freedom)
    return residual
