"""Read glTF 2.0 and GLB: all meshes of the scene in their places, with ``COLOR_0``.

References
----------
Khronos Group, "glTF 2.0 Specification" (ISO/IEC 12113:2022): accessors 3.6.2, meshes 3.7.2, transforms 3.5.3.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.progress import Progress
from loopwright.surface.gltf_document import GltfDocument
from loopwright.surface.json_value import JsonValue
from loopwright.surface.parts import MAX_TRIANGLES, Part, bytes_from_fractions, input_error, srgb_from_linear
from loopwright.types import ByteArray, FloatArray

TRIANGLES, STRIP, FAN = 4, 5, 6


def read_gltf(path: Path, progress: Progress) -> list[Part]:
    """Read every triangle primitive of the default scene as one part.

    ``COLOR_0`` is linear by the specification and is encoded as sRGB.
    Points, lines, skins and morph targets are passed over.

    Raises
    ------
    InputError
        If the document breaks the rules, or its data are packed by an extension.
    """
    document = GltfDocument(path)
    parts: list[Part] = []
    triangles = 0
    for node, matrix in _placed_nodes(document):
        if not node.has("mesh"):
            continue
        mesh = document.root.get("meshes").item(node.get("mesh").integer())
        for primitive in mesh.items("primitives"):
            part = _part(document, primitive, matrix)
            if part is not None:
                parts.append(part)
                triangles += len(part.triangles)
        if triangles > MAX_TRIANGLES:
            raise input_error(path.name, node.place, "the scene has too many triangles", "export one object")
        progress("read", 0.5)
    progress("read", 1.0)
    return parts


def _placed_nodes(document: GltfDocument) -> list[tuple[JsonValue, FloatArray]]:
    """Return the nodes of the scene with their (4, 4) world matrices."""
    root = document.root
    if not root.has("nodes"):
        return []
    nodes = root.get("nodes")
    if root.has("scenes") and root.get("scenes").length():
        scene = root.get("scenes").item(root.integer_or("scene", 0))
        waiting = [(index.integer(), np.eye(4)) for index in scene.items("nodes")]
    else:
        children = {child.integer() for k in range(nodes.length()) for child in nodes.item(k).items("children")}
        waiting = [(k, np.eye(4)) for k in range(nodes.length()) if k not in children]
    placed: list[tuple[JsonValue, FloatArray]] = []
    seen: set[int] = set()
    while waiting:
        index, above = waiting.pop(0)
        node = nodes.item(index)
        if index in seen:
            raise node.fail("the node hangs in the tree twice")
        seen.add(index)
        matrix = above @ _local_matrix(node)
        placed.append((node, matrix))
        waiting.extend((child.integer(), matrix) for child in node.items("children"))
    return placed


def _local_matrix(node: JsonValue) -> FloatArray:
    if node.has("matrix"):
        return np.ascontiguousarray(node.get("matrix").numbers(16).reshape(4, 4).T)
    matrix = np.eye(4)
    if node.has("rotation"):
        quaternion = node.get("rotation").numbers(4)
        length = float(np.linalg.norm(quaternion))
        if not length > 1e-12:
            raise node.fail("its rotation is no unit quaternion")
        matrix[:3, :3] = _rotation(quaternion / length)
    if node.has("scale"):
        matrix[:3, :3] *= node.get("scale").numbers(3)
    if node.has("translation"):
        matrix[:3, 3] = node.get("translation").numbers(3)
    return matrix


def _rotation(quaternion: FloatArray) -> FloatArray:
    x, y, z, w = quaternion
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def _part(document: GltfDocument, primitive: JsonValue, matrix: FloatArray) -> Part | None:
    mode = primitive.integer_or("mode", TRIANGLES)
    if mode not in (TRIANGLES, STRIP, FAN):
        return None
    if primitive.has("extensions") and primitive.get("extensions").has("KHR_draco_mesh_compression"):
        raise primitive.fail("its data are packed with KHR_draco_mesh_compression", "export without compression")
    attributes = primitive.get("attributes")
    if not attributes.has("POSITION"):
        return None
    local = _values(document, attributes, "POSITION", (3,)).astype(np.float64)
    with np.errstate(over="ignore", invalid="ignore"):
        positions = local @ matrix[:3, :3].T + matrix[:3, 3]
    if primitive.has("indices"):
        label = primitive.get("indices")
        values = document.accessor(label.integer(), label)
        if values.shape[1] != 1 or values.dtype.kind == "f":
            raise label.fail("the indices are no whole numbers")
        indices = values[:, 0].astype(np.int64)
    else:
        indices = np.arange(len(positions))
    triangles = _triangles(indices, mode, primitive)
    if np.linalg.slogdet(matrix[:3, :3])[0] < 0.0:
        triangles = triangles[:, ::-1]
    return Part(positions, np.ascontiguousarray(triangles), _colors(document, attributes, len(positions)),
                primitive.place)  # fmt: skip


def _triangles(indices: NDArray[Any], mode: int, primitive: JsonValue) -> NDArray[Any]:
    if mode == TRIANGLES:
        if len(indices) % 3:
            raise primitive.fail(f"{len(indices)} indices do not make whole triangles")
        return indices.reshape(-1, 3)
    if len(indices) < 3:
        return np.zeros((0, 3), np.int64)
    if mode == FAN:
        return np.stack([np.full(len(indices) - 2, indices[0]), indices[1:-1], indices[2:]], axis=1)
    strip = np.stack([indices[:-2], indices[1:-1], indices[2:]], axis=1)
    strip[1::2] = strip[1::2][:, [1, 0, 2]]
    return strip


def _colors(document: GltfDocument, attributes: JsonValue, count: int) -> ByteArray | None:
    if not attributes.has("COLOR_0"):
        return None
    values = _values(document, attributes, "COLOR_0", (3, 4))[:, :3]
    if len(values) != count:
        raise attributes.fail(f"there are {len(values)} colours for {count} vertices")
    if values.dtype.kind == "u":
        values = values / float(np.iinfo(values.dtype).max)
    return bytes_from_fractions(srgb_from_linear(values))


def _values(document: GltfDocument, attributes: JsonValue, key: str, widths: tuple[int, ...]) -> NDArray[Any]:
    label = attributes.get(key)
    values = document.accessor(label.integer(), label)
    if values.shape[1] not in widths:
        raise label.fail(f"'{key}' needs {widths[0]} numbers per vertex, it has {values.shape[1]}")
    return values
