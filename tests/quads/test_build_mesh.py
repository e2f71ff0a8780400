"""Quad meshes of many surfaces before they are evened out: connectivity, borders, rims, mirror, roles."""

from __future__ import annotations

from collections import Counter
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from tests.conftest import (
    EDGE,
    SURFACES,
    a_rotation,
    counts_of,
    double,
    layout_of,
    link,
    mesh_of,
    moved,
    surface_of,
)

from loopwright.counts.measure_faces import filled_faces, is_simple, side_counts
from loopwright.counts.solve_counts import arc_targets, solve_for_budget
from loopwright.layout.plan_layout import plan_layout
from loopwright.layout.types import Layout
from loopwright.patterns.fill_patch import fill_patch
from loopwright.quads.build_mesh import build_mesh, space_points
from loopwright.types import FloatArray, IntArray, QuadMesh

every_surface = pytest.mark.parametrize("name", SURFACES)


def border_edges(mesh: QuadMesh) -> IntArray:
    """Edges between quads of two regions."""
    edges = np.sort(np.stack([mesh.quads, np.roll(mesh.quads, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    region = np.repeat(mesh.quad_region, 4)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    same = (edges[order][1:] == edges[order][:-1]).all(axis=1)
    first, second = order[:-1][same], order[1:][same]
    out: IntArray = edges[first[region[first] != region[second]]]
    return out


def distance_to_line(points: FloatArray, line: FloatArray) -> FloatArray:
    a, step = line[:-1], np.diff(line, axis=0)
    share = np.einsum("nij,ij->ni", points[:, None] - a, step) / np.maximum((step**2).sum(axis=1), 1e-300)
    foot = a + np.clip(share, 0, 1)[..., None] * step
    out: FloatArray = np.linalg.norm(points[:, None] - foot, axis=2).min(axis=1)
    return out


@every_surface
def test_topology_is_that_of_the_surface(name: str) -> None:
    surface, mesh = surface_of(name), mesh_of(name)
    wanted, got = link(surface.triangles, len(surface.positions)), link(mesh.quads, len(mesh.positions))
    assert (got.euler, got.rims, got.components) == (wanted.euler, wanted.rims, wanted.components)
    assert mesh.quads.dtype == mesh.quad_region.dtype == np.int32 and mesh.positions.dtype == np.float64


@every_surface
def test_index_law_and_poles(name: str) -> None:
    mesh = mesh_of(name)
    links = link(mesh.quads, len(mesh.positions))
    # sum over the interior of (4 - v) + over the boundary of (3 - v) = 4 chi (derived from Euler)
    assert links.index_sum == 4 * links.euler
    assert set(links.valence[~links.is_rim].tolist()) <= {3, 4, 5}


@every_surface
def test_poles_are_the_planned_ones(name: str) -> None:
    layout, mesh = layout_of(name), mesh_of(name)
    if not all(is_simple(tuple(s)) for s in side_counts(layout, counts_of(name)[0])):
        pytest.skip("patches of this surface have poles beyond the planned ones")
    links = link(mesh.quads, len(mesh.positions))
    got = Counter(links.valence[~links.is_rim & (links.valence != 4)].tolist())
    on_rim = {int(v) for a in layout.arcs if a.kind in ("rim", "mirror") for v in a.vertices}
    wanted = Counter(len(p.sides) for p in layout.patches if len(p.sides) != 4)
    pairs = zip(layout.nodes.tolist(), layout.node_quads.tolist(), strict=True)
    wanted.update(q for v, q in pairs if v not in on_rim and q != 4)
    assert got == wanted


@every_surface
def test_painted_borders_are_chains_of_edges(name: str) -> None:
    layout, mesh = layout_of(name), mesh_of(name)
    edges = border_edges(mesh)
    expected = sum(int(n) for a, n in zip(layout.arcs, counts_of(name)[0], strict=True) if a.kind == "border")
    assert len(edges) == expected
    assert (mesh.vertex_curve[edges] >= 0).all()
    degree = np.bincount(edges.ravel(), minlength=len(mesh.positions))
    rim = link(mesh.quads, len(mesh.positions)).is_rim
    assert not ((degree == 1) & ~rim).any(), "a border ends inside"
    assert set(mesh.quad_region.tolist()) == set(surface_of(name).triangle_region.tolist())


@every_surface
def test_vertices_on_curves_lie_on_them(name: str) -> None:
    mesh = mesh_of(name)
    for k, curve in enumerate(mesh.curves):
        mine = mesh.vertex_curve == k
        line = np.concatenate([curve.points, curve.points[:1]]) if curve.closed else curve.points
        # the vertices of an arc are placed on its polyline
        assert distance_to_line(mesh.positions[mine], line).max(initial=0.0) < 1e-12
    rim = link(mesh.quads, len(mesh.positions)).is_rim
    assert (mesh.vertex_curve[rim & ~mesh.on_mirror] >= 0).all()


@every_surface
def test_junctions_stay(name: str) -> None:
    mesh = mesh_of(name)
    edges = border_edges(mesh)
    degree = np.bincount(edges.ravel(), minlength=len(mesh.positions)) if len(edges) else np.zeros(len(mesh.positions))
    assert mesh.is_fixed[degree > 2].all()


@pytest.mark.parametrize("name", [n for n in SURFACES if "mirror" in n])
def test_a_half_ends_in_its_plane_and_doubles_to_a_regular_whole(name: str) -> None:
    surface, mesh = surface_of(name), mesh_of(name)
    assert surface.mirror is not None
    distance = surface.mirror.signed_distance(mesh.positions)
    assert (distance[mesh.on_mirror] == 0).all() and (distance[~mesh.on_mirror] > 0).all()
    half = link(mesh.quads, len(mesh.positions))
    whole = link(*double(mesh.quads, mesh.on_mirror))
    seam = mesh.on_mirror & ~whole.is_rim[: len(mesh.positions)]
    assert (whole.valence[: len(mesh.positions)][seam] == 4).all()
    assert half.is_rim[mesh.on_mirror].all()
    assert whole.index_sum == 4 * whole.euler
    assert whole.euler == link(*double(surface.triangles, surface.on_mirror)).euler


@pytest.mark.parametrize("name", [n for n in SURFACES if "mirror" not in n])
def test_no_plane_no_mirror(name: str) -> None:
    assert mesh_of(name).mirror is None and not mesh_of(name).on_mirror.any()


@every_surface
def test_no_quad_is_turned_over(name: str) -> None:
    # seen along the mean normal of the quad against that of the nearest triangle
    mesh, surface = mesh_of(name), surface_of(name)
    p = mesh.positions[mesh.quads]
    normal = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])
    t = surface.positions[surface.triangles]
    faces = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    nearest = np.linalg.norm(p.mean(axis=1)[:, None] - t.mean(axis=1), axis=2).argmin(axis=1)
    assert ((normal * faces[nearest]).sum(axis=1) > 0).all()


def test_spacing_follows_the_wished_length() -> None:
    layout = layout_of("half tube at a mirror")
    arc = next(a for a in layout.arcs if a.kind == "rim")
    even = space_points(arc, 6, np.full(len(layout.positions), 0.1))
    gaps = np.linalg.norm(np.diff(np.concatenate([arc.points[:1], even, arc.points[-1:]]), axis=0), axis=1)
    assert even.shape == (5, 3) and gaps.max() < 1.05 * gaps.min()
    size = np.interp(layout.positions[:, 1], [-1.0, 1.0], [0.05, 0.2])
    graded = space_points(arc, 6, size)
    ends = np.concatenate([arc.points[:1], graded, arc.points[-1:]])
    gaps = np.linalg.norm(np.diff(ends, axis=0), axis=1)
    upward = gaps if ends[-1, 1] > ends[0, 1] else gaps[::-1]
    assert (np.diff(upward) > 0).all()
    assert space_points(arc, 1, size).shape == (0, 3)


@pytest.mark.parametrize("name", ["sphere with caps", "torus in sectors", "half tube at a mirror"])
def test_same_input_same_bytes(name: str) -> None:
    layout = layout_of(name)
    again = build_mesh(layout, counts_of(name)[0], layout.vertex_size)
    assert again.positions.tobytes() == mesh_of(name).positions.tobytes()
    assert again.quads.tobytes() == mesh_of(name).quads.tobytes()


@pytest.mark.parametrize("name", ["cube", "quilt", "torus in sectors"])
def test_place_and_scale_move_the_mesh_along(name: str) -> None:
    surface = moved(surface_of(name), a_rotation(), 12.0, [3.0, -40.0, 7.0])
    layout = plan_layout(surface, np.full(len(surface.positions), 12.0 * EDGE))
    counts, _ = solve_for_budget(layout, arc_targets(layout, layout.vertex_size), len(mesh_of(name).quads))
    mesh = build_mesh(layout, counts, layout.vertex_size)
    first, again = (link(m.quads, len(m.positions)) for m in (mesh_of(name), mesh))
    assert Counter(first.valence.tolist()).keys() == Counter(again.valence.tolist()).keys()
    assert again.faces == pytest.approx(first.faces, rel=0.05)


@every_surface
def test_told_faces_are_those_of_the_mesh(name: str) -> None:
    told, mesh = filled_faces(layout_of(name), counts_of(name)[0]), mesh_of(name)
    assert told.sum() == len(mesh.quads)
    regions = np.array([patch.region for patch in layout_of(name).patches])
    assert np.array_equal(np.bincount(regions, told), np.bincount(mesh.quad_region))


def test_told_faces_follow_the_lengths_that_choose_a_fill() -> None:
    counts = (4, 3, 10, 3)
    patch = SimpleNamespace(sides=[[(k, True)] for k in range(4)])
    told = set()
    for lengths in ((1.0, 1.0, 1.0, 1.0), (1.0, 3.0, 1.0, 3.0)):
        layout = SimpleNamespace(arcs=[SimpleNamespace(length=length) for length in lengths], patches=[patch])
        (faces,) = filled_faces(cast(Layout, layout), np.array(counts, np.int32))
        assert faces == len(fill_patch(counts, side_lengths=lengths).quads)
        told.add(int(faces))
    assert len(told) == 2  # so the counts alone do not tell
