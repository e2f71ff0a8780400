"""``loopwright levels`` from files to files."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from loopwright.cli.main import main
from loopwright.detail.rebuild_level import rebuild_level
from loopwright.detail.stack_file import read_stack
from loopwright.surface.read_quads import read_quad_mesh


def write_sphere(path: Path, n: int, bump: float, *, triangles: bool = False) -> None:
    """A bumpy ball of 6 n^2 faces, laid out like a cube."""
    grid = np.linspace(-1.0, 1.0, n + 1)
    points: dict[tuple[float, ...], int] = {}
    faces = []
    for axis in range(3):
        for sign in (-1.0, 1.0):

            def corner(u: int, v: int, axis: int = axis, sign: float = sign) -> int:
                place = np.roll([sign, grid[u], grid[v]], axis)
                return points.setdefault(tuple(np.round(place, 9)), len(points) + 1)

            for i in range(n):
                for j in range(n):
                    quad = [corner(i, j), corner(i + 1, j), corner(i + 1, j + 1), corner(i, j + 1)]
                    faces.append(quad if sign > 0 else quad[::-1])
    ball = np.array(list(points))
    ball /= np.linalg.norm(ball, axis=1, keepdims=True)
    ball *= 1.0 + bump * np.sin(5 * ball[:, :1])
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in ball.tolist()]
    for a, b, c, d in faces:
        lines += [f"f {a} {b} {c}", f"f {a} {c} {d}"] if triangles else [f"f {a} {b} {c} {d}"]
    path.write_text("\n".join(lines) + "\n")


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("levels")
    mesh, sculpt = folder / "mesh.obj", folder / "sculpt.obj"
    write_sphere(mesh, 4, 0.02)
    write_sphere(sculpt, 40, 0.02, triangles=True)
    return mesh, sculpt


def test_it_writes_levels_and_a_stack_that_rebuilds_them(
    files: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "new" / "levels"
    words = ["levels", *map(str, files), "--levels", "2", "-o", str(out), "--creases", "--json"]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert sorted(told["files"]) == sorted(path.name for path in out.iterdir())
    stack = read_stack(out / "stack.npz")
    for level in range(3):
        mesh = read_quad_mesh(out / f"level_{level}.obj")
        assert np.array_equal(mesh.positions, rebuild_level(stack, level).positions)
        assert told["levels"][level]["faces"] == len(mesh.quads)
    assert told["levels"][2]["level_rms"] < 0.2 * told["levels"][0]["level_rms"]


def test_the_stack_alone(files: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["levels", *map(str, files), "--levels", "1", "-o", str(tmp_path), "--stack-only", "--format", "ply"]) == 0
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["cage.ply", "stack.npz"]
    assert "level 1" in capsys.readouterr().out


def test_a_triangle_mesh_and_too_many_levels_are_refused(
    files: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mesh, sculpt = map(str, files)
    assert main(["levels", sculpt, sculpt, "-o", str(tmp_path / "a")]) == 3
    assert "3 corners" in capsys.readouterr().err
    assert main(["levels", mesh, sculpt, "--levels", "99", "-o", str(tmp_path / "a")]) == 2
    assert main(["levels", mesh, str(tmp_path / "none.ply"), "-o", str(tmp_path / "a")]) == 3
    assert not (tmp_path / "a").exists()


def test_a_sculpt_that_is_inside_out_gives_the_same_levels(
    files: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mesh, sculpt = files
    lines = sculpt.read_text().splitlines()
    turned = [f"f {' '.join(reversed(line.split()[1:]))}" if line.startswith("f ") else line for line in lines]
    (tmp_path / "turned.obj").write_text("\n".join(turned) + "\n")
    stacks = []
    for name, path in (("as it is", sculpt), ("turned", tmp_path / "turned.obj")):
        assert main(["levels", str(mesh), str(path), "--levels", "1", "-o", str(tmp_path / name), "--stack-only"]) == 0
        stacks.append(read_stack(tmp_path / name / "stack.npz"))
    assert "1 piece is inside out" in capsys.readouterr().out
    assert np.array_equal(stacks[0].cage.quads, stacks[1].cage.quads)
    assert np.allclose(stacks[0].offsets, stacks[1].offsets, atol=1e-9)


@pytest.mark.parametrize(
    ("names", "message"),
    [
        (("cage.obj", "sculpt.obj"), "cage.obj is the mesh itself"),
        (("level_0.obj", "sculpt.obj"), "level_0.obj is the mesh itself"),
        (("mesh.obj", "level_1.obj"), "level_1.obj is the sculpt itself"),
    ],
)
def test_levels_do_not_replace_what_they_are_made_from(
    names: tuple[str, str],
    message: str,
    files: tuple[Path, Path],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    copies = [tmp_path / name for name in names]
    for copy, file in zip(copies, files, strict=True):
        copy.write_bytes(file.read_bytes())
    assert main(["levels", *map(str, copies), "--levels", "1", "-o", str(tmp_path)]) == 3
    assert message in capsys.readouterr().err
    assert sorted(tmp_path.iterdir()) == sorted(copies)
    assert [copy.read_bytes() for copy in copies] == [file.read_bytes() for file in files]


def test_a_mesh_of_another_sculpt_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_sphere(tmp_path / "mesh.obj", 6, 0.0)
    for name, bump in (("own.obj", 0.0), ("other.obj", 0.4)):
        write_sphere(tmp_path / name, 24, bump, triangles=True)
    told = []
    for name in ("own.obj", "other.obj"):
        words = ["levels", str(tmp_path / "mesh.obj"), str(tmp_path / name), "--levels", "0", "--stack-only", "--json"]
        assert main([*words, "-o", str(tmp_path / "out")]) == 0
        told.append([f["kind"] for f in json.loads(capsys.readouterr().out)["findings"]])
    assert told == [[], ["other_sculpt"]]
