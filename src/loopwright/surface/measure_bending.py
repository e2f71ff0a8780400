"""How a surface bends: its smoothed principal directions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix

from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import directed_edges, twin_corners
from loopwright.types import FloatArray, IntArray

_ROUNDS = 6  # of averaging the curvature


@dataclass(frozen=True)
class Bending:
    """The direction of least bending at each vertex, and how much it is preferred.

    Attributes
    ----------
    direction : (n, 3) unit vectors, tangent to the surface.
    excess : (n,) difference of the principal curvatures' sizes, 1 / length.
    """

    direction: FloatArray
    excess: FloatArray


def measure_bending(positions: FloatArray, triangles: IntArray, reach: FloatArray) -> Bending:
    """Return the smoothed principal directions of a surface.

    Parameters
    ----------
    positions : (n, 3). triangles : (m, 3).
    reach : (n,) length over which curvature is averaged.

    References
    ----------
    D. Cohen-Steiner, J.-M. Morvan, "Restricted Delaunay triangulations and normal cycle", SoCG 2003,
    doi:10.1145/777792.777839: the curvature tensor as a sum over edges of the angle between the faces.
    """
    count = len(positions)
    p = positions[triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    double_area = norms(normal)
    normal = normal / np.maximum(double_area, 1e-300)[:, None]
    twin = twin_corners(triangles)
    edges = directed_edges(triangles)
    inner = np.flatnonzero((twin >= 0) & (np.arange(len(twin)) < twin))
    tail, head = edges[inner, 0], edges[inner, 1]
    along = positions[head] - positions[tail]
    length = norms(along)
    along = along / np.maximum(length, 1e-300)[:, None]
    here, there = normal[inner // 3], normal[twin[inner] // 3]
    angle = np.arctan2(np.einsum("ij,ij->i", np.cross(here, there), along), np.einsum("ij,ij->i", here, there))
    tensor = (angle * length)[:, None] * np.einsum("ij,ik->ijk", along, along).reshape(-1, 9)
    ends, halves = np.concatenate([tail, head]), np.tile(0.5 * tensor.T, 2)
    total = np.stack([np.bincount(ends, half, count) for half in halves], axis=1)
    area = np.bincount(triangles.reshape(-1), np.repeat(double_area / 6.0, 3), count)
    spread = _spread(count, tail, head, length, reach)
    for _ in range(_ROUNDS):
        total, area = spread @ total, spread @ area
    tensor = (total / np.maximum(area, 1e-300)[:, None]).reshape(-1, 3, 3)
    corners, shares = triangles.T.reshape(-1), np.tile((normal * double_area[:, None]).T, 3)
    up: FloatArray = np.stack([np.bincount(corners, share, count) for share in shares], axis=1)
    up /= np.maximum(norms(up)[..., None], 1e-300)
    flat = np.eye(3) - up[:, :, None] * up[:, None, :]
    values, vectors = np.linalg.eigh(flat @ tensor @ flat)
    # the normal's own value is 0: the two others by size; an edge that bends runs along the way of least bending
    order = np.argsort(np.abs(np.einsum("nij,ni->nj", vectors, up)), axis=1)[:, :2]
    rows = np.arange(count)[:, None]
    size = np.abs(values[rows, order])
    strong = size.argmax(axis=1)
    direction = vectors[np.arange(count), :, order[np.arange(count), strong]]
    return Bending(direction, np.abs(size[:, 0] - size[:, 1]))


def _spread(count: int, tail: IntArray, head: IntArray, length: FloatArray, reach: FloatArray) -> csr_matrix:
    """Return the (n, n) averaging with neighbours, weaker where edges are long beside the reach."""
    weight = np.minimum(1.0, (reach[tail] + reach[head]) / 2.0 / np.maximum(length, 1e-300))
    both = np.concatenate([tail, head]), np.concatenate([head, tail])
    link = coo_matrix((np.tile(weight, 2), both), shape=(count, count)).tocsr()
    degree = np.asarray(link.sum(axis=1)).ravel()
    own = coo_matrix((np.maximum(degree, 1e-9), (np.arange(count),) * 2), shape=(count, count))
    inverse = coo_matrix((0.5 / np.maximum(degree, 1e-9), (np.arange(count),) * 2), shape=(count, count))
    return (inverse @ (link + own)).tocsr()
