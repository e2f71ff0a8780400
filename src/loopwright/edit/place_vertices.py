"""Put vertices that an edit made or moved on the sculpt, on their curve or in the plane."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.fit.link_edges import unique_edges
from loopwright.fit.reflect import put_in_plane
from loopwright.fit.slide_curves import lay_curves
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, QuadMesh

_LEAST_LENGTH = 0.1  # of the length an edge had before its ends were placed


def place_vertices(mesh: QuadMesh, chosen: BoolArray, projector: SurfaceProjector | None) -> QuadMesh:
    """Return the mesh with the chosen vertices on the sculpt.

    A vertex with a curve goes to the nearest point of it, any other to the
    nearest point of the sculpt that faces the same way; mirror vertices are
    then put in the plane. Where two neighbours would meet in one point they
    stay where they were. Without a projector nothing moves but into the plane.
    """
    positions = mesh.positions
    if projector is not None and chosen.any():
        positions = positions.copy()
        on_curve = chosen & (mesh.vertex_curve >= 0) & ~mesh.is_fixed
        free = np.flatnonzero(chosen & ~on_curve & ~mesh.is_fixed)
        positions[free] = projector.project(positions[free], vertex_normals(mesh)[free]).points
        curves = lay_curves(mesh.curves)
        for curve in np.unique(mesh.vertex_curve[on_curve]).tolist():
            ids = np.flatnonzero(on_curve & (mesh.vertex_curve == curve))
            along, _ = curves.locate(curve, positions[ids])
            positions[ids] = curves.position(np.full(len(ids), curve), along)
        crowded = _crowded(mesh, positions) & chosen
        positions[crowded] = mesh.positions[crowded]
    if mesh.mirror is not None:
        positions = put_in_plane(positions, mesh.on_mirror, mesh.mirror)
    return replace(mesh, positions=positions)


def _crowded(mesh: QuadMesh, positions: FloatArray) -> BoolArray:
    """Return (n,) bool: ends of edges that the move has all but taken the length of."""
    edges = unique_edges(mesh.quads)
    before, after = (
        np.linalg.norm(points[edges[:, 1]] - points[edges[:, 0]], axis=1) for points in (mesh.positions, positions)
    )
    out = np.zeros(len(positions), bool)
    out[edges[after < _LEAST_LENGTH * before].ravel()] = True
    return out


def vertex_normals(mesh: QuadMesh) -> FloatArray:
    """Return (n, 3) unit normals, the sum of the normals of the quads round each vertex; zero where there are none."""
    corners = mesh.positions[mesh.quads]
    normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    total = np.zeros_like(mesh.positions)
    for k in range(4):
        np.add.at(total, mesh.quads[:, k], normal)
    size = np.linalg.norm(total, axis=1, keepdims=True)
    unit: FloatArray = total / np.where(size > 0.0, size, 1.0)
    return unit
