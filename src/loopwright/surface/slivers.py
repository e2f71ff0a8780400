"""Mend triangles without area whose corners are three different vertices."""

from __future__ import annotations

import numpy as np

from loopwright.numerics.norms import norms
from loopwright.surface.glue import area_vectors, glue, half_edge_ends
from loopwright.surface.parts import LongArray
from loopwright.types import BoolArray, FloatArray, IntArray

SLIVER_HEIGHT = 1e-6
"""A triangle is a sliver if its height is below this share of its longest edge."""
MAX_ROUNDS = 8
MAX_MENDED = 20_000
"""With more slivers than this the sculpt is left as it is: something else is wrong with it."""


def find_slivers(positions: FloatArray, triangles: IntArray) -> BoolArray:
    """Tell which triangles have next to no height."""
    a, b, c = (positions[triangles[:, k]] for k in range(3))
    longest = np.maximum.reduce([np.einsum("ij,ij->i", e, e) for e in (b - a, c - b, a - c)])
    normal = area_vectors(positions, triangles)
    flat: BoolArray = np.einsum("ij,ij->i", normal, normal) <= (SLIVER_HEIGHT * longest) ** 2
    return flat


def mend_slivers(positions: FloatArray, triangles: IntArray) -> tuple[IntArray, BoolArray]:
    """Flip the longest edge of every sliver into its neighbour; at a rim take the sliver away.

    Both keep the surface as it is.  A flip is made only if both new triangles have
    height, face the neighbour's way, and the new edge is not there yet.

    Parameters
    ----------
    triangles : (m, 3) int32, an oriented manifold.

    Returns
    -------
    triangles : (m, 3) int32.
    is_kept : (m,) bool, False for the slivers taken away.
    """
    mended = triangles.copy()
    is_kept = np.ones(len(mended), np.bool_)
    for _ in range(MAX_ROUNDS):
        slivers = np.flatnonzero(find_slivers(positions, mended) & is_kept)
        if not 0 < slivers.size <= MAX_MENDED or not _mend_once(positions, mended, is_kept, slivers):
            break
    return mended, is_kept


def _mend_once(positions: FloatArray, triangles: IntArray, is_kept: BoolArray, slivers: LongArray) -> bool:
    """Mend in place what can be mended without two changes meeting; tell whether anything was."""
    alive = np.flatnonzero(is_kept)
    place = np.full(len(triangles), -1, np.int64)
    place[alive] = np.arange(len(alive))
    local = triangles[alive]
    twin = glue(local).twin
    start, end = half_edge_ends(local)
    span = int(local.max()) + 1
    edges = np.unique(np.minimum(start, end).astype(np.int64) * span + np.maximum(start, end))
    is_rim = np.zeros(span, np.bool_)
    is_rim[start[twin < 0]] = is_rim[end[twin < 0]] = True
    used: set[int] = set()
    new_edges: set[int] = set()
    changed = False
    for face in place[slivers]:
        points = positions[local[face]]
        longest = int(np.argmax(norms(np.roll(points, -1, axis=0) - points)))
        a, b, c = (int(local[face, (longest + k) % 3]) for k in range(3))
        other_half = int(twin[3 * face + longest])
        if face in used:
            continue
        if other_half < 0:
            if not is_rim[c]:
                is_kept[alive[face]] = False
                is_rim[c] = True
                used.update((int(face), *(int(half) // 3 for half in twin[3 * face : 3 * face + 3] if half >= 0)))
                changed = True
            continue
        other = other_half // 3
        d = int(local[other, (other_half + 2) % 3])
        key = min(c, d) * span + max(c, d)
        at = min(int(np.searchsorted(edges, key)), len(edges) - 1)
        if other in used or c == d or key in new_edges or int(edges[at]) == key:
            continue
        fresh = np.array([[c, a, d], [d, b, c]], np.int32)
        if find_slivers(positions, fresh).any() or not _faces_alike(positions, fresh, local[other]):
            continue
        triangles[alive[face]], triangles[alive[other]] = fresh
        used.update((int(face), other))
        new_edges.add(key)
        changed = True
    return changed


def _faces_alike(positions: FloatArray, fresh: IntArray, neighbour: IntArray) -> bool:
    a, b, c = positions[neighbour]
    normal = np.cross(b - a, c - a)
    new = np.cross(positions[fresh[:, 1]] - positions[fresh[:, 0]], positions[fresh[:, 2]] - positions[fresh[:, 0]])
    return bool((new @ normal > 0.0).all())
