"""Even a net out: move its free vertices within the surface and put them back on the sculpt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.surface.edges import (
    build_edges,
    dot_rows,
    measure_triangles,
    row_lengths,
    triangle_normals,
    vertex_normals,
)
from loopwright.surface.net import Net, kept_degree, kept_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, IntArray


def relax_vertices(
    net: Net, projector: SurfaceProjector | None, *, rounds: int = 3, step: float = 0.6, project_last: bool = True
) -> Net:
    """Move every free vertex towards the area-weighted centre of its triangles, in its tangent plane.

    Vertices on kept edges stay.  A move that would fold a triangle, or make
    the worst triangle round the vertex worse and poor, is taken back.

    Parameters
    ----------
    projector : puts the vertices back on the sculpt after each round; with
        None they stay in their tangent planes.
    """
    n = len(net.positions)
    table = build_edges(net.triangles, n)
    free = (kept_degree(table, kept_edges(net, table), n) == 0) & ~net.is_fixed
    for number in range(rounds):
        normals = vertex_normals(net.positions, net.triangles)
        moved = net.positions + step * _tangential_pull(net, normals) * free[:, None]
        if projector is not None and (project_last or number < rounds - 1):
            ids = np.flatnonzero(free)
            moved[ids] = projector.project(moved[ids], normals[ids]).points
        net = replace(net, positions=take_back_folds(net.positions, moved, net.triangles))
    return net


def _tangential_pull(net: Net, normals: FloatArray) -> FloatArray:
    """Return (n, 3) vectors to the weighted centre of the triangles round each vertex, without normal part."""
    n = len(net.positions)
    corners = net.positions[net.triangles]
    centre = (corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3.0
    area = 0.5 * row_lengths(triangle_normals(net.positions, net.triangles))
    wished = net.size[net.triangles].mean(axis=1)
    weight = np.repeat(area / wished**2, 3)
    flat = net.triangles.ravel()
    total = np.bincount(flat, weight, n)
    sums = np.stack([np.bincount(flat, weight * np.repeat(centre[:, k], 3), n) for k in range(3)], axis=1)
    pull: FloatArray = sums / np.where(total > 0, total, 1.0)[:, None] - net.positions
    pull[total == 0] = 0.0
    tangential: FloatArray = pull - dot_rows(pull, normals)[:, None] * normals
    return tangential


def take_back_folds(
    before: FloatArray, after: FloatArray, triangles: IntArray, *, min_cos: float = 0.2, min_quality: float = 0.3
) -> FloatArray:
    """Return ``after``, with vertices put back to ``before`` wherever a triangle would fold or turn poor."""
    out = after.copy()
    old_normals, old_quality = measure_triangles(before, triangles)
    thin = np.flatnonzero(old_quality < 0.1)
    if len(thin):  # their own normals say little
        around = vertex_normals(before, triangles)[triangles[thin]]
        old_normals[thin] = around.sum(axis=1)
    for _ in range(6):
        bad = _bad_triangles(old_normals, old_quality, out, triangles, min_cos, min_quality)
        if not bad.any():
            return out
        ids = np.unique(triangles[bad])
        out[ids] = before[ids]
    return out


def _bad_triangles(
    old_normals: FloatArray,
    old_quality: FloatArray,
    positions: FloatArray,
    triangles: IntArray,
    min_cos: float,
    min_quality: float,
) -> BoolArray:
    normals, quality = measure_triangles(positions, triangles)
    folds = dot_rows(normals, old_normals) < min_cos * row_lengths(normals) * row_lengths(old_normals)
    worse: BoolArray = folds | ((quality < min_quality) & (quality < 0.999 * old_quality))
    return worse
