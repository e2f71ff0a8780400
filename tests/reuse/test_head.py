"""A hand-made mesh of a real head carried to a warped head; runs where the shared data lie beside the project."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loopwright.marks.options import MarksOptions
from loopwright.marks.region_surface import make_region_surface
from loopwright.reuse.deform_graph import spread_nodes
from loopwright.reuse.read_landmarks import Landmarks
from loopwright.reuse.refit import refit
from loopwright.reuse.rim_curves import open_borders
from loopwright.reuse.template import template_of_quads
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.read import read_sculpt
from loopwright.surface.read_quads import read_quad_mesh
from loopwright.surface.repair import repair_sculpt
from loopwright.types import FloatArray

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not (DATA / "head_a_160k.ply").exists(), reason="the head's files are not beside the project"),
]


def smooth_warp(points: FloatArray, extent: FloatArray, share: float = 0.05) -> FloatArray:
    """Move points by a sum of wide bells, the largest move of the box's samples being ``share`` of its diagonal."""
    low, high = extent
    diagonal = float(np.linalg.norm(high - low))
    rng = np.random.default_rng(0)
    centers, ways = rng.uniform(low, high, (40, 3)), rng.normal(size=(40, 3))

    def raw(at: FloatArray) -> FloatArray:
        bells = np.exp(-((at[:, None] - centers) ** 2).sum(axis=2) / (2 * (0.3 * diagonal) ** 2))
        return np.asarray(bells @ ways)

    largest = np.linalg.norm(raw(rng.uniform(low, high, (2000, 3))), axis=1).max()
    return np.vstack(
        [p + share * diagonal / largest * raw(p) for p in np.array_split(points, max(1, len(points) // 9999))]
    )


@pytest.mark.parametrize("has_borders", [False, True])
def test_hand_made_mesh_goes_to_another_head(has_borders: bool) -> None:
    mesh = read_quad_mesh(DATA / "head_a_handmade.obj")
    sculpt, _ = repair_sculpt(read_sculpt(DATA / "head_a_160k.ply"))
    box = np.array([sculpt.positions.min(axis=0), sculpt.positions.max(axis=0)])
    other = SurfaceProjector(smooth_warp(sculpt.positions, box), sculpt.triangles)
    limit = template_of_quads(mesh.positions, mesh.quads).positions
    truth = smooth_warp(limit, box)
    led = spread_nodes(limit, 19)[0]  # 19 landmarks, as in White et al., Sci. Rep. 9:6085, 2019
    rest = np.setdiff1d(np.arange(len(limit)), led)
    assert np.linalg.norm(truth - limit, axis=1).max() >= 0.03 * other.diagonal
    names = tuple(f"place {i}" for i in led)
    # Landmarks on rims are met where rims go to the paint's borders too, which lie a little elsewhere.
    open_colors = MarksOptions(open_colors=((20, 20, 20),), mirror="none")
    painted = replace(sculpt, positions=other.positions)
    borders = open_borders(make_region_surface(painted, options=open_colors)[0]) if has_borders else ()
    result = refit(mesh, other, landmarks=Landmarks(names, limit[led], truth[led]), borders=borders)
    assert result.rims_on_borders == (4 if has_borders else 0)
    there = template_of_quads(result.mesh.positions, mesh.quads).positions
    off = np.linalg.norm(there - truth, axis=1) / other.diagonal
    assert result.landmark_distances.max() <= 0.003 * other.diagonal
    assert np.sqrt((off[rest] ** 2).mean()) <= 0.003  # those that led nothing
    assert result.newly_inverted == 0
    assert result.fit.after.rms <= 6e-4 * other.diagonal
    assert np.array_equal(result.mesh.quads, mesh.quads)
