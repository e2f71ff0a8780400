"""Glue triangles along edges: which half-edge meets which, and where more than two want to meet.

Half-edge ``3 * f + k`` runs from corner ``k`` of triangle ``f`` to its next corner.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from loopwright.numerics.norms import norms
from loopwright.surface.parts import LongArray
from loopwright.types import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Gluing:
    """Half-edges by the edge they lie on.

    Attributes
    ----------
    twin : (3m,) int32, the half-edge glued to each one, or -1.
    crowded : half-edges on edges with more than two of them, edge after edge.
    crowd : for each entry of ``crowded`` the number of its edge, from 0.
    """

    twin: IntArray
    crowded: LongArray
    crowd: LongArray


def half_edge_ends(triangles: IntArray) -> tuple[IntArray, IntArray]:
    """Return the (3m,) start and end vertices of all half-edges."""
    return triangles.ravel(), np.ascontiguousarray(triangles[:, [1, 2, 0]]).ravel()


def glue(triangles: IntArray) -> Gluing:
    """Glue half-edges wherever exactly two lie on the same edge, in any direction."""
    start, end = half_edge_ends(triangles)
    span = int(triangles.max(initial=0)) + 1
    key = np.minimum(start, end).astype(np.int64) * span + np.maximum(start, end)
    order = np.argsort(key)
    key = key[order]
    is_first = np.ones(len(key), np.bool_)
    is_first[1:] = key[1:] != key[:-1]
    firsts = np.flatnonzero(is_first)
    sizes = np.diff(np.append(firsts, len(key)))
    twin = np.full(len(key), -1, np.int32)
    pair = firsts[sizes == 2]
    left, right = order[pair], order[pair + 1]
    twin[left], twin[right] = right, left
    is_crowded = sizes > 2
    counts = sizes[is_crowded]
    crowd = np.repeat(np.arange(len(counts)), counts)
    within = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
    crowded = order[np.repeat(firsts[is_crowded], counts) + within]
    rank = np.lexsort((crowded, crowd))
    return Gluing(twin, crowded[rank], crowd)


def glued_pairs(twin: IntArray) -> tuple[IntArray, IntArray]:
    """Return each glued pair of half-edges once."""
    left = np.flatnonzero(twin > np.arange(len(twin), dtype=np.int32)).astype(np.int32)
    return left, twin[left]


def label_components(count: int, left: NDArray[Any], right: NDArray[Any]) -> tuple[int, IntArray]:
    """Return how many components a graph of ``count`` nodes has, and each node's."""
    graph = coo_array((np.ones(len(left), np.int8), (left, right)), shape=(count, count)).tocsr()
    number, labels = connected_components(graph, directed=False)
    return int(number), labels.astype(np.int32, copy=False)


def face_components(twin: IntArray) -> tuple[int, IntArray]:
    """Return how many pieces the glued triangles form, and each triangle's."""
    left, right = glued_pairs(twin)
    return label_components(len(twin) // 3, left // 3, right // 3)


def double_areas(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return (m,) twice the area of each triangle."""
    normals = area_vectors(positions, triangles)
    areas: FloatArray = np.sqrt(np.einsum("ij,ij->i", normals, normals))
    return areas


def area_vectors(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return (m, 3) normals as long as twice the triangle's area."""
    first = positions[triangles[:, 0]]
    (ux, uy, uz), (vx, vy, vz) = (positions[triangles[:, 1]] - first).T, (positions[triangles[:, 2]] - first).T
    vectors = np.empty_like(first)
    np.subtract(uy * vz, uz * vy, out=vectors[:, 0])
    np.subtract(uz * vx, ux * vz, out=vectors[:, 1])
    np.subtract(ux * vy, uy * vx, out=vectors[:, 2])
    return vectors


def glue_crowded(gluing: Gluing, positions: FloatArray, triangles: IntArray) -> IntArray:
    """Glue crowded edges too, two by two, the largest sheets first.

    The sheets are what hangs together without the crowded edges.  Of a sphere with a
    membrane the two halves are glued and the membrane is cut off; two solids that touch along
    an edge stay two solids.  Sheets of one size are ordered by their angle about the edge.

    Returns
    -------
    (3m,) int32 twin, with -1 where an odd sheet is left over.
    """
    twin = gluing.twin.copy()
    if gluing.crowded.size == 0:
        return twin
    number, sheet = face_components(gluing.twin)
    area = np.bincount(sheet, double_areas(positions, triangles), minlength=number)
    size_rank = np.empty(number, np.int64)
    size_rank[np.lexsort((np.arange(number), -area))] = np.arange(number)
    rank = size_rank[sheet[gluing.crowded // 3]]
    angle = _angles_about_edges(gluing, positions, triangles)
    order = np.lexsort((gluing.crowded, angle, rank, gluing.crowd))
    edges, crowd = gluing.crowded[order], gluing.crowd[order]
    is_first = np.ones(len(crowd), np.bool_)
    is_first[1:] = crowd[1:] != crowd[:-1]
    firsts = np.flatnonzero(is_first)
    within = np.arange(len(crowd)) - np.repeat(firsts, np.diff(np.append(firsts, len(crowd))))
    leads = np.flatnonzero(within[:-1] % 2 == 0)
    leads = leads[crowd[leads] == crowd[leads + 1]]
    left, right = edges[leads], edges[leads + 1]
    twin[left], twin[right] = right, left
    return twin


def _angles_about_edges(gluing: Gluing, positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return the angle of each crowded triangle about its edge, from the edge's first triangle."""
    start, end = half_edge_ends(triangles)
    face, corner = gluing.crowded // 3, gluing.crowded % 3
    low = np.minimum(start[gluing.crowded], end[gluing.crowded])
    high = np.maximum(start[gluing.crowded], end[gluing.crowded])
    axis = positions[high] - positions[low]
    axis /= np.maximum(norms(axis)[..., None], np.finfo(float).tiny)
    arm = positions[triangles[face, (corner + 2) % 3]] - positions[low]
    arm -= axis * np.sum(arm * axis, axis=1, keepdims=True)
    first = np.searchsorted(gluing.crowd, gluing.crowd)
    zero = arm[first]
    side = np.cross(axis, zero)
    angle: FloatArray = np.arctan2(np.sum(arm * side, axis=1), np.sum(arm * zero, axis=1)) % (2.0 * np.pi)
    return angle


def is_mixed(triangles: IntArray, left: IntArray, right: IntArray) -> BoolArray:
    """Tell which glued pairs run in the same direction, so that their triangles face opposite ways."""
    start = triangles.ravel()
    mixed: BoolArray = start[left] == start[right]
    return mixed
