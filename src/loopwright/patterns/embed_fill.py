"""Convex polygons for patches, Tutte embeddings of fills in them, and how well shaped the result is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.sparse import csc_matrix, diags
from scipy.sparse.linalg import splu

from loopwright.numerics.norms import norms
from loopwright.types import FloatArray, IntArray

_DENSE_LIMIT = 120


def convex_corners(side_lengths: Sequence[float]) -> FloatArray:
    """Return the (n, 2) corners of a convex polygon with about these side lengths, counter-clockwise.

    Four sides give a rectangle of the mean opposite lengths.  Otherwise the
    corners lie on a circle, every side on an arc; no arc is longer than
    about half the circle, so a side longer than all the others together
    is shortened.
    """
    lengths = np.asarray(side_lengths, dtype=np.float64)
    if lengths.size == 4:
        width, height = 0.5 * (lengths[:2] + lengths[2:])
        width, height = np.array([width, height]) / np.sqrt(width * height)
        return np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    angles = np.full(2, np.pi) if lengths.size == 2 else _arcs_on_circle(lengths)
    starts = np.concatenate([[0.0], np.cumsum(angles)[:-1]]) - 0.5 * np.pi - 0.5 * angles[0]
    return np.stack([np.cos(starts), np.sin(starts)], axis=1)


def _arcs_on_circle(lengths: FloatArray) -> FloatArray:
    """Return the angles of the polygon with these sides that has a circumcircle (centre inside, else cut back)."""
    lengths = np.minimum(lengths, 0.9 * (lengths.sum() - lengths))
    lengths = np.maximum(lengths, 0.02 * lengths.sum())
    low, high = 0.5 * float(lengths.max()), float(lengths.sum())
    for _ in range(60):
        radius = 0.5 * (low + high)
        total = 2.0 * float(np.arcsin(np.minimum(0.5 * lengths / radius, 1.0)).sum())
        low, high = (radius, high) if total > 2.0 * np.pi else (low, radius)
    angles: FloatArray = 2.0 * np.arcsin(np.minimum(0.5 * lengths / high, 1.0))
    angles *= 2.0 * np.pi / angles.sum()
    return angles


def points_on_sides(corners: FloatArray, fractions: Sequence[FloatArray], *, bulge: float) -> FloatArray:
    """Return the points at ``fractions`` (0..1) of every side, all sides in turn, as (b, 2).

    Parameters
    ----------
    bulge : height of the parabola that each side bends outwards by, as a share of its length.
    """
    ends = np.roll(corners, -1, axis=0)
    parts = []
    for start, end, t in zip(corners, ends, fractions, strict=True):
        along = end - start
        outward = np.array([along[1], -along[0]])
        t = np.asarray(t, dtype=np.float64)[:, None]
        parts.append(start + along * t + outward * (4.0 * bulge * t * (1.0 - t)))
    return np.concatenate(parts)


def default_bulge(side_count: int) -> float:
    """Return the bulge that keeps a lens open (two sides); others may stay straight."""
    return 0.35 if side_count == 2 else 0.0


def quad_edges(quads: IntArray) -> IntArray:
    """Return the (e, 2) int32 undirected edges of quads, smaller id first."""
    pairs = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=-1).reshape(-1, 2), axis=1)
    edges: IntArray = np.unique(pairs, axis=0).astype(np.int32)
    return edges


def embed_tutte(edges: IntArray, vertex_count: int, boundary: IntArray, boundary_points: FloatArray) -> FloatArray:
    """Return (n, 2) points in which every interior vertex is the mean of its neighbours.

    References
    ----------
    Tutte, "How to draw a graph", Proc. London Math. Soc. 13, 1963.
    """
    points = np.zeros((vertex_count, 2))
    points[boundary] = boundary_points
    is_inner = np.ones(vertex_count, dtype=bool)
    is_inner[boundary] = False
    inner = np.flatnonzero(is_inner)
    if inner.size == 0:
        return points
    local = np.full(vertex_count, -1, dtype=np.int64)
    local[inner] = np.arange(inner.size)
    tail = np.concatenate([edges[:, 0], edges[:, 1]])
    head = np.concatenate([edges[:, 1], edges[:, 0]])
    keep = is_inner[tail]
    tail, head = tail[keep], head[keep]
    to_inner = is_inner[head]
    degree = np.bincount(local[tail], minlength=inner.size).astype(np.float64)
    right = np.zeros((inner.size, 2))
    np.add.at(right, local[tail[~to_inner]], points[head[~to_inner]])
    rows, columns = local[tail[to_inner]], local[head[to_inner]]
    if inner.size <= _DENSE_LIMIT:
        dense = np.diag(degree)
        dense[rows, columns] -= 1.0
        points[inner] = np.linalg.solve(dense, right)
    else:
        off = csc_matrix((np.ones(rows.size), (rows, columns)), shape=(inner.size, inner.size))
        points[inner] = splu((diags(degree) - off).tocsc(), permc_spec="MMD_AT_PLUS_A").solve(right)
    return points


def scaled_jacobians(points: FloatArray, quads: IntArray) -> FloatArray:
    """Return (m,) the least corner sine of every plane quad; below zero where it folds.

    References
    ----------
    Stimpson et al., "The Verdict geometric quality library", SAND2007-1751.
    """
    corner = points[quads]
    forward = np.roll(corner, -1, axis=1) - corner
    length = np.maximum(norms(forward), 1e-300)
    back = -np.roll(forward, 1, axis=1)
    cross = forward[..., 0] * back[..., 1] - forward[..., 1] * back[..., 0]
    least: FloatArray = (cross / (length * np.roll(length, 1, axis=1))).min(axis=1)
    return least


def score_fill(quads: IntArray, vertex_count: int, side_counts: Sequence[int], side_lengths: Sequence[float]) -> float:
    """Return how well a fill suits its polygon (higher is better); boundary vertices are 0, 1, 2, ... in order."""
    corners = convex_corners(side_lengths)
    bulge = max(default_bulge(len(side_counts)), 0.08)
    boundary_points = points_on_sides(corners, [np.arange(k) / k for k in side_counts], bulge=bulge)
    boundary = np.arange(sum(side_counts), dtype=np.int32)
    edges = quad_edges(quads)
    points = embed_tutte(edges, vertex_count, boundary, boundary_points)
    shape = scaled_jacobians(points, quads)
    lengths = norms(points[edges[:, 0]] - points[edges[:, 1]])
    spread = float(np.std(np.log(np.maximum(lengths, 1e-9))))
    room = min(1.0, pole_clearance(quads, vertex_count, boundary.size) / max(1.0, 0.25 * min(side_counts)))
    return float(shape.mean() + 0.5 * shape.min() - 0.3 * spread + 0.3 * room)


def pole_clearance(quads: IntArray, vertex_count: int, boundary_size: int) -> int:
    """Return over how many quads (edges or diagonals) the way leads from the boundary to the nearest pole.

    A pole that shares a quad with the boundary has clearance 1; without poles the depth of the fill is returned.
    """
    is_pole = np.bincount(quads.ravel(), minlength=vertex_count) != 4
    is_pole[:boundary_size] = False
    reached = np.zeros(vertex_count, dtype=bool)
    reached[:boundary_size] = True
    steps = 0
    while not reached.all() and not (reached & is_pole).any():
        reached[quads[reached[quads].any(axis=1)].ravel()] = True
        steps += 1
    return steps
