"""Cut a mesh exactly at a plane and keep the positive side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.numerics.norms import norms
from loopwright.surface.edges import build_edges, drop_unused_vertices
from loopwright.types import BoolArray, FloatArray, IntArray, MirrorPlane

_NEAR = 0.2  # of the mean edge: vertices nearer to the plane are moved onto it instead of cutting slivers


@dataclass(frozen=True)
class Half:
    """The part of a mesh on the positive side of a plane.

    Attributes
    ----------
    positions, triangles : the mesh.
    on_plane : (n,) bool, vertices exactly in the plane.
    origin : (n,) int32, the vertex of the whole mesh that it is, or for a
        new point on a cut edge the end on the positive side.
    """

    positions: FloatArray
    triangles: IntArray
    on_plane: BoolArray
    origin: IntArray


def drop_to_plane(plane: MirrorPlane, points: FloatArray) -> FloatArray:
    """Return the points moved along the normal into the plane; exactly so for a coordinate plane."""
    out = points - plane.signed_distance(points)[:, None] * plane.normal
    axis = int(np.abs(plane.normal).argmax())
    if abs(plane.normal[axis]) == 1.0:
        out[:, axis] = plane.offset * plane.normal[axis]
    return out


def clip_half(positions: FloatArray, triangles: IntArray, plane: MirrorPlane) -> Half:
    """Cut the mesh at the plane and keep the side with positive distance.

    Vertices very near the plane are moved onto it, unless that would make a
    triangle lie in the plane or pinch the kept side at a vertex.
    """
    distance = plane.signed_distance(positions)
    ends = triangles[:, [0, 1]]
    mean_edge = float(norms(positions[ends[:, 0]] - positions[ends[:, 1]]).mean())
    sign = np.where(distance < 0, -1, 1).astype(np.int8)
    on_plane = np.abs(distance) < _NEAR * mean_edge
    for _ in range(20):
        side = np.where(on_plane, 0, sign)
        release = _pinched(triangles, side, len(positions))
        if not release.any():
            break
        on_plane &= ~release
    side = np.where(on_plane, 0, sign)
    return _cut(positions, triangles, plane, distance, side)


def _pinched(triangles: IntArray, side: IntArray, n: int) -> BoolArray:
    """Return (n,) vertices on the plane at which the kept side would lie flat or touch itself."""
    corner = side[triangles]
    release = np.zeros(n, dtype=bool)
    flat = (corner == 0).all(axis=1)
    release[triangles[flat].ravel()] = True
    # Round a vertex in the plane the kept side is one fan where it has at most two ends.
    ends = np.zeros(n, dtype=np.int64)
    nearby = np.flatnonzero((corner == 0).any(axis=1) & (corner > 0).any(axis=1))
    for k in range(3):
        a, b, c = (triangles[nearby, (k + j) % 3] for j in range(3))
        for other in (b, c):
            np.add.at(ends, a[(side[a] == 0) & (side[other] == 0)], 1)
        crossing = (side[a] == 0) & (side[b] * side[c] < 0)
        np.add.at(ends, a[crossing], 1)
    used = np.zeros(n, dtype=bool)
    used[triangles.ravel()] = True
    release |= used & (side == 0) & (ends > 2)
    return release


def _cut(positions: FloatArray, triangles: IntArray, plane: MirrorPlane, distance: FloatArray, side: IntArray) -> Half:
    n = len(positions)
    corner = side[triangles]
    whole = (corner >= 0).all(axis=1) & (corner > 0).any(axis=1)
    mixed = np.flatnonzero((corner < 0).any(axis=1) & (corner > 0).any(axis=1))
    table = build_edges(triangles[mixed], n)
    a, b = table.edges[:, 0], table.edges[:, 1]
    crosses = side[a] * side[b] < 0
    a, b = a[crosses], b[crosses]
    upper = np.where(side[a] > 0, a, b).astype(np.int32)
    share = distance[a] / (distance[a] - distance[b])
    share = np.clip(np.where(np.isfinite(share), share, 0.5), 0.02, 0.98)
    points = positions[a] + share[:, None] * (positions[b] - positions[a])
    new_vertex = np.full(len(table.edges), -1, dtype=np.int32)
    new_vertex[crosses] = n + np.arange(len(points), dtype=np.int32)
    pieces = _pieces(triangles[mixed], corner[mixed], new_vertex[table.triangle_edges])
    all_triangles = np.concatenate([triangles[whole], *pieces]).astype(np.int32)
    all_positions = np.concatenate([positions, points])
    in_plane = np.concatenate([side == 0, np.ones(len(points), dtype=bool)])
    all_positions[in_plane] = drop_to_plane(plane, all_positions[in_plane])
    origin = np.concatenate([np.arange(n, dtype=np.int32), upper])
    kept_triangles, kept = drop_unused_vertices(all_triangles, len(all_positions))
    return Half(np.ascontiguousarray(all_positions[kept]), kept_triangles, in_plane[kept], origin[kept])


def _pieces(triangles: IntArray, corner: IntArray, cut: IntArray) -> list[IntArray]:
    """Return the positive parts of triangles that have corners on both sides."""
    out = []
    positive, zero = (corner > 0).sum(axis=1), (corner == 0).sum(axis=1)
    for count, flat in ((1, 1), (1, 0), (2, 0)):
        chosen = np.flatnonzero((positive == count) & (zero == flat))
        lone = (corner[chosen] > 0) if count == 1 else (corner[chosen] < 0)
        turn = lone.argmax(axis=1)
        p, q, r = (triangles[chosen, (turn + k) % 3] for k in range(3))
        pq, rp = cut[chosen, turn], cut[chosen, (turn + 2) % 3]
        if count == 1:
            second = np.where(corner[chosen, (turn + 1) % 3] == 0, q, pq)
            third = np.where(corner[chosen, (turn + 2) % 3] == 0, r, rp)
            out.append(np.stack([p, second, third], axis=1))
        else:
            out.append(np.stack([pq, q, r], axis=1))
            out.append(np.stack([pq, r, rp], axis=1))
    return out
