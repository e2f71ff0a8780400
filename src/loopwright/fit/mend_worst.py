"""Mend the few quads that are still folded or flat: one vertex after the other takes its best place near by."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.link_edges import mean_edges
from loopwright.fit.measure_quality import corner_sines
from loopwright.surface.edges import cross_rows, dot_rows
from loopwright.surface.project import unit
from loopwright.types import FloatArray, IntArray

Places = Callable[[int, FloatArray], tuple[FloatArray, FloatArray]]
"""Takes a vertex and (k, 2) wishes, as offsets along its two tangents, to (k, 3) places that it may take and the
(k, 3) surface normals there."""

_RINGS = (0.08, 0.25, 0.6)  # radii of the places tried, in local edge lengths
_SPOKES = 10
_VANISHED = 0.01  # shortest edge over longest at which a quad is worse than any fold
_LASTING = 4.0  # the shortest edge over the longest, times this, counts like a scaled Jacobian


def mean_normals(normals: FloatArray, quads: IntArray) -> FloatArray:
    """Return (m, 3) the unit means of the normals at the quads' corners."""
    a, b, c, d = (normals[quads[:, k]] for k in range(4))
    return unit(a + b + c + d)


def edge_ratios(positions: FloatArray, quads: IntArray) -> FloatArray:
    """Return (m,) each quad's shortest edge over its longest."""
    corners = np.ascontiguousarray(positions.T)[:, quads.T]
    x, y, z = corners[:, [1, 2, 3, 0]] - corners
    square = x * x + y * y + z * z
    ratio: FloatArray = np.sqrt(square.min(axis=0)) / np.maximum(np.sqrt(square.max(axis=0)), 1e-300)
    return ratio


def face_measures(positions: FloatArray, quads: IntArray, normals: FloatArray) -> FloatArray:
    """Return (m, 2) each quad's scaled Jacobian, and the cosine of its normal with the surface's."""
    corners = positions[quads]
    own = unit(cross_rows(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]))
    agreement = dot_rows(own, mean_normals(normals, quads))
    return np.stack([corner_sines(positions, quads, own).min(axis=1), agreement], axis=1)


def face_quality(positions: FloatArray, quads: IntArray, normals: FloatArray) -> FloatArray:
    """Return (m,) the least of each quad's two measures and of how far its edges are from vanishing, -1 where gone."""
    ratio = edge_ratios(positions, quads)
    lasting = np.where(ratio > _VANISHED, _LASTING * ratio, -1.0)
    least: FloatArray = np.minimum(face_measures(positions, quads, normals).min(axis=1), lasting)
    return least


def mend_worst(
    positions: FloatArray,
    quads: IntArray,
    normals: FloatArray,
    may_move: NDArray[np.bool_],
    places: Places,
    *,
    least: float = 0.3,
    rounds: int = 12,
) -> tuple[FloatArray, FloatArray]:
    """Return positions and normals with the quads of a quality below ``least`` mended as far as can be.

    Parameters
    ----------
    positions, normals : (n, 3) float64, of the vertices.
    quads : (m, 4) int32.
    may_move : (n,) bool.
    places : says where a vertex may go.
    least : quality below which a quad is mended.
    rounds : passes over the vertices of bad quads.

    References
    ----------
    L. A. Freitag, C. Ollivier-Gooch, "Tetrahedral mesh improvement using swapping and smoothing", IJNME 40,
    1997: smoothing by the worst quality round each vertex.
    """
    positions, normals = positions.copy(), normals.copy()
    quality = face_quality(positions, quads, normals)
    if (quality >= least).all():
        return positions, normals
    size = mean_edges(positions, quads)
    wishes = _wishes()
    corners = quads.ravel()
    order = np.argsort(corners, kind="stable")
    start = np.searchsorted(corners[order], np.arange(len(positions) + 1))
    idle = 0
    for step in range(rounds):
        bad = np.unique(quads[quality < least])
        if step % 3 == 2:  # now and then the neighbours give way too
            bad = np.unique(quads[np.isin(quads, bad).any(axis=1)])
        bad = bad[may_move[bad]]
        changed = False
        for vertex in bad.tolist():
            faces = order[start[vertex] : start[vertex + 1]] // 4
            changed |= _improve(vertex, faces, positions, quads, normals, places, size[vertex] * wishes)
            quality[faces] = face_quality(positions, quads[faces], normals)
        idle = 0 if changed else idle + 1
        if idle == 3 or (quality >= least).all():
            break
    return positions, normals


def _improve(
    vertex: int,
    faces: NDArray[np.int64],
    positions: FloatArray,
    quads: IntArray,
    normals: FloatArray,
    places: Places,
    wishes: FloatArray,
) -> bool:
    """Move one vertex in place to the best of the places tried; say whether it moved."""
    points, facing = places(vertex, wishes)
    ring = quads[faces]
    tried = len(points)
    corner = np.broadcast_to(ring, (tried, *ring.shape))
    is_vertex = (ring == vertex)[None, :, :, None]
    where = np.where(is_vertex, points[:, None, None], positions[corner])
    aim = np.where(is_vertex, facing[:, None, None], normals[corner])
    flat = where.reshape(-1, 3)
    local = np.arange(len(flat), dtype=np.int32).reshape(-1, 4)
    quality = face_quality(flat, local, aim.reshape(-1, 3)).reshape(tried, -1).min(axis=1)
    now = float(face_quality(positions, ring, normals).min())
    best = int(quality.argmax())
    if quality[best] <= now + 1e-3:
        return False
    positions[vertex], normals[vertex] = points[best], facing[best]
    return True


def _wishes() -> FloatArray:
    angle = 2.0 * np.pi * np.arange(_SPOKES) / _SPOKES
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.vstack([radius * circle for radius in _RINGS])
