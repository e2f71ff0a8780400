"""``loopwright lighten`` from file to file."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.reuse.conftest import cube_sphere, quad_mesh

from loopwright.cli.main import main
from loopwright.fit.measure_quality import measure_quality
from loopwright.handover.write_mesh import write_mesh
from loopwright.surface.read_quads import read_quad_mesh


def put_mesh(folder: Path) -> Path:
    directions, quads = cube_sphere(12)
    write_mesh(folder / "mesh.obj", quad_mesh(directions * (1.0, 1.2, 0.9), quads))
    return folder / "mesh.obj"


def test_versions_get_lighter_and_keep_poles_places_and_mirror(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    heavy = read_quad_mesh(put_mesh(tmp_path))
    out = tmp_path / "out"
    words = ["lighten", str(tmp_path / "mesh.obj"), "--shares", "0.6", "0.3", "-o", str(out), "--json", "--quiet"]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["mirror_kept"]
    poles = measure_quality(heavy.positions, heavy.quads).poles
    for version, share in zip(told["versions"], (0.6, 0.3), strict=True):
        light = read_quad_mesh(out / version["file"])
        assert len(light.quads) == version["faces"]
        assert abs(version["faces"] / len(heavy.quads) - share) < 0.1
        assert measure_quality(light.positions, light.quads).poles == poles
        names = np.loadtxt(out / version["map_file"], dtype=np.int64)
        assert np.abs(heavy.positions[names] - light.positions).max() < 1e-6
        places = {tuple(point) for point in np.round(light.positions + 0.0, 5).tolist()}
        assert any({tuple(p) for p in np.round(light.positions * s + 0.0, 5).tolist()} == places for s in flips())


def test_folded_quads_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    put_mesh(tmp_path)
    words = ["lighten", str(tmp_path / "mesh.obj"), "--shares", "0.6", "-o", str(tmp_path / "out")]
    assert main(words) == 0 and "quads folded" not in capsys.readouterr().out
    module = "loopwright.fit.measure_quality.corner_sines"
    monkeypatch.setattr(module, lambda points, quads: np.where(np.arange(len(quads)) < 2, -0.1, 0.9)[:, None])
    assert main(words) == 0
    assert "folded: 2 quads folded: a greater share" in capsys.readouterr().out


def flips() -> list[tuple[float, float, float]]:
    return [(-1.0, 1.0, 1.0), (1.0, -1.0, 1.0), (1.0, 1.0, -1.0)]


@pytest.mark.parametrize(
    ("more", "code", "message"),
    [
        (["--shares", "0.2", "0.5"], 2, "that fall"),
        (["--shares", "nan"], 2, "between 0 and 1"),
        (["--shares", "0.002"], 5, "mesh.obj: "),
        (["--shares", "0.002"], 5, "let pairs of poles cancel out (--merge-poles)."),
        (["--mirror", "q"], 2, "invalid choice"),
    ],
)
def test_mistakes_are_told_and_nothing_is_written(
    more: list[str], code: int, message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mesh = put_mesh(tmp_path)
    assert main(["lighten", str(mesh), *more, "-o", str(tmp_path / "out")]) == code
    said = capsys.readouterr().err
    assert message in said and "Traceback" not in said
    assert not (tmp_path / "out").exists()


def test_no_input_is_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mesh = put_mesh(tmp_path).rename(tmp_path / "light_1.obj")
    before = mesh.read_bytes()
    assert main(["lighten", str(mesh), "-o", str(tmp_path)]) == 3
    assert "is the mesh itself" in capsys.readouterr().err
    assert mesh.read_bytes() == before
