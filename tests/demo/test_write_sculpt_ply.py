from __future__ import annotations

from pathlib import Path

import lagrange
import numpy as np
import pytest

from loopwright.demo import write_sculpt_ply
from loopwright.errors import InputError
from loopwright.types import Sculpt


def tetrahedron(*, has_colors: bool = True) -> Sculpt:
    positions = np.array([[0.0, 0.0, 0.0], [1.5, 0.0, 0.0], [0.0, -2.25, 0.0], [0.0, 0.0, 3.125]])
    triangles = np.array([[0, 1, 2], [0, 3, 1], [1, 3, 2], [2, 3, 0]], np.int32)
    colors = np.array([[1, 2, 3], [255, 0, 128], [9, 99, 199], [0, 0, 0]], np.uint8)
    return Sculpt(positions, triangles, colors if has_colors else None, "tetrahedron")


def test_reference_reader_finds_the_same(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    sculpt = tetrahedron()
    write_sculpt_ply(path, sculpt)
    # Reference: lagrange's PLY reader.
    mesh = lagrange.io.load_mesh(path)
    assert (np.asarray(mesh.vertices) == sculpt.positions).all()
    assert (np.asarray(mesh.facets) == sculpt.triangles).all()


def test_bytes_follow_the_header(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    sculpt = tetrahedron()
    write_sculpt_ply(path, sculpt)
    header, body = path.read_bytes().split(b"end_header\n", 1)
    assert header.startswith(b"ply\nformat binary_little_endian 1.0\n")
    # Sizes and offsets from the PLY description (Turk 1994; from memory): values packed without padding.
    assert len(body) == 4 * (3 * 4 + 3) + 4 * (1 + 3 * 4)
    assert tuple(body[12:15]) == (1, 2, 3) and tuple(body[27:30]) == (255, 0, 128)
    assert body[60] == 3 and np.frombuffer(body[61:73], "<i4").tolist() == [0, 1, 2]


def test_without_colours_it_is_grey(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    write_sculpt_ply(path, tetrahedron(has_colors=False))
    body = path.read_bytes().split(b"end_header\n", 1)[1]
    assert tuple(body[12:15]) == (128, 128, 128)


def test_replaces_a_file_and_leaves_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    path.write_bytes(b"old")
    write_sculpt_ply(path, tetrahedron())
    assert path.read_bytes().startswith(b"ply\n")
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.ply"]


def test_failure_names_the_file_and_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="a.ply"):
        write_sculpt_ply(tmp_path / "file" / "a.ply", tetrahedron())
    folder = tmp_path / "taken.ply"
    folder.mkdir()
    with pytest.raises(InputError, match="taken.ply"):
        write_sculpt_ply(folder, tetrahedron())
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["file", "taken.ply"]
