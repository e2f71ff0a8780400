"""Regions with many holes: patches as everywhere else, and one field for many cuts."""

from __future__ import annotations

from collections import Counter
from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.conftest import link

from loopwright.layout import piece_graph
from loopwright.layout.follow_bending import guided_crosses
from loopwright.layout.plan_layout import plan_layout
from loopwright.layout.types import Layout
from loopwright.types import FloatArray, Region, RegionSurface

STEP = 4  # squares from hole to hole; a hole is two wide


def pierced_sheet(holes: int) -> RegionSurface:
    """A flat sheet of unit squares with ``holes`` by ``holes`` square holes."""
    side = holes * STEP + 2
    i, j = (a.ravel() for a in np.meshgrid(np.arange(side), np.arange(side), indexing="ij"))
    keep = ~((i % STEP >= 2) & (j % STEP >= 2) & (i // STEP < holes) & (j // STEP < holes))
    a = (i * (side + 1) + j)[keep]
    b = a + side + 1
    triangles = np.concatenate([np.stack([a, b, b + 1], axis=1), np.stack([a, b + 1, a + 1], axis=1)])
    used, local = np.unique(triangles, return_inverse=True)
    points = np.stack([used // (side + 1), used % (side + 1), 0 * used], axis=1).astype(np.float64)
    faces = local.reshape(-1, 3).astype(np.int32)
    region = np.zeros(len(faces), np.int32)
    return RegionSurface(points, faces, region, (Region("sheet", (200, 0, 0)),), None, np.zeros(len(points), bool))


@cache
def layout(holes: int) -> Layout:
    surface = pierced_sheet(holes)
    return plan_layout(surface, np.full(len(surface.positions), 1.3))


# with 12 by 12 holes some cuts made at once leave a part that none fits, and are taken back
@pytest.mark.parametrize("holes", [2, 5, 9, pytest.param(12, marks=pytest.mark.slow)])
def test_every_patch_is_a_disc_with_three_to_five_corners(holes: int) -> None:
    for patch in layout(holes).patches:
        links = link(patch.triangles, len(patch.origin))
        assert (links.euler, links.rims, links.components) == (1, 1, 1)
        assert 3 <= len(patch.sides) <= 5


@pytest.mark.parametrize("holes", [2, 5, 9])
def test_patches_cover_the_sheet_and_share_their_arcs(holes: int) -> None:
    planned, area = layout(holes), 0.0
    for patch in planned.patches:
        p = planned.positions[patch.origin[patch.triangles]]
        area += float(np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1).sum() / 2)
    assert area == pytest.approx((holes * STEP + 2) ** 2 - 4 * holes**2)
    uses = Counter(arc for patch in planned.patches for side in patch.sides for arc, _ in side)
    assert all(uses[i] == (1 if arc.kind == "rim" else 2) for i, arc in enumerate(planned.arcs))


@pytest.mark.parametrize("holes", [5, 9])
def test_the_index_law_holds(holes: int) -> None:
    planned = layout(holes)
    rim = {int(v) for arc in planned.arcs if arc.kind == "rim" for v in arc.vertices}
    at_nodes = sum((2 if int(v) in rim else 4) - int(q) for v, q in zip(planned.nodes, planned.node_quads, strict=True))
    assert at_nodes + sum(4 - len(p.sides) for p in planned.patches) == 4 * (1 - holes**2)


def test_same_input_same_layout() -> None:
    surface = pierced_sheet(5)
    again = plan_layout(surface, np.full(len(surface.positions), 1.3))
    assert again.positions.tobytes() == layout(5).positions.tobytes()


def solved_vertices(holes: int, monkeypatch: pytest.MonkeyPatch) -> int:
    """How many vertices all fields together had that the layout solved for."""
    total = [0]

    def count(positions: FloatArray, *rest: Any) -> FloatArray:
        total[0] += len(positions)
        return guided_crosses(positions, *rest)

    with monkeypatch.context() as patch:
        patch.setattr(piece_graph, "guided_crosses", count)
        surface = pierced_sheet(holes)
        plan_layout(surface, np.full(len(surface.positions), 1.3))
    return total[0]


def test_work_grows_about_as_the_surface_does(monkeypatch: pytest.MonkeyPatch) -> None:
    few, many = (solved_vertices(holes, monkeypatch) for holes in (4, 8))
    growth = len(pierced_sheet(8).positions) / len(pierced_sheet(4).positions)
    # one field for each cut: three times as much as this growth
    assert many < 1.5 * growth * few
