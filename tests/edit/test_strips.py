"""Loops put in and taken out: laws of Euler and Gauss-Bonnet, inverses, roles, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.edit.conftest import PLANE, assert_sound, canonical, characteristic, cubed_sphere, grid, torus

from loopwright.edit.collapse_strip import collapse_strip
from loopwright.edit.edge_roles import border_edges, find_edge_roles
from loopwright.edit.quad_links import link_quads
from loopwright.edit.split_strips import split_strips
from loopwright.errors import InfeasibleError
from loopwright.types import Curve, MirrorPlane, QuadMesh


def unmirrored(mesh: QuadMesh) -> QuadMesh:
    return replace(mesh, mirror=None, on_mirror=np.zeros(len(mesh.positions), bool))


@pytest.mark.parametrize("parts", [2, 3, 4])
def test_splitting_keeps_the_laws(any_mesh: QuadMesh, parts: int) -> None:
    mesh = unmirrored(any_mesh)
    links = link_quads(mesh.quads, len(mesh.positions))
    for strip in range(0, links.strips.count, 3):
        change = split_strips(mesh, np.array([strip]), parts=parts)
        assert_sound(change.mesh, characteristic(mesh))
        assert len(change.mesh.quads) == len(mesh.quads) + (parts - 1) * len(links.strip_quads(strip))
        assert np.array_equal(change.mesh.positions[: len(mesh.positions)], mesh.positions)
        assert np.allclose(change.blend.sum(axis=1), 1.0)
        assert int(change.is_new.sum()) == len(change.mesh.positions) - len(mesh.positions)


def test_splitting_crossing_strips_parts_the_quad_both_ways() -> None:
    mesh = grid(3, 3)
    links = link_quads(mesh.quads, len(mesh.positions))
    middle = links.strips.of_edge[links.quad_edge[4, :2]]
    fine = split_strips(mesh, middle, parts=3).mesh
    assert_sound(fine, 1)
    assert len(fine.quads) == 25
    area = np.cross(fine.positions[fine.quads[:, 1]] - fine.positions[fine.quads[:, 0]],
                    fine.positions[fine.quads[:, 3]] - fine.positions[fine.quads[:, 0]])[:, 2]  # fmt: skip
    assert area.min() > 0.0
    assert np.isclose(area.sum(), 9.0)


def test_taking_out_what_was_put_in_gives_the_mesh_back(any_mesh: QuadMesh) -> None:
    mesh = unmirrored(any_mesh)
    count = len(mesh.positions)
    links = link_quads(mesh.quads, count)
    for strip in range(0, links.strips.count, 2):
        fine = split_strips(mesh, np.array([strip])).mesh
        fine_links = link_quads(fine.quads, len(fine.positions))
        edge = int(np.flatnonzero((fine_links.edges < count).sum(axis=1) == 1)[0])
        rank = (np.arange(len(fine.positions)) >= count).astype(np.int64)
        back = collapse_strip(fine, int(fine_links.strips.of_edge[edge]), give_way=rank).mesh
        assert canonical(back.quads) == canonical(mesh.quads)
        assert np.array_equal(back.positions, mesh.positions)
        for name in ("vertex_curve", "is_fixed", "on_mirror"):
            assert np.array_equal(getattr(back, name), getattr(mesh, name))


def test_new_vertices_take_the_role_of_their_edge() -> None:
    mesh = unmirrored(cubed_sphere(6, cap=True))
    links = link_quads(mesh.quads, len(mesh.positions))
    roles = find_edge_roles(mesh, links)
    assert np.array_equal(roles.is_held, border_edges(mesh, links))
    assert int(roles.is_held.sum()) == 24
    assert (roles.curve[roles.is_held] == 0).all()
    strip = int(links.strips.of_edge[np.flatnonzero(roles.is_held)[0]])
    fine = split_strips(mesh, np.array([strip])).mesh
    fine_links = link_quads(fine.quads, len(fine.positions))
    ring = np.unique(fine_links.edges[border_edges(fine, fine_links)])
    assert len(ring) == 26
    assert np.array_equal(np.flatnonzero(fine.vertex_curve == 0), ring)


def test_a_line_that_the_mesh_follows_is_known_from_a_chord_between_its_vertices() -> None:
    mesh = torus(12, 8)
    around = np.arange(12) * 8
    lined = replace(mesh, vertex_curve=np.where(np.isin(np.arange(96), around), 0, -1).astype(np.int32),
                    curves=(Curve(mesh.positions[around], True),))  # fmt: skip
    links = link_quads(lined.quads, 96)
    roles = find_edge_roles(lined, links)
    assert int(roles.is_held.sum()) == 12
    assert np.isin(links.edges[roles.is_held], around).all()


def test_borders_and_rims_do_not_merge() -> None:
    band = grid(6, 1)
    links = link_quads(band.quads, len(band.positions))
    long = int(links.strips.of_edge[np.argmax((links.edges == [0, 1]).all(axis=1))])
    with pytest.raises(InfeasibleError, match="merge two borders"):
        collapse_strip(band, long)
    fixed = replace(grid(6, 4), is_fixed=np.ones(35, bool))
    with pytest.raises(InfeasibleError, match="fixed vertices"):
        collapse_strip(fixed, 0)


def test_an_opening_keeps_three_edges_and_a_pole_three_edges() -> None:
    # An open tube of three columns: no column may go.
    mesh = torus(3, 8)
    tube = replace(mesh, quads=mesh.quads[np.arange(24) % 8 < 5], quad_region=mesh.quad_region[:15])
    used = np.unique(tube.quads)
    tube = replace(tube, quads=np.searchsorted(used, tube.quads).astype(np.int32), positions=mesh.positions[used],
                   vertex_curve=mesh.vertex_curve[used], is_fixed=mesh.is_fixed[used],
                   on_mirror=mesh.on_mirror[used])  # fmt: skip
    links = link_quads(tube.quads, len(tube.positions))
    refused = []
    for strip in range(links.strips.count):
        try:
            assert_sound(collapse_strip(tube, strip).mesh, 0)
        except InfeasibleError as error:
            refused.append(str(error))
    assert len(refused) >= 3
    assert any("three edges" in text or "lie on each other" in text for text in refused)
    # A cube of six quads: every strip would merge two poles of valence three.
    cube = cubed_sphere(1)
    for strip in range(3):
        with pytest.raises(InfeasibleError):
            collapse_strip(cube, strip)


def test_a_half_is_judged_with_its_image() -> None:
    half = replace(grid(4, 4), mirror=MirrorPlane(PLANE.normal, 0.0))
    half = replace(half, on_mirror=half.positions[:, 0] == 0.0)
    links = link_quads(half.quads, len(half.positions))
    beside = int(links.strips.of_edge[np.argmax((links.edges == [0, 5]).all(axis=1))])
    coarse = collapse_strip(half, beside).mesh
    assert np.array_equal(coarse.on_mirror, coarse.positions[:, 0] == 0.0)
    assert len(coarse.quads) == 12
    fine = split_strips(half, np.array([links.strips.of_edge[np.argmax((links.edges == [0, 1]).all(axis=1))]])).mesh
    assert int(fine.on_mirror.sum()) == 6
