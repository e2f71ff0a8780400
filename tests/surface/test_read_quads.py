"""All-quad meshes from OBJ and PLY: what is written comes back, what is no quad surface is refused by its place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loopwright.errors import InputError
from loopwright.handover.write_mesh import write_mesh
from loopwright.surface.read_quads import read_quad_mesh
from loopwright.types import QuadMesh, Region

SQUARES = "v 0 0 0\nv 1 0 0\nv 2 0 0\nv 0 1 0\nv 1 1 0\nv 2 1 0\n"


def grid() -> QuadMesh:
    ids = np.arange(20).reshape(4, 5)
    quads = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
    x, y = np.meshgrid(np.arange(5.0), np.arange(4.0))
    positions = np.stack([x.ravel(), y.ravel(), np.sqrt(x.ravel() + 2.0)], axis=1)
    region = (np.arange(12) % 3).astype(np.int32)
    none = np.zeros(20, bool)
    regions = tuple(Region(name, (10 * k, 20, 30)) for k, name in enumerate(("lips", "nose", "left eye")))
    return QuadMesh(positions, quads.astype(np.int32), region, regions, np.full(20, -1, np.int32), (), none, none)


@pytest.mark.parametrize("ending", ["obj", "ply"])
def test_what_is_written_comes_back(tmp_path: Path, ending: str) -> None:
    mesh, path = grid(), tmp_path / f"mesh.{ending}"
    write_mesh(path, mesh)
    back = read_quad_mesh(path)
    assert np.array_equal(back.positions, mesh.positions)
    assert np.array_equal(back.quads, mesh.quads)
    assert np.array_equal(back.quad_region, mesh.quad_region)
    assert [region.name.replace("_", " ") for region in back.regions] == [region.name for region in mesh.regions]
    assert ending == "obj" or back.regions == mesh.regions


def test_ascii_ply_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    head = "ply\nformat ascii 1.0\nelement vertex 6\n" + "".join(f"property float {axis}\n" for axis in "xyz")
    head += "element face 2\nproperty list uchar int vertex_indices\nend_header\n"
    body = SQUARES.replace("v ", "") + "4 0 1 4 3\n4 1 2 5 4\n"
    path.write_text(head + body)
    assert read_quad_mesh(path).quads.tolist() == [[0, 1, 4, 3], [1, 2, 5, 4]]
    path.write_text((head + body).replace("4 1 2 5 4", "3 1 2 5"))
    with pytest.raises(InputError, match="face 2.*3 corners"):
        read_quad_mesh(path)


def test_indices_may_count_back_and_carry_more(tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    path.write_text(
        SQUARES + "vt 0 0\nvn 0 0 1\no thing\nf 1/1/1 2/1/1 5/1/1 4/1/1 # first\nf -5//1 -4//1 -1//1 -2//1\n"
    )
    mesh = read_quad_mesh(path)
    assert mesh.quads.tolist() == [[0, 1, 4, 3], [1, 2, 5, 4]]
    assert len(mesh.regions) == 1


@pytest.mark.parametrize(
    ("faces", "words"),
    [
        ("f 1 2 5\n", "line 7.*3 corners"),
        ("f 1 2 5 4\nf 1 2 3 6 5\n", "line 8.*5 corners"),
        ("f 1 2 5 9\n", "line 7.*not there"),
        ("f 0 2 5 4\n", "line 7"),
        ("f 1 2 x 4\n", "line 7"),
        ("f 1 2 2 4\n", "line 7.*twice"),
        ("f 1 2 5 4\nf 2 5 6 3\n", "line 8.*other way"),
        ("", "no faces"),
        ("v 0 2 0\nv -1 1 0\nv -1 2 0\nf 1 2 5 4\nf 4 7 9 8\n", "vertex 4.*alone"),
        ("v nan 0 0\nf 1 2 5 4\n", "line 7: its position .nan, 0, 0. is not a usable number"),
    ],
)
def test_what_is_no_quad_surface_is_refused(tmp_path: Path, faces: str, words: str) -> None:
    path = tmp_path / "a.obj"
    path.write_text(SQUARES + faces)
    with pytest.raises(InputError, match=words):
        read_quad_mesh(path)


def test_other_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "b.obj").write_bytes(b"\0\1\2")
    for path, words in ((tmp_path, "folder"), (tmp_path / "none.obj", "no such file"), (tmp_path / "b.obj", "neither")):
        with pytest.raises(InputError, match=words):
            read_quad_mesh(path)
