"""Mesh edges that lie on ridges stay sharp while the limit surface is fitted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.numerics.catmull_clark import NO_SHARPNESS, Sharpness
from loopwright.numerics.norms import norms
from loopwright.types import FloatArray, QuadMesh
from loopwright.wishes import FlowLine

_NEAR = 0.15  # of its length, how far an edge's ends and middle may lie from a ridge


def ridge_edges(mesh: QuadMesh, ridges: Sequence[FlowLine]) -> Sharpness:
    """Return the edges between vertices of one curve that run along a ridge, sharp for good.

    Vertices where three or more of them meet keep their place.
    """
    if not ridges:
        return NO_SHARPNESS
    a, b = mesh.quads.reshape(-1), np.roll(mesh.quads, -1, axis=1).reshape(-1)
    edges = np.unique(np.sort(np.stack([a, b], axis=1), axis=1), axis=0)
    held = (mesh.vertex_curve >= 0) | mesh.is_fixed
    edges = edges[held[edges].all(axis=1)]
    ends = mesh.positions[edges]
    length = norms(ends[:, 0] - ends[:, 1])
    probes = np.concatenate([ends[:, 0], ends[:, 1], ends.mean(axis=1)])
    gap = np.full(len(probes), np.inf)
    for ridge in ridges:
        gap = np.minimum(gap, _distance(probes, ridge))
    edges = edges[gap.reshape(3, -1).max(axis=0) < _NEAR * length]
    meeting = np.bincount(edges.reshape(-1), minlength=len(mesh.positions))
    return Sharpness(edges, np.full(len(edges), np.inf), np.flatnonzero(meeting >= 3))


def _distance(points: FloatArray, line: FlowLine) -> FloatArray:
    """Return each point's distance to the nearest segment of a line."""
    track = np.array(line.points)
    track = np.concatenate([track, track[:1]]) if line.closed else track
    start, along = track[:-1], np.diff(track, axis=0)
    square = np.maximum((along**2).sum(axis=1), 1e-300)
    out = np.full(len(points), np.inf)
    for first in range(0, len(points), 512):
        some = points[first : first + 512, None]
        t = np.clip(((some - start) * along).sum(axis=2) / square, 0.0, 1.0)
        out[first : first + 512] = norms(start + t[:, :, None] * along - some).min(axis=1)
    return out
