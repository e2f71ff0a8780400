"""An all-quad mesh as GLB.

References
----------
Khronos Group, "glTF 2.0 Specification" (ISO/IEC 12113:2022): the container 4.4, accessors 3.6.2, ``COLOR_0`` 3.7.2.1.
"""

from __future__ import annotations

import json
import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.handover.normals import quad_vertex_normals
from loopwright.surface.parts import linear_from_srgb
from loopwright.types import FloatArray, IntArray, QuadMesh

FLOAT, UNSIGNED_INT = 5126, 5125
ARRAY_BUFFER, ELEMENT_ARRAY_BUFFER = 34962, 34963
_TIE = 1e-9


def glb_bytes(mesh: QuadMesh) -> bytes:
    """Return the mesh as GLB: one primitive of triangles with normals and colours.

    Triangles ``2 i`` and ``2 i + 1`` are quad ``i``, cut along its shorter diagonal.
    Vertices on borders between regions are there once a region, so that colours do not bleed; all
    copies share one normal.  ``COLOR_0`` is linear, as the specification asks.  ``_REGION`` holds each
    vertex's region, and the mesh's ``extras`` name the regions.
    """
    triangles = np.repeat(mesh.quad_region, 2)[:, None] * np.int64(len(mesh.positions)) + triangulate_quads(
        mesh.positions, mesh.quads
    )
    keys, indices = np.unique(triangles.ravel(), return_inverse=True)
    region, vertex = np.divmod(keys, max(len(mesh.positions), 1))
    normals = quad_vertex_normals(mesh.positions, mesh.quads)[vertex]
    colors = np.array([entry.color for entry in mesh.regions], np.float64).reshape(-1, 3) / 255.0
    arrays: list[tuple[str, NDArray[Any]]] = [
        ("POSITION", (mesh.positions[vertex] + 0.0).astype("<f4")),
        ("NORMAL", normals.astype("<f4")),
        ("COLOR_0", linear_from_srgb(colors)[region].astype("<f4")),
        ("_REGION", region.astype("<f4")),
        ("", indices.astype("<u4").ravel()),
    ]
    binary = b"".join(values.tobytes() for _, values in arrays)
    return _container(_document(mesh, arrays, len(binary)), binary)


def triangulate_quads(positions: FloatArray, quads: IntArray) -> IntArray:
    """Cut every quad along its shorter diagonal, along corners 0 and 2 where they are equally long.

    Returns
    -------
    (2 m, 3) int32, two triangles a quad, in the quads' order and orientation.
    """
    a, b, c, d = (positions[quads[:, k]] for k in range(4))
    first, second = np.linalg.norm(c - a, axis=1), np.linalg.norm(d - b, axis=1)
    along_first = first <= second * (1.0 + _TIE)
    split = np.where(along_first[:, None], quads[:, [0, 1, 2, 0, 2, 3]], quads[:, [0, 1, 3, 1, 2, 3]])
    return np.ascontiguousarray(split.reshape(-1, 3))


def _document(mesh: QuadMesh, arrays: list[tuple[str, NDArray[Any]]], length: int) -> dict[str, Any]:
    views: list[dict[str, Any]] = []
    accessors: list[dict[str, Any]] = []
    offset = 0
    for name, values in arrays:
        target = ARRAY_BUFFER if name else ELEMENT_ARRAY_BUFFER
        views.append({"buffer": 0, "byteOffset": offset, "byteLength": values.nbytes, "target": target})
        accessor: dict[str, Any] = {
            "bufferView": len(accessors),
            "componentType": FLOAT if name else UNSIGNED_INT,
            "count": len(values),
            "type": "VEC3" if values.ndim == 2 else "SCALAR",
        }
        if name == "POSITION" and len(values):
            accessor["min"], accessor["max"] = values.min(axis=0).tolist(), values.max(axis=0).tolist()
        accessors.append(accessor)
        offset += values.nbytes
    attributes = {name: index for index, (name, _) in enumerate(arrays) if name}
    regions = [{"name": region.name, "color": f"#{bytes(region.color).hex()}"} for region in mesh.regions]
    primitive = {"attributes": attributes, "indices": len(arrays) - 1, "mode": 4, "material": 0}
    return {
        "asset": {"version": "2.0", "generator": "Loopwright"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "name": "mesh"}],
        "meshes": [{"name": "mesh", "primitives": [primitive], "extras": {"regions": regions}}],
        "materials": [{"name": "regions", "pbrMetallicRoughness": {"metallicFactor": 0.0, "roughnessFactor": 0.9}}],
        "buffers": [{"byteLength": length}],
        "bufferViews": views,
        "accessors": accessors,
    }


def _container(document: dict[str, Any], binary: bytes) -> bytes:
    text = json.dumps(document, separators=(",", ":"), allow_nan=False).encode("ascii")
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    total = 12 + 8 + len(text) + 8 + len(binary)
    head = struct.pack("<4sII", b"glTF", 2, total)
    return head + struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(binary), b"BIN\0") + binary
