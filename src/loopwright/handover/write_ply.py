"""An all-quad mesh as binary PLY."""

from __future__ import annotations

import json

import numpy as np

from loopwright.handover.normals import quad_vertex_normals
from loopwright.types import QuadMesh

VERTEX = np.dtype([("position", "<f8", 3), ("normal", "<f4", 3)])
FACE = np.dtype([("count", "u1"), ("corners", "<i4", 4), ("region", "<i4")])


def ply_bytes(mesh: QuadMesh) -> bytes:
    """Return the mesh as little-endian PLY with normals, and a region per face.

    ``region`` counts from 0; a comment in the header names each region and its colour.
    """
    vertices = np.zeros(len(mesh.positions), VERTEX)
    vertices["position"] = mesh.positions + 0.0
    vertices["normal"] = quad_vertex_normals(mesh.positions, mesh.quads)
    faces = np.zeros(len(mesh.quads), FACE)
    faces["count"] = 4
    faces["corners"] = mesh.quads
    faces["region"] = mesh.quad_region
    return _header(mesh).encode("ascii") + vertices.tobytes() + faces.tobytes()


def _header(mesh: QuadMesh) -> str:
    lines = ["ply", "format binary_little_endian 1.0"]
    for index, region in enumerate(mesh.regions):
        lines.append(f"comment region {index} {json.dumps(region.name)} #{bytes(region.color).hex()}")
    lines.append(f"element vertex {len(mesh.positions)}")
    lines += [f"property double {axis}" for axis in "xyz"]
    lines += [f"property float n{axis}" for axis in "xyz"]
    lines.append(f"element face {len(mesh.quads)}")
    lines += ["property list uchar int vertex_indices", "property int region"]
    return "\n".join([*lines, "end_header", ""])
