"""Written meshes come back as they were, through our own reader and through others."""

from __future__ import annotations

import json
import os
import re
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from loopwright.errors import InputError, InternalError
from loopwright.handover.normals import quad_vertex_normals
from loopwright.handover.write_glb import triangulate_quads
from loopwright.handover.write_mesh import check_mesh_path, write_mesh
from loopwright.surface.read import read_sculpt
from loopwright.types import QuadMesh, Region
from loopwright.write_file import write_file

REGIONS = (Region("upper lid", (214, 96, 77)), Region("cheek", (235, 225, 150)), Region("Wange ä", (20, 20, 20)))


def cube_sphere(cells: int = 4) -> QuadMesh:
    """A closed all-quad ball, exactly mirrored in x = 0, with a region per pair of sides."""
    box = trimesh.creation.box()
    quads: list[list[int]] = []
    points: dict[tuple[int, ...], int] = {}
    for axis in range(3):
        for side in (0, cells):
            for i in range(cells):
                for j in range(cells):
                    corners = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)]
                    ring = []
                    for u, v in corners if side else corners[::-1]:
                        key = [0, 0, 0]
                        key[axis], key[(axis + 1) % 3], key[(axis + 2) % 3] = side, u, v
                        ring.append(points.setdefault(tuple(key), len(points)))
                    quads.append(ring)
    grid = np.array(list(points)) * 2.0 / cells - 1.0
    positions = grid / np.linalg.norm(grid, axis=1, keepdims=True) * (np.pi / 3)
    assert box.is_watertight
    count = len(quads)
    region = np.repeat(np.arange(3), count // 3).astype(np.int32)
    return QuadMesh(
        positions, np.array(quads, np.int32), region, REGIONS, np.full(len(positions), -1, np.int32), (),
        np.zeros(len(positions), np.bool_), np.zeros(len(positions), np.bool_),
    )  # fmt: skip


MESH = cube_sphere()


def parse_obj(text: str) -> tuple[list[list[float]], list[list[int]], list[str]]:
    vertices, faces, groups, group = [], [], [], ""
    for line in text.splitlines():
        word, *rest = line.split()
        if word == "v":
            vertices.append([float(value) for value in rest])
        elif word == "g":
            (group,) = rest
        else:
            assert word == "f"
            faces.append([int(value) - 1 for value in rest])
            groups.append(group)
    return vertices, faces, groups


def test_obj_keeps_every_bit_the_quads_their_order_and_the_regions(tmp_path: Path) -> None:
    shuffled = np.random.default_rng(1).permutation(len(MESH.quads))
    mesh = QuadMesh(**{**vars(MESH), "quads": MESH.quads[shuffled], "quad_region": MESH.quad_region[shuffled]})
    write_mesh(tmp_path / "ball.obj", mesh)
    vertices, faces, groups = parse_obj((tmp_path / "ball.obj").read_text("utf-8"))
    assert np.array(vertices).tobytes() == (mesh.positions + 0.0).tobytes()
    assert faces == mesh.quads.tolist()
    names = ["upper_lid", "cheek", "Wange_ä"]
    assert groups == [names[k] for k in mesh.quad_region]


def test_obj_mirror_images_are_written_alike(tmp_path: Path) -> None:
    write_mesh(tmp_path / "ball.obj", MESH)
    lines = [line.split()[1:] for line in (tmp_path / "ball.obj").read_text("utf-8").splitlines() if line[0] == "v"]
    words = {tuple(line) for line in lines}
    mirrored = {(x[1:] if x[0] == "-" else x if float(x) == 0.0 else f"-{x}", y, z) for x, y, z in words}
    assert words == mirrored
    assert not any(word == "-0.0" for line in lines for word in line)


@pytest.mark.parametrize("suffix", [".obj", ".ply", ".glb"])
def test_our_reader_reads_them(tmp_path: Path, suffix: str) -> None:
    file = tmp_path / f"ball{suffix}"
    write_mesh(file, MESH)
    sculpt = read_sculpt(file)
    corners = sculpt.positions[sculpt.triangles]
    if suffix == ".glb":
        expected = MESH.positions[triangulate_quads(MESH.positions, MESH.quads)]
        np.testing.assert_allclose(corners, expected, atol=1e-7)
        assert sculpt.colors is not None
        colors = np.array([region.color for region in REGIONS])[np.repeat(MESH.quad_region, 2)]
        np.testing.assert_array_equal(sculpt.colors[sculpt.triangles], np.repeat(colors[:, None], 3, axis=1))
    else:
        np.testing.assert_array_equal(corners, MESH.positions[MESH.quads[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3)])


@pytest.mark.parametrize("suffix", [".obj", ".ply", ".glb"])
def test_a_general_library_reads_them(tmp_path: Path, suffix: str) -> None:
    """The outside check: trimesh sees a closed, outward ball of the right size."""
    file = tmp_path / f"ball{suffix}"
    write_mesh(file, MESH)
    mesh = trimesh.load(str(file), process=False, force="mesh")
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    assert len(mesh.faces) == 2 * len(MESH.quads)
    assert mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0
    np.testing.assert_allclose(np.linalg.norm(mesh.vertices, axis=1), np.pi / 3, rtol=1e-6)


@pytest.mark.parametrize("suffix", [".obj", ".ply"])
def test_a_native_library_sees_quads(tmp_path: Path, suffix: str) -> None:
    """The outside check: lagrange keeps polygons and finds four corners everywhere."""
    lagrange = pytest.importorskip("lagrange")
    file = tmp_path / f"ball{suffix}"
    write_mesh(file, MESH)
    mesh = lagrange.io.load_mesh(str(file), triangulate=False)
    assert mesh.is_quad_mesh
    np.testing.assert_array_equal(mesh.facets, MESH.quads)
    np.testing.assert_allclose(mesh.vertices, MESH.positions, atol=1e-7)


def test_ply_holds_regions_and_normals(tmp_path: Path) -> None:
    write_mesh(tmp_path / "ball.ply", MESH)
    data = (tmp_path / "ball.ply").read_bytes()
    head, body = data.split(b"end_header\n", 1)
    names = re.findall(r'comment region (\d+) (".*") #([0-9a-f]{6})', head.decode("ascii"))
    assert [(int(k), json.loads(name), tuple(bytes.fromhex(c))) for k, name, c in names] == [
        (k, region.name, region.color) for k, region in enumerate(REGIONS)
    ]
    vertex = np.dtype([("p", "<f8", 3), ("n", "<f4", 3)])
    vertices = np.frombuffer(body, vertex, len(MESH.positions))
    assert (vertices["n"] * MESH.positions).sum(axis=1).min() > 0.98 * np.pi / 3
    faces = np.frombuffer(body[vertices.nbytes :], "u1,4<i4,<i4")
    np.testing.assert_array_equal(faces["f1"], MESH.quads)
    np.testing.assert_array_equal(faces["f2"], MESH.quad_region)
    assert (faces["f0"] == 4).all()


def read_glb(file: Path) -> tuple[dict[str, Any], bytes]:
    data = file.read_bytes()
    magic, version, length, size = struct.unpack_from("<4sIII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data)) and size % 4 == 0
    chunk, kind = struct.unpack_from("<I4s", data, 20 + size)
    assert kind == b"BIN\0" and chunk % 4 == 0 and 28 + size + chunk == length
    document: dict[str, Any] = json.loads(data[20 : 20 + size])
    return document, data[28 + size :]


def test_glb_keeps_the_rules_of_the_standard(tmp_path: Path) -> None:
    """ISO/IEC 12113:2022, 3.6.2.4 (alignment), 3.7.2.1 (POSITION has min and max, unit normals), 3.6.2.5 (bounds)."""
    write_mesh(tmp_path / "ball.glb", MESH)
    document, binary = read_glb(tmp_path / "ball.glb")
    primitive = document["meshes"][0]["primitives"][0]
    arrays = {}
    for name, index in {**primitive["attributes"], "indices": primitive["indices"]}.items():
        accessor = document["accessors"][index]
        view = document["bufferViews"][accessor["bufferView"]]
        kind = {5126: "<f4", 5125: "<u4"}[accessor["componentType"]]
        assert view["byteOffset"] % 4 == 0
        values = np.frombuffer(binary[view["byteOffset"] :][: view["byteLength"]], kind)
        arrays[name] = values.reshape(accessor["count"], -1)
        if name == "POSITION":
            np.testing.assert_array_equal(np.float32(accessor["min"]), arrays[name].min(axis=0))
            np.testing.assert_array_equal(np.float32(accessor["max"]), arrays[name].max(axis=0))
    np.testing.assert_allclose(np.linalg.norm(arrays["NORMAL"], axis=1), 1.0, atol=1e-6)
    assert arrays["indices"].max() == len(arrays["POSITION"]) - 1
    assert 0 <= arrays["COLOR_0"].min() and arrays["COLOR_0"].max() <= 1
    triangles = arrays["indices"].reshape(-1, 2, 3)
    np.testing.assert_array_equal(arrays["_REGION"][triangles[:, 0, 0], 0], MESH.quad_region)
    names = [region["name"] for region in document["meshes"][0]["extras"]["regions"]]
    assert names == [region.name for region in REGIONS]
    for quad, pair in zip(MESH.quads, triangles, strict=True):
        corners = {tuple(p) for p in arrays["POSITION"][pair.ravel()].tolist()}
        assert corners == {tuple(p) for p in MESH.positions[quad].astype(np.float32).tolist()}


def test_pygltflib_reads_the_document(tmp_path: Path) -> None:
    pygltflib = pytest.importorskip("pygltflib")
    write_mesh(tmp_path / "ball.glb", MESH)
    document = pygltflib.GLTF2().load(str(tmp_path / "ball.glb"))
    assert document.accessors[document.meshes[0].primitives[0].indices].count == 6 * len(MESH.quads)


def test_quads_are_cut_along_the_shorter_diagonal() -> None:
    positions = np.array(
        [[0.0, 0, 0], [1, 0.4, 0], [2, 0, 0], [1, -0.4, 0], [0, 1, 0], [1, 1, 0], [1, 2, 0], [0, 2, 0]]
    )
    quads = np.array([[0, 3, 2, 1], [4, 5, 6, 7]], np.int32)
    triangles = triangulate_quads(positions, quads)
    assert triangles.tolist() == [[0, 3, 1], [3, 2, 1], [4, 5, 6], [4, 6, 7]]


def test_normals_of_a_plane_and_of_nothing() -> None:
    positions = np.array([[0.0, 0, 0], [0, 1, 0], [0, 1, 1], [0, 0, 1], [5, 5, 5]])
    normals = quad_vertex_normals(positions, np.array([[0, 1, 2, 3]], np.int32))
    np.testing.assert_array_equal(normals, [[1, 0, 0]] * 4 + [[0, 0, 1]])


@pytest.mark.parametrize("suffix", [".obj", ".ply", ".glb"])
def test_the_same_mesh_gives_the_same_bytes(tmp_path: Path, suffix: str) -> None:
    for name in ("a", "b"):
        write_mesh(tmp_path / f"{name}{suffix}", MESH)
    assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"a{suffix}", f"b{suffix}"]


def test_names_that_would_be_one_stay_apart(tmp_path: Path) -> None:
    regions = (Region("ear left", (1, 2, 3)), Region("ear_left", (3, 4, 5)), Region("#", (0, 0, 0)))
    write_mesh(tmp_path / "a.obj", QuadMesh(**{**vars(MESH), "regions": regions}))
    groups = parse_obj((tmp_path / "a.obj").read_text("utf-8"))[2]
    assert list(dict.fromkeys(groups)) == ["ear_left", "ear_left_2", "_"]


@pytest.mark.parametrize(
    ("name", "said"),
    [("ball.xyz", ".obj, .ply, .glb"), ("ball", "without ending"), ("file/ball.obj", "a file"),
     ("folder.obj", "folder")],
)  # fmt: skip
def test_bad_places_are_one_clear_error(tmp_path: Path, name: str, said: str) -> None:
    (tmp_path / "folder.obj").mkdir()
    (tmp_path / "file").touch()
    for refuse in (lambda path: write_mesh(path, MESH), check_mesh_path):
        with pytest.raises(InputError) as caught:
            refuse(tmp_path / name)
        assert said in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may write everywhere")
def test_a_locked_folder_is_one_clear_error(tmp_path: Path) -> None:
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o500)
    with pytest.raises(InputError, match="locked"):
        write_mesh(folder / "ball.obj", MESH)


def test_an_old_file_survives_a_failure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "ball.obj"
    file.write_bytes(b"old")
    with pytest.raises(ZeroDivisionError), write_file(file) as stream:
        stream.write(b"half")
        raise ZeroDivisionError
    assert file.read_bytes() == b"old" and list(tmp_path.iterdir()) == [file]

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        write_mesh(file, MESH)
    assert file.read_bytes() == b"old" and list(tmp_path.iterdir()) == [file]


def test_a_broken_mesh_is_never_written(tmp_path: Path) -> None:
    positions = MESH.positions.copy()
    positions[3] = np.nan
    changes: list[dict[str, object]] = [
        {"positions": positions}, {"quads": MESH.quads + 1000}, {"quads": MESH.quads[:0]}, {"regions": REGIONS[:1]},
        {"quad_region": MESH.quad_region[:5]},
    ]  # fmt: skip
    for change in changes:
        broken = QuadMesh(**{**vars(MESH), **change})
        with pytest.raises(InternalError):
            write_mesh(tmp_path / "ball.obj", broken)
    assert not any(tmp_path.iterdir())
