"""Lighter versions: whole loops go; borders, poles, openings, symmetry and the places of vertices stay."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.edit.conftest import (
    assert_mirrored,
    assert_sound,
    bare,
    by_place,
    characteristic,
    cubed_sphere,
    grid,
    shuffled,
    torus,
)

from loopwright.edit.apply_edits import apply_edits
from loopwright.edit.edge_roles import border_edges
from loopwright.edit.lighten import lighten, lighten_chain
from loopwright.edit.mirror_halves import cut_in_half
from loopwright.edit.move_pole import find_poles
from loopwright.edit.quad_links import link_quads
from loopwright.errors import InfeasibleError, MarksError
from loopwright.fit.measure_quality import measure_quality
from loopwright.types import QuadMesh, Region

HAND_MADE = Path(__file__).parents[3] / "shared" / "data" / "head_a_handmade.obj"
HEAVY = {
    "grid": lambda: grid(24, 16),
    "torus": lambda: torus(32, 16),
    "sphere": lambda: cubed_sphere(12),
    "capped sphere": lambda: cubed_sphere(12, cap=True),
    "mirrored sphere": lambda: cubed_sphere(12, mirror=True, cap=True),
}


def poles_by_valence(mesh: QuadMesh) -> dict[int, int]:
    return measure_quality(mesh.positions, mesh.quads).poles


@pytest.mark.parametrize("kind", HEAVY)
@pytest.mark.parametrize("ratio", [0.7, 0.4, 0.25])
def test_lighter_meshes_hold_the_laws(kind: str, ratio: float) -> None:
    mesh = HEAVY[kind]()
    light, vertex_map = lighten(mesh, ratio=ratio)
    assert_sound(light, characteristic(mesh))
    longest = max(np.bincount(link_quads(mesh.quads, len(mesh.positions)).strips.of_edge))
    assert abs(len(light.quads) - ratio * len(mesh.quads)) <= longest
    assert np.array_equal(light.positions, mesh.positions[vertex_map])
    assert len(np.unique(vertex_map)) == len(vertex_map)
    assert poles_by_valence(light) == poles_by_valence(mesh)
    places = [sorted(map(tuple, each.positions[find_poles(each)].tolist())) for each in (light, mesh)]
    assert places[0] == places[1]
    quality = measure_quality(light.positions, light.quads)
    assert quality.scaled_jacobian.min() >= 0.35
    if mesh.mirror is not None:
        assert_mirrored(light)


@pytest.mark.parametrize("mirror", [False, True])
def test_borders_stay_on_their_vertices(mirror: bool) -> None:
    mesh = cubed_sphere(12, mirror=mirror, cap=True)
    light, vertex_map = lighten(mesh, ratio=0.3)
    links = link_quads(light.quads, len(light.positions))
    border = np.unique(links.edges[border_edges(light, links)])
    assert len(border) >= 3
    assert (mesh.vertex_curve[vertex_map[border]] >= 0).all()
    assert np.array_equal(np.flatnonzero(light.vertex_curve >= 0), border)
    assert np.bincount(light.quad_region).min() > 0


def test_spacing_stays_even() -> None:
    # Half of the loops of an even torus: each ring of quads ends up with as many faces, within one row.
    mesh = torus(32, 16)
    light, _ = lighten(mesh, ratio=0.25)
    links = link_quads(light.quads, len(light.positions))
    length = np.linalg.norm(np.diff(light.positions[links.edges], axis=1)[:, 0], axis=1)
    heavy = link_quads(mesh.quads, len(mesh.positions))
    before = np.linalg.norm(np.diff(mesh.positions[heavy.edges], axis=1)[:, 0], axis=1)
    # At a quarter of the faces edges double; the spread of their lengths may grow by one halving at most.
    assert length.max() / length.min() <= 2.0 * before.max() / before.min()
    assert 1.5 <= np.median(length) / np.median(before) <= 2.5


def test_flat_parts_are_thinned_before_bent_ones() -> None:
    # A sheet that is flat on the left half and wavy on the right, spaced evenly.
    flat = grid(40, 1)
    z = np.where(flat.positions[:, 0] > 20.0, np.sin((flat.positions[:, 0] - 20.0) * np.pi / 4), 0.0)
    sheet = replace(flat, positions=np.stack([flat.positions[:, 0], flat.positions[:, 1], 1.5 * z], axis=1))
    light, _ = lighten(sheet, ratio=0.75)
    columns = np.unique(light.positions[:, 0])
    assert (columns <= 20.0).sum() < (columns >= 20.0).sum()


def test_the_order_of_vertices_does_not_matter() -> None:
    for seed in (1, 2):
        for mesh in (cubed_sphere(8, mirror=True, cap=True), grid(12, 9)):
            noise = 0.02 * np.sin(7.0 * mesh.positions[:, [1, 2, 1]]) * np.array([0.0, 1.0, 1.0])
            mesh = replace(mesh, positions=mesh.positions + noise)
            one, two = lighten(mesh, ratio=0.4)[0], lighten(shuffled(mesh, seed), ratio=0.4)[0]
            assert by_place(one) == by_place(two)


def test_a_chain_maps_each_version_to_the_one_before() -> None:
    mesh = cubed_sphere(12, mirror=True, cap=True)
    chain = lighten_chain(mesh, [0.6, 0.3, 0.15])
    before, faces = mesh, len(mesh.quads)
    for version in chain:
        assert np.array_equal(version.mesh.positions, before.positions[version.vertex_map])
        assert np.array_equal(version.mesh.positions, mesh.positions[version.first_map])
        assert len(version.mesh.quads) < faces
        assert_mirrored(version.mesh)
        before, faces = version.mesh, len(version.mesh.quads)


def test_sides_with_shapes_of_their_own_keep_them() -> None:
    mesh = cubed_sphere(8, mirror=True)
    bent = mesh.positions.copy()
    bent[:, 1] += 0.1 * np.minimum(bent[:, 0], 0.0) ** 2
    light, vertex_map = lighten(replace(mesh, positions=bent), ratio=0.5)
    assert np.array_equal(light.positions, bent[vertex_map])
    assert not cut_in_half(light).is_exact  # cut_in_half holds that both sides are linked alike


def test_goals_that_make_no_sense() -> None:
    mesh = grid(6, 6)
    goals: list[dict[str, Any]] = [
        {},
        {"ratio": 0.5, "target_faces": 10},
        {"ratio": 0.0},
        {"ratio": 1.5},
        {"target_faces": 0},
    ]
    for goal in goals:
        with pytest.raises(MarksError):
            lighten(mesh, **goal)
    with pytest.raises(MarksError, match="must fall"):
        lighten_chain(mesh, [0.5, 0.7])
    same, vertex_map = lighten(mesh, ratio=1.0)
    assert same is mesh
    assert np.array_equal(vertex_map, np.arange(49))


def test_a_goal_out_of_reach_is_told_with_the_least_that_can_be() -> None:
    mesh = cubed_sphere(6)
    with pytest.raises(InfeasibleError, match="No further loop can go at") as caught:
        lighten(mesh, 2)
    least = caught.value.places[0]
    assert isinstance(least, int)
    reached, _ = lighten(mesh, least)
    assert len(reached.quads) == least


@pytest.mark.skipif(not HAND_MADE.is_file(), reason="the shared hand-made head is not here")
def test_a_hand_made_head() -> None:
    lines = HAND_MADE.read_text(encoding="utf-8").splitlines()
    positions = np.array([[float(x) for x in line.split()[1:4]] for line in lines if line.startswith("v ")])
    faces = [[int(c.split("/")[0]) - 1 for c in line.split()[1:]] for line in lines if line.startswith("f ")]
    quads = np.array([f for f in faces if len(f) == 4], np.int32)
    assert len(quads) == len(faces)
    mesh = replace(bare(positions, quads), regions=(Region("all", (200, 200, 200)),))
    chi = characteristic(mesh)
    chain = lighten_chain(mesh, [0.7, 0.45])
    before = measure_quality(mesh.positions, mesh.quads).scaled_jacobian
    for version, ratio in zip(chain, (0.7, 0.45), strict=True):
        assert characteristic(version.mesh) == chi
        assert abs(len(version.mesh.quads) - ratio * len(quads)) <= 0.02 * len(quads)
        assert poles_by_valence(version.mesh) == poles_by_valence(mesh)
        after = measure_quality(version.mesh.positions, version.mesh.quads).scaled_jacobian
        assert (after < 0.05).sum() <= (before < 0.05).sum()


def test_poles_stay_unless_pairs_may_cancel_out() -> None:
    # Turning one edge of a grid makes two poles of three edges and two of five.
    mesh = apply_edits(grid(10, 10), [{"op": "turn", "near": [5.0, 5.5, 0.0]}])[0]
    assert poles_by_valence(mesh) == {3: 2, 5: 2}
    kept, _ = lighten(mesh, 20)
    freed, _ = lighten(mesh, 20, keep_poles=False)
    assert poles_by_valence(kept) == {3: 2, 5: 2}
    few = poles_by_valence(freed)
    assert few.get(3, 0) == few.get(5, 0) < 2  # they cancel in pairs, so that the indices still sum to four
    assert_sound(freed, 1)
