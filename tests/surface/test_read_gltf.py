"""glTF 2.0 after ISO/IEC 12113:2022: component types, strides, sparse values, transforms, strips, colours."""

from __future__ import annotations

import base64
import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from loopwright.errors import InputError
from loopwright.surface.read import read_sculpt

POINTS = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], "<f4")
FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
CODES = {"i1": 5120, "u1": 5121, "i2": 5122, "u2": 5123, "u4": 5125, "f4": 5126}
WIDTHS = {1: "SCALAR", 3: "VEC3", 4: "VEC4"}


class Builder:
    """Gathers arrays into one buffer and writes it in the ways that the standard allows."""

    def __init__(self) -> None:
        self.binary = b""
        self.document: dict[str, Any] = {
            "asset": {"version": "2.0"}, "accessors": [], "bufferViews": [], "meshes": [],
            "nodes": [{"mesh": 0}], "scenes": [{"nodes": [0]}],
        }  # fmt: skip

    def view(self, data: bytes, **extra: Any) -> int:
        self.binary += b"\0" * (-len(self.binary) % 4)
        view = {"buffer": 0, "byteOffset": len(self.binary), "byteLength": len(data), **extra}
        self.binary += data
        self.document["bufferViews"].append(view)
        return len(self.document["bufferViews"]) - 1

    def accessor(self, values: NDArray[Any], kind: str, *, stride: int = 0, **extra: Any) -> int:
        rows = values.reshape(len(values), -1).astype("<" + kind)
        data = rows.tobytes()
        if stride:
            data = b"".join(row.tobytes().ljust(stride, b"\xaa") for row in rows)
        view = self.view(data, **({"byteStride": stride} if stride else {}))
        entry = {"bufferView": view, "componentType": CODES[kind], "count": len(rows), "type": WIDTHS[rows.shape[1]]}
        self.document["accessors"].append(entry | extra)
        return len(self.document["accessors"]) - 1

    def mesh(self, **primitive: Any) -> None:
        self.document["meshes"].append({"primitives": [primitive]})

    def write(self, folder: Path, how: str) -> Path:
        buffer: dict[str, Any] = {"byteLength": len(self.binary)}
        self.document["buffers"] = [buffer]
        file = folder / f"scene.{'glb' if how == 'glb' else 'gltf'}"
        if how == "embedded":
            buffer["uri"] = "data:application/gltf-buffer;base64," + base64.b64encode(self.binary).decode()
        if how == "beside":
            buffer["uri"] = "my%20data.bin"
            (folder / "my data.bin").write_bytes(self.binary)
        text = json.dumps(self.document).encode()
        if how == "glb":
            text += b" " * (-len(text) % 4)
            binary = self.binary + b"\0" * (-len(self.binary) % 4)
            text = (struct.pack("<4sIII4s", b"glTF", 2, 28 + len(text) + len(binary), len(text), b"JSON") + text
                    + struct.pack("<I4s", len(binary), b"BIN\0") + binary)  # fmt: skip
        file.write_bytes(text)
        return file


def simple(**options: Any) -> Builder:
    builder = Builder()
    position = builder.accessor(POINTS, "f4", **options)
    builder.mesh(attributes={"POSITION": position}, indices=builder.accessor(FACES.ravel(), "u2"))
    return builder


@pytest.mark.parametrize("how", ["glb", "embedded", "beside"])
@pytest.mark.parametrize("stride", [0, 20])
def test_every_place_for_the_data(tmp_path: Path, how: str, stride: int) -> None:
    sculpt = read_sculpt(simple(stride=stride).write(tmp_path, how))
    np.testing.assert_array_equal(sculpt.positions, POINTS)
    np.testing.assert_array_equal(sculpt.triangles, FACES)


@pytest.mark.parametrize(("kind", "width"), [("u1", 3), ("u1", 4), ("u2", 3), ("u2", 4), ("f4", 3), ("f4", 4)])
def test_linear_colors_become_srgb(tmp_path: Path, kind: str, width: int) -> None:
    """The transfer curve of IEC 61966-2-1: linear 0.21404 is sRGB 0.5, linear 1 is 1 (from the formula)."""
    linear = ((0.5 + 0.055) / 1.055) ** 2.4
    top = {"u1": 255, "u2": 65535, "f4": 1}[kind]
    values = np.tile([1.0, linear, 0.0, 1.0], (4, 1))[:, :width] * top
    builder = Builder()
    attributes = {
        "POSITION": builder.accessor(POINTS, "f4"),
        "COLOR_0": builder.accessor(
            np.rint(values) if kind != "f4" else values, kind, normalized=kind != "f4", stride=4 if kind == "u1" else 0
        ),
    }
    builder.mesh(attributes=attributes, indices=builder.accessor(FACES.ravel(), "u1"))
    colors = read_sculpt(builder.write(tmp_path, "glb")).colors
    assert colors is not None
    assert np.abs(colors.astype(float) - [255, 127.5, 0]).max() <= 1.0


def test_transforms_agree_with_a_general_library(tmp_path: Path) -> None:
    """The outside check: trimesh places nested nodes with rotation, scale and matrix in the same way."""
    builder = simple()
    builder.document["nodes"] = [
        {"children": [1, 2], "rotation": [0.5, 0.5, 0.5, 0.5], "translation": [1, 2, 3], "scale": [1, 2, 3]},
        {"mesh": 0, "matrix": [0, 1, 0, 0, -1, 0, 0, 0, 0, 0, 1, 0, 5, 6, 7, 1]},
        {"mesh": 0, "scale": [2, 2, 2]},
    ]
    file = builder.write(tmp_path, "glb")
    reference = trimesh.load(str(file), process=False, force="mesh")
    sculpt = read_sculpt(file)
    ours, theirs = (np.array(sorted(np.round(p, 5).tolist())) for p in (sculpt.positions, reference.vertices))
    np.testing.assert_allclose(ours, theirs, atol=1e-4)


def test_a_mirrored_node_keeps_its_outside(tmp_path: Path) -> None:
    """Section 3.7.4: a negative determinant turns the winding."""
    builder = simple()
    builder.document["nodes"] = [{"mesh": 0, "scale": [-1, 1, 1]}]
    sculpt = read_sculpt(builder.write(tmp_path, "glb"))
    a, b, c = (sculpt.positions[sculpt.triangles[:, k]] for k in range(3))
    assert np.einsum("ij,ij->i", a, np.cross(b, c)).sum() > 0


@pytest.mark.parametrize(
    ("mode", "indices", "expected"),
    [
        (5, [0, 1, 2, 3], [[0, 1, 2], [2, 1, 3]]),
        (6, [0, 1, 2, 3], [[0, 1, 2], [0, 2, 3]]),
        (4, None, [[0, 1, 2]]),
    ],
)
def test_strips_fans_and_no_indices(
    tmp_path: Path, mode: int, indices: list[int] | None, expected: list[list[int]]
) -> None:
    builder = Builder()
    primitive: dict[str, Any] = {
        "attributes": {"POSITION": builder.accessor(POINTS[: 3 if indices is None else 4], "f4")}
    }
    if indices is not None:
        primitive["indices"] = builder.accessor(np.array(indices), "u4")
    builder.mesh(**primitive, mode=mode)
    triangles = read_sculpt(builder.write(tmp_path, "glb")).triangles.tolist()
    rotations = [{tuple(np.roll(t, k)) for k in range(3)} for t in expected]
    assert len(triangles) == len(expected)
    assert all(tuple(t) in allowed for t, allowed in zip(triangles, rotations, strict=True))


def test_sparse_values(tmp_path: Path) -> None:
    builder = simple()
    places, values = builder.view(np.array([3], "<u2").tobytes()), builder.view(np.array([[7, 8, 9]], "<f4").tobytes())
    builder.document["accessors"][0]["sparse"] = {
        "count": 1, "indices": {"bufferView": places, "componentType": 5123}, "values": {"bufferView": values},
    }  # fmt: skip
    sculpt = read_sculpt(builder.write(tmp_path, "glb"))
    assert sculpt.positions[3].tolist() == [7, 8, 9]
    np.testing.assert_array_equal(sculpt.positions[:3], POINTS[:3])


def _set(*path: Any) -> Any:
    *keys, value = path

    def change(document: dict[str, Any]) -> None:
        target: Any = document
        for key in keys[:-1]:
            target = target[key]
        if value is None:
            del target[keys[-1]]
        else:
            target[keys[-1]] = value

    return change


BREAKS = {
    "gigantic count": _set("accessors", 0, "count", 4_000_000_000),
    "fractional count": _set("accessors", 0, "count", 1.5),
    "negative count": _set("accessors", 0, "count", -1),
    "count of text": _set("accessors", 0, "count", "four"),
    "count of true": _set("accessors", 0, "count", True),
    "no such view": _set("accessors", 0, "bufferView", 77),
    "no such accessor": _set("meshes", 0, "primitives", 0, "indices", 9),
    "accessor of the wrong kind": _set("meshes", 0, "primitives", 0, "indices", 0),
    "unknown component": _set("accessors", 0, "componentType", 1),
    "unknown type": _set("accessors", 0, "type", "VEC9"),
    "view beyond the buffer": _set("bufferViews", 0, "byteOffset", 10**9),
    "stride below the item": _set("bufferViews", 0, "byteStride", 4),
    "wide stride": _set("bufferViews", 0, "byteStride", 2**40),
    "buffer too short": _set("buffers", 0, "byteLength", 10**9),
    "buffer missing": _set("buffers", 0, "uri", "nowhere.bin"),
    "buffer on a server": _set("buffers", 0, "uri", "https://example.org/a.bin"),
    "buffer is no base64": _set("buffers", 0, "uri", "data:application/octet-stream;base64,!!!"),
    "a loop of nodes": _set("nodes", 0, "children", [0]),
    "no such node": _set("scenes", 0, "nodes", [5]),
    "no such mesh": _set("nodes", 0, "mesh", 5),
    "no such scene": _set("scene", 3),
    "a matrix of text": _set("nodes", 0, "matrix", ["a"] * 16),
    "a matrix of NaN": _set("nodes", 0, "matrix", [float("nan")] * 16),
    "a rotation of zero": _set("nodes", 0, "rotation", [0, 0, 0, 0]),
    "gigantic scale": _set("nodes", 0, "scale", [1e200, 1e200, 1e200]),
    "meshes are no list": _set("meshes", 5),
    "no attributes": _set("meshes", 0, "primitives", 0, "attributes", None),
    "packed data": _set("meshes", 0, "primitives", 0, "extensions", {"KHR_draco_mesh_compression": {}}),
    "only points": _set("meshes", 0, "primitives", 0, "mode", 0),
    "no asset": _set("asset", None),
    "no meshes": _set("meshes", None),
}


@pytest.mark.parametrize("what", BREAKS)
def test_broken_documents_are_one_clear_error(tmp_path: Path, what: str) -> None:
    builder = simple()
    file = builder.write(tmp_path, "embedded")
    BREAKS[what](builder.document)
    file.write_text(json.dumps(builder.document))
    with pytest.raises(InputError) as caught:
        read_sculpt(file)
    message = str(caught.value)
    assert message.startswith(str(file)) and message.endswith(".") and ";" in message and "\n" not in message
