"""Good files of every format give the mesh that the format's own rules say."""

from __future__ import annotations

import itertools
import json
import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from loopwright.surface.read import read_sculpt
from loopwright.types import Sculpt

POINTS = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0.5, 0.5, 1.25]])
COLORS = np.array([[255, 0, 0], [0, 255, 0], [0, 0, 255], [20, 20, 20], [200, 100, 50]], np.uint8)
POLYGONS = [[3, 2, 1, 0], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]
TRIANGLES = [[3, 2, 1], [3, 1, 0], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]
NUMPY_TYPES = {"char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4", "float": "f4",
               "double": "f8"}  # fmt: skip


def check_pyramid(sculpt: Sculpt, colors: NDArray[np.uint8] | None = COLORS, tolerance: int = 0) -> None:
    np.testing.assert_array_equal(sculpt.positions, POINTS)
    np.testing.assert_array_equal(sculpt.triangles, TRIANGLES)
    assert sculpt.positions.dtype == np.float64 and sculpt.triangles.dtype == np.int32
    assert sculpt.positions.flags.c_contiguous and sculpt.triangles.flags.c_contiguous
    if colors is None:
        assert sculpt.colors is None
    else:
        assert sculpt.colors is not None and sculpt.colors.dtype == np.uint8
        assert np.abs(sculpt.colors.astype(int) - colors).max() <= tolerance


def ply(
    order: str, coordinate: str = "float", count: str = "uchar", index: str = "int", color: str = "uchar",
    *, shuffled: bool = False, extras: bool = False, line_end: str = "\n",
) -> bytes:  # fmt: skip
    """Write the pyramid as PLY after Greg Turk's description of the format (1994, public; from memory)."""
    scale = {"uchar": 1.0, "ushort": 257.0, "float": 1 / 255, "double": 1 / 255}[color]
    columns = {"x": (coordinate, POINTS[:, 0]), "y": (coordinate, POINTS[:, 1]), "z": (coordinate, POINTS[:, 2])}
    columns |= {name: (color, COLORS[:, k] * scale) for k, name in enumerate(("red", "green", "blue"))}
    names = ["blue", "z", "red", "y", "quality", "x", "green"] if shuffled else list(columns)
    columns["quality"] = ("double", np.arange(5) * 0.5)
    header = ["ply", f"format {order} 1.0", "comment made for a test"]
    rows: list[list[tuple[str, float]]] = []
    if extras:
        header += ["element camera 2", "property list uchar short path", "property float zoom"]
        rows += [[("uchar", n), *[("short", k) for k in range(n)], ("float", 1.5)] for n in (3, 1)]
    header += ["element vertex 5"] + [f"property {columns[name][0]} {name}" for name in names]
    rows += [[(columns[name][0], columns[name][1][k]) for name in names] for k in range(5)]
    header += ["element face 5"]
    header += ["property uchar flag", "property list uchar float texcoord"] if extras else []
    header += [f"property list {count} {index} vertex_indices"]
    for number, polygon in enumerate(POLYGONS):
        texture = [("uchar", number), *[("float", 0.5)] * number] if extras else []
        flag = [("uchar", 7.0)] if extras else []
        rows.append([*flag, *texture, (count, len(polygon)), *[(index, k) for k in polygon]])
    header += ["element edge 1", "property int vertex1", "end_header"]
    rows.append([("int", 3)])
    head = (line_end.join(header) + line_end).encode()
    if order == "ascii":
        lines = [" ".join(repr(np.dtype(NUMPY_TYPES[t]).type(v).item()) for t, v in row) for row in rows]
        return head + (line_end.join(lines) + line_end).encode()
    sign = "<" if "little" in order else ">"
    return head + b"".join(np.array(v).astype(sign + NUMPY_TYPES[t]).tobytes() for row in rows for t, v in row)


ORDERS = ("ascii", "binary_little_endian", "binary_big_endian")
TYPES = [
    ("float", "uchar", "int", "uchar"), ("double", "uint", "uint", "float"), ("float", "int", "short", "double"),
    ("double", "ushort", "ushort", "ushort"), ("float", "char", "uchar", "uchar"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("order", "types", "shuffled", "extras"), list(itertools.product(ORDERS, TYPES, (False, True), (False, True)))
)
def test_ply_of_every_kind(
    tmp_path: Path, order: str, types: tuple[str, str, str, str], shuffled: bool, extras: bool
) -> None:
    file = tmp_path / "pyramid.ply"
    file.write_bytes(ply(order, *types, shuffled=shuffled, extras=extras))
    check_pyramid(read_sculpt(file))


@pytest.mark.parametrize("order", ["<", ">"])
def test_many_polygons_of_all_sizes_with_two_lists(tmp_path: Path, order: str) -> None:
    """Rows of differing size over many windows of the walk, against a plain loop."""
    random = np.random.default_rng(5)
    sizes, extras = random.integers(3, 8, 20_000), random.integers(0, 4, 20_000)
    polygons = [random.integers(0, 5, size) for size in sizes]
    rows = [
        struct.pack(f"{order}B{extra}dH{size}if", extra, *[0.5] * extra, size, *polygon, 1.0)
        for extra, size, polygon in zip(extras.tolist(), sizes.tolist(), polygons, strict=True)
    ]
    head = ["ply", f"format binary_{'little' if order == '<' else 'big'}_endian 1.0", "element vertex 5"]
    head += [f"property double {axis}" for axis in "xyz"] + ["element face 20000", "property list uchar double weights"]
    head += ["property list ushort int vertex_indices", "property float quality", "end_header", ""]
    file = tmp_path / "many.ply"
    file.write_bytes("\n".join(head).encode() + POINTS.astype(order + "f8").tobytes() + b"".join(rows))
    expected = [[p[0], p[k], p[k + 1]] for p in polygons for k in range(1, len(p) - 1)]
    np.testing.assert_array_equal(read_sculpt(file).triangles, expected)


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("order", ORDERS)
def test_ply_line_ends(tmp_path: Path, order: str, line_end: str) -> None:
    file = tmp_path / "pyramid.ply"
    file.write_bytes(ply(order, line_end=line_end))
    check_pyramid(read_sculpt(file))


def obj_text(style: str) -> str:
    vertices = [f"v {x} {y} {z}" for x, y, z in POINTS]
    if style != "plain":
        vertices = [f"{v} {r} {g} {b}" for v, (r, g, b) in zip(vertices, COLORS / 255.0, strict=True)]
    if style == "bytes":
        vertices = [f"v {x} {y} {z} {r} {g} {b}" for (x, y, z), (r, g, b) in zip(POINTS, COLORS, strict=True)]
    if style == "weights":
        vertices = [f"v {x} {y} {z} 1.0" for x, y, z in POINTS]
    pattern = {"slashes": "{0}/1/1", "normals": "{0}//1", "negative": "{1}"}.get(style, "{0}")
    faces = ["f " + " ".join(pattern.format(k + 1, k - 5) for k in polygon) for polygon in POLYGONS]
    return "\n".join(["# a pyramid", "o one", "vt 0 0", "vn 0 0 1", *vertices, "g side", "usemtl a", *faces]) + "\n"


@pytest.mark.parametrize("style", ["plain", "colors", "bytes", "slashes", "normals", "negative", "weights"])
def test_obj_of_every_kind(tmp_path: Path, style: str) -> None:
    """Rules: the OBJ appendix of the 1990s ("Object Files (.obj)"); six numbers a ``v`` line: common practice."""
    file = tmp_path / "pyramid.obj"
    file.write_text(obj_text(style))
    check_pyramid(read_sculpt(file), None if style in ("plain", "weights") else COLORS)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: text.replace("\n", "   # said\n"),
        lambda text: text.replace(" 2 1\n", " \\\n 2 1\n"),
        lambda text: text.replace(" ", "\t  "),
        lambda text: "\ufeff" + text,
        lambda text: text.rstrip("\n"),
        lambda text: text.replace("\nf ", "\n\n  f "),
    ],
)
def test_obj_spelled_otherwise(tmp_path: Path, change: object) -> None:
    assert callable(change)
    file = tmp_path / "pyramid.obj"
    file.write_bytes(change(obj_text("colors")).encode())
    check_pyramid(read_sculpt(file))


def test_obj_objects_in_one_file_and_relative_indices_in_blocks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("loopwright.surface.text_lines.BLOCK_BYTES", 64)
    file = tmp_path / "two.obj"
    file.write_text(obj_text("negative") + obj_text("negative"))
    sculpt = read_sculpt(file)
    np.testing.assert_array_equal(sculpt.positions, np.vstack([POINTS, POINTS]))
    np.testing.assert_array_equal(sculpt.triangles, np.vstack([TRIANGLES, np.add(TRIANGLES, 5)]))


def test_obj_vertices_with_and_without_colors(tmp_path: Path) -> None:
    file = tmp_path / "some.obj"
    file.write_text("v 0 0 0 1 0 0\nv 1 0 0\nv 0 1 0 0 0.5 0\nf 1 2 3\n")
    colors = read_sculpt(file).colors
    assert colors is not None and colors.tolist() == [[255, 0, 0], [255, 255, 255], [0, 128, 0]]


@pytest.mark.parametrize("kind", ["stl", "stl_ascii"])
def test_stl_welds_to_what_was_written(tmp_path: Path, kind: str) -> None:
    """The outside check: a general library writes; the corners weld back to its vertices."""
    source = trimesh.creation.icosphere(subdivisions=3)
    file = tmp_path / "ball.stl"
    source.export(str(file), file_type=kind)
    sculpt = read_sculpt(file)
    assert sculpt.positions.shape == source.vertices.shape and sculpt.triangles.shape == source.faces.shape
    corners = sculpt.positions[sculpt.triangles]
    np.testing.assert_allclose(corners, source.vertices[source.faces], atol=1e-6)


def test_binary_stl_that_starts_like_text(tmp_path: Path) -> None:
    facet = struct.pack("<12fH", 0, 0, 1, *POINTS[:3].ravel(), 0)
    file = tmp_path / "solid.stl"
    file.write_bytes(b"solid facet".ljust(80) + struct.pack("<I", 1) + facet)
    assert read_sculpt(file).triangles.tolist() == [[0, 1, 2]]


@pytest.mark.parametrize("suffix", [".ply", ".obj", ".stl", ".glb", ".gltf", ".usda", ".txt", ""])
@pytest.mark.parametrize("content", ["ply", "obj", "stl", "gltf"])
def test_content_decides_on_the_format(tmp_path: Path, suffix: str, content: str) -> None:
    facets = b"".join(struct.pack("<12fH", 0, 0, 1, *POINTS[t].ravel(), 0) for t in TRIANGLES)
    data = {
        "ply": ply("binary_big_endian"),
        "obj": obj_text("colors").encode(),
        "stl": bytes(80) + struct.pack("<I", len(TRIANGLES)) + facets,
        "gltf": json.dumps(gltf_document()).encode(),
    }[content]
    file = tmp_path / f"pyramid{suffix}"
    file.write_bytes(data)
    sculpt = read_sculpt(file)
    assert sculpt.name == file.name
    np.testing.assert_allclose(sculpt.positions[sculpt.triangles], POINTS[TRIANGLES])


def gltf_document() -> dict[str, object]:
    """A hand-written glTF 2.0 document with its data embedded."""
    import base64

    binary = POINTS.astype("<f4").tobytes() + np.array(TRIANGLES, "<u2").tobytes()
    uri = "data:application/octet-stream;base64," + base64.b64encode(binary).decode()
    return {
        "asset": {"version": "2.0"},
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "buffers": [{"byteLength": len(binary), "uri": uri}],
        "bufferViews": [{"buffer": 0, "byteLength": 60}, {"buffer": 0, "byteOffset": 60, "byteLength": 36}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 5, "type": "VEC3"},
            {"bufferView": 1, "componentType": 5123, "count": 18, "type": "SCALAR"},
        ],
    }


@pytest.mark.parametrize("suffix", [".ply", ".obj", ".glb"])
def test_agrees_with_a_general_library(tmp_path: Path, suffix: str) -> None:
    """The outside check: trimesh writes and reads; both see the same corners in the same order."""
    source = trimesh.creation.torus(2.0, 0.5, major_sections=24, minor_sections=12)
    file = tmp_path / f"ring{suffix}"
    source.export(str(file))
    reference = trimesh.load(str(file), process=False, force="mesh")
    sculpt = read_sculpt(file)
    np.testing.assert_allclose(
        sculpt.positions[sculpt.triangles], reference.vertices[reference.faces], rtol=0, atol=1e-6
    )


def test_agrees_with_a_native_library(tmp_path: Path) -> None:
    """The outside check: lagrange reads the same PLY and OBJ."""
    lagrange = pytest.importorskip("lagrange")
    source = trimesh.creation.icosphere(subdivisions=2)
    for suffix in (".ply", ".obj"):
        file = tmp_path / f"ball{suffix}"
        source.export(str(file))
        mesh = lagrange.io.load_mesh(str(file))
        sculpt = read_sculpt(file)
        np.testing.assert_allclose(sculpt.positions, mesh.vertices, atol=1e-6)
        np.testing.assert_array_equal(sculpt.triangles, mesh.facets)


def test_the_example_head() -> None:
    file = Path(__file__).resolve().parents[3] / "shared" / "data" / "head_a.ply"
    if not file.is_file():
        pytest.skip("the example head is not beside the repository")
    sculpt = read_sculpt(file)
    assert sculpt.triangles.shape == (900_000, 3) and sculpt.colors is not None
    assert len(np.unique(sculpt.triangles)) == len(sculpt.positions)
