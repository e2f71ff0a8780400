"""A sculpt whose size means nothing is refused at once, and needles are not split without end."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.conftest import a_rotation, globe

from loopwright.errors import InputError
from loopwright.surface.check import check_sculpt
from loopwright.surface.proxy import coarsen, even_edge, surface_area
from loopwright.surface.repair import repair_sculpt
from loopwright.types import Sculpt


def spiked(reach: float) -> Sculpt:
    """A ball of radius 1 with one vertex pulled out."""
    points, triangles = globe(12)
    points = points.copy()
    points[37] *= reach / np.linalg.norm(points[37])
    return Sculpt(points, triangles, name="ball.obj")


@pytest.mark.parametrize("reach", [1e3, 1e30, 1e60])
@pytest.mark.parametrize("scale", [1e-6, 1.0, 1e3])
def test_a_far_off_vertex_is_named(reach: float, scale: float) -> None:
    sculpt = spiked(reach)
    sculpt = replace(sculpt, positions=sculpt.positions * scale + 5.0 * scale)
    for work in (repair_sculpt, check_sculpt):
        with pytest.raises(InputError, match=r"ball\.obj, vertex 37 \(counted from 0\): .* as far out") as caught:
            work(sculpt)
        assert caught.value.places == ("ball.obj", 37)


def test_several_far_off_vertices_are_counted() -> None:
    points, triangles = globe(12)
    points = points.copy()
    points[[5, 6, 7]] += 1e7 * np.array([[1.0], [3.0], [2.0]])
    with pytest.raises(InputError, match="vertex 6 .*, and 2 more like it"):
        repair_sculpt(Sculpt(points, triangles))


def test_long_parts_and_unused_vertices_are_left_alone() -> None:
    assert check_sculpt(spiked(200.0)) == []
    ball = spiked(1.0)
    stray = Sculpt(np.append(ball.positions, [[1e30, 0.0, 0.0]], axis=0), ball.triangles)
    assert [finding.kind for finding in check_sculpt(stray)] == ["unused_vertex"]


@pytest.mark.parametrize("scale", [1e-8, 1.0, 1e30])
@pytest.mark.parametrize("direction", [(1.0, 0.0, 0.0), (0.3, -0.7, 2.0)])
def test_a_sculpt_without_area_is_refused(scale: float, direction: tuple[float, float, float]) -> None:
    points, triangles = globe(8)
    line = points[:, :1] * np.array(direction) * scale
    with pytest.raises(InputError, match="no area|no sound triangle"):
        repair_sculpt(Sculpt(line, triangles, name="flat.obj"))


def test_a_thin_sheet_and_a_thread_have_area() -> None:
    points, triangles = globe(8)
    for squeeze in ((1.0, 1.0, 0.0), (1.0, 1e-5, 1e-5)):
        thin = points * np.array(squeeze) @ a_rotation().T
        repair_sculpt(Sculpt(np.ascontiguousarray(thin), triangles))


def test_needles_are_not_split_without_end() -> None:
    sculpt = spiked(9e3)
    area = surface_area(sculpt.positions, sculpt.triangles)
    proxy = coarsen(sculpt.positions, sculpt.triangles, even_edge(area, 1000))
    assert len(proxy.net.triangles) < 20_000


def test_a_build_of_a_far_off_vertex_ends_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from loopwright.cli.main import main

    path = tmp_path / "far.obj"
    points = "".join(f"v {x} {y} {z}\n" for x, y, z in ((0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1e30)))
    path.write_text(points + "f 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\n", encoding="ascii")
    assert main(["build", str(path), "-o", str(tmp_path / "out.obj")]) == 3
    assert "far.obj, vertex 3" in capsys.readouterr().err
