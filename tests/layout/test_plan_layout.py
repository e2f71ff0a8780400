"""Layouts of many surfaces: patches that cover them, arcs that bound them, poles that add up."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from tests.conftest import (
    EDGE,
    SURFACES,
    X_PLANE,
    a_rotation,
    grid_net,
    layout_of,
    link,
    moved,
    painted,
    surface_of,
)

from loopwright.errors import InternalError
from loopwright.layout.judge_cuts import is_patch
from loopwright.layout.make_cut import split_edges
from loopwright.layout.piece import Piece
from loopwright.layout.plan_layout import plan_layout
from loopwright.layout.types import Layout
from loopwright.types import FloatArray, IntArray

every_surface = pytest.mark.parametrize("name", SURFACES)


def area(points: FloatArray, triangles: IntArray) -> float:
    p = points[triangles]
    return float(np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1).sum() / 2)


@every_surface
def test_every_patch_is_a_disc_with_three_to_five_corners(name: str) -> None:
    for patch in layout_of(name).patches:
        links = link(patch.triangles, len(patch.origin))
        assert (links.euler, links.rims, links.components) == (1, 1, 1)
        assert 3 <= len(patch.sides) == len(patch.corners) <= 5
        assert sorted(patch.boundary.tolist()) == np.flatnonzero(links.is_rim).tolist()
        assert patch.corners[0] == 0 and list(patch.corners) == sorted(set(patch.corners))


@every_surface
def test_patches_cover_each_region_once(name: str) -> None:
    layout, surface = layout_of(name), surface_of(name)
    for r in range(len(surface.regions)):
        mine = [p for p in layout.patches if p.region == r]
        covered = sum(area(layout.positions, p.origin[p.triangles]) for p in mine)
        assert covered == pytest.approx(area(surface.positions, surface.triangles[surface.triangle_region == r]))


@every_surface
def test_sides_run_along_their_arcs_from_corner_to_corner(name: str) -> None:
    layout = layout_of(name)
    for patch in layout.patches:
        walked = []
        for side in patch.sides:
            for arc, forward in side:
                vertices = layout.arcs[arc].vertices
                walked += (vertices if forward else vertices[::-1])[:-1].tolist()
        assert walked == patch.origin[patch.boundary].tolist()


@every_surface
def test_arcs_bound_two_patches_or_one_and_a_rim(name: str) -> None:
    layout = layout_of(name)
    uses = Counter(arc for patch in layout.patches for side in patch.sides for arc, _ in side)
    for i, arc in enumerate(layout.arcs):
        assert uses[i] == (1 if arc.kind in ("rim", "mirror") else 2)
        assert arc.length == pytest.approx(float(np.linalg.norm(np.diff(arc.points, axis=0), axis=1).sum()))
        if arc.kind == "mirror":
            assert layout.on_mirror[arc.vertices].all()
        if arc.kind == "border":
            touching = {p.region for p in layout.patches if any(a == i for side in p.sides for a, _ in side)}
            assert touching == set(arc.sides)


@every_surface
def test_planned_poles_keep_the_index_law(name: str) -> None:
    """Nodes inside count 4 - quads, on the boundary 2 - quads, a patch with N sides 4 - N: 4 chi in all (derived)."""
    layout, surface = layout_of(name), surface_of(name)
    links = link(surface.triangles, len(surface.positions))
    on_rim = np.zeros(len(layout.positions), bool)
    for arc in layout.arcs:
        if arc.kind in ("rim", "mirror"):
            on_rim[arc.vertices] = True
    at_nodes = int((np.where(on_rim[layout.nodes], 2, 4) - layout.node_quads).sum())
    assert at_nodes + sum(4 - len(p.sides) for p in layout.patches) == 4 * links.euler


@every_surface
def test_nodes_inside_are_regular_or_poles_of_three_and_five(name: str) -> None:
    layout = layout_of(name)
    on_rim = {int(v) for a in layout.arcs if a.kind in ("rim", "mirror") for v in a.vertices}
    quads = {int(v): int(q) for v, q in zip(layout.nodes, layout.node_quads, strict=True)}
    assert all(3 <= q <= 5 for v, q in quads.items() if v not in on_rim)
    rims = {int(v) for a in layout.arcs if a.kind == "rim" for v in a.vertices}
    # the whole mesh has valence four in the mirror plane
    assert all(q == 2 for v, q in quads.items() if layout.on_mirror[v] and v not in rims)


@every_surface
def test_the_surface_itself_is_kept(name: str) -> None:
    surface, layout = surface_of(name), layout_of(name)
    assert np.array_equal(layout.positions[: len(surface.positions)], surface.positions)
    assert layout.surface.regions == surface.regions and layout.surface.mirror == surface.mirror


# what the shape asks for (Euler, or common practice): how many poles, and how they are spread
@pytest.mark.parametrize(
    ("name", "poles"),
    [
        ("plain sphere", 8),
        ("sphere with caps", 8),
        ("sphere in rings", 8),
        ("sphere in octants", 8),
        ("cube", 8),
        ("plain torus", 0),
        ("torus in sectors", 0),
        ("half tube at a mirror", 0),
        ("flat disc", 4),
        ("horn", 4),
    ],
)
def test_no_more_poles_than_the_shape_needs(name: str, poles: int) -> None:
    layout = layout_of(name)
    on_rim = {int(v) for a in layout.arcs if a.kind in ("rim", "mirror") for v in a.vertices}
    at_nodes = [abs(4 - int(q)) for v, q in zip(layout.nodes, layout.node_quads, strict=True) if int(v) not in on_rim]
    assert sum(at_nodes) + sum(abs(4 - len(p.sides)) for p in layout.patches) == poles


@pytest.mark.parametrize("name", ["sphere in rings", "half tube at a mirror", "torus in sectors"])
def test_rings_are_cut_straight_across(name: str) -> None:
    layout = layout_of(name)
    rings = [p for p in layout.patches if p.is_ring]
    assert rings and all(len(p.sides) == 4 for p in rings)


def describe(layout: Layout) -> tuple[int, list[tuple[int, int]], list[int]]:
    patches = sorted((p.region, len(p.sides)) for p in layout.patches)
    return len(layout.arcs), patches, sorted(layout.node_quads.tolist())


@pytest.mark.parametrize("name", ["sphere with holes", "horn", "quilt"])
def test_same_input_same_layout(name: str) -> None:
    surface, first = surface_of(name), layout_of(name)
    again = plan_layout(surface, np.full(len(surface.positions), EDGE))
    assert again.positions.tobytes() == first.positions.tobytes()
    assert [a.vertices.tobytes() for a in again.arcs] == [a.vertices.tobytes() for a in first.arcs]


@pytest.mark.parametrize("name", ["sphere with caps", "torus in sectors", "quilt", "cube"])
def test_place_and_scale_do_not_change_the_plan(name: str) -> None:
    surface = moved(surface_of(name), a_rotation(), 12.0, [3.0, -40.0, 7.0])
    again = plan_layout(surface, np.full(len(surface.positions), 12.0 * EDGE))
    assert describe(again) == describe(layout_of(name))


def test_what_is_a_patch() -> None:
    triangles = np.array([[0, 1, 2], [0, 2, 3]], np.int32)

    def patch(*quadrants: int) -> bool:
        return is_patch(Piece(triangles, np.arange(4, dtype=np.int32), np.array(quadrants, np.int32), 0))

    assert patch(1, 1, 1, 1) and patch(1, 1, 1, 2)
    assert not patch(1, 1, 2, 2) and not patch(1, 1, 1, 3)


def test_split_edges_keep_the_surface() -> None:
    points = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0.5, 0.5, 0], [0.5, 0, 0]])
    triangles = np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    split = split_edges(triangles, [(0, 2, 4), (0, 1, 5)])
    assert split is not None
    assert area(points, split) == pytest.approx(1.0)
    assert link(split, 6).euler == 1
    assert split_edges(triangles, [(1, 3, 4)]) is None


def test_a_part_that_nothing_can_be_done_with_is_an_error_of_ours() -> None:
    from loopwright.layout.make_cut import Growing
    from loopwright.layout.split_patches import split_piece

    triangles = np.array([[0, 1, 2]], np.int32)
    piece = Piece(triangles, np.arange(3, dtype=np.int32), np.array([1, 2, 2], np.int32), 0)
    with pytest.raises(InternalError, match="No cut was found"):
        split_piece(piece, Growing(np.eye(3), set()), 1.0)


@pytest.mark.parametrize("steepness", [0.0, 0.5, 1.6])
def test_half_rings_keep_their_seams_where_an_opening_is_pointed(steepness: float) -> None:
    # lips over a mouth whose upper rim runs to a point in the mirror plane: its corner there is 90 to 153 degrees wide
    turn, away = np.meshgrid(np.linspace(-np.pi / 2, np.pi / 2, 49), np.linspace(0.0, 1.0, 9), indexing="ij")
    inner = 0.8 + steepness * (np.abs(turn) - np.pi / 2) * np.exp(-((np.abs(turn) - np.pi / 2) ** 2) / 0.1)
    reach = inner + away * (1.2 - inner)
    points = np.stack([reach * np.cos(turn), reach * np.sin(turn), 0 * turn], axis=-1)
    points[[0, -1], :, 0] = 0.0
    points, triangles = grid_net(points)
    net = points, np.ascontiguousarray(triangles[:, ::-1])
    layout = plan_layout(painted(net, mirror=X_PLANE), np.full(len(points), 0.15))
    (patch,) = layout.patches
    assert patch.is_ring and len(patch.sides) == 4
    assert sorted({layout.arcs[a].kind for side in patch.sides for a, _ in side}) == ["mirror", "rim"]
