"""The figures of the report hold the laws that they must hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.report.measure_distance import measure_distance
from loopwright.report.measure_poles import measure_poles, measure_valence
from loopwright.report.measure_symmetry import measure_symmetry
from loopwright.report.pick_colors import heat_colors, round_limit
from loopwright.report.thin_surface import thin_surface
from loopwright.types import FloatArray, IntArray, QuadMesh, Sculpt

rng = np.random.default_rng(5)


def test_index_sums(mesh: QuadMesh, closed_mesh: QuadMesh) -> None:
    # Sum over inner vertices of (4 - v) plus sum over rim vertices of (3 - v) is 4 chi (derived from Euler's formula).
    for shape, chi in ((closed_mesh, 2), (mesh, 0)):
        poles = measure_poles(shape)
        inner = sum((4 - valence) * count for valence, count in poles.count_by_valence().items())
        rim = sum((3 - valence) * count for valence, count in poles.rim_turns.items())
        assert inner + rim == 4 * chi
    assert measure_poles(closed_mesh).count_by_valence() == {3: 8}


def test_valence_is_the_number_of_neighbours(mesh: QuadMesh) -> None:
    neighbours: list[set[int]] = [set() for _ in mesh.positions]
    for quad in mesh.quads.tolist():
        for a, b in zip(quad, [*quad[1:], quad[0]], strict=True):
            neighbours[a].add(b)
            neighbours[b].add(a)
    valence, is_rim = measure_valence(mesh.quads, len(mesh.positions))
    assert valence.tolist() == [len(around) for around in neighbours]
    faces = np.bincount(mesh.quads.ravel(), minlength=len(mesh.positions))
    assert ((valence - faces == 1) == is_rim).all()


def test_poles_are_placed_by_the_regions_round_them(closed_mesh: QuadMesh) -> None:
    poles = measure_poles(closed_mesh)
    in_front = closed_mesh.positions[poles.vertices][:, 2] > 0
    assert [place == "face <&>" for place in poles.places] == in_front.tolist()
    assert poles.count_by_place() == {"back": {3: 4}, "face <&>": {3: 4}}
    one_region = replace(closed_mesh, quad_region=np.arange(len(closed_mesh.quads), dtype=np.int32) % 2)
    assert set(measure_poles(one_region).places) <= {"back", "face <&>", "back / face <&>"}


def test_symmetry_is_exact_or_it_is_said(mesh: QuadMesh, moved_mesh: QuadMesh) -> None:
    exact = measure_symmetry(mesh, mesh.mirror)
    assert exact["vertices_matched"] == exact["faces_matched"] == 1
    moved = measure_symmetry(moved_mesh, moved_mesh.mirror)
    assert moved["vertices_matched"] < 1 and moved["faces_matched"] < 1
    assert moved["largest_gap"] > exact["largest_gap"]
    assert measure_symmetry(mesh, None) == {}


def grid_mesh(mesh: QuadMesh, side: int) -> QuadMesh:
    x, y = np.meshgrid(np.linspace(0, 1, side + 1), np.linspace(0, 1, side + 1), indexing="ij")
    corner = (np.arange(side)[:, None] * (side + 1) + np.arange(side)).ravel()
    quads = np.stack([corner, corner + side + 1, corner + side + 2, corner + 1], axis=1).astype(np.int32)
    positions = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    return replace(mesh, positions=positions, quads=quads, quad_region=np.zeros(len(quads), np.int32), mirror=None)


def plate(height: float, reach: float) -> Sculpt:
    x, y = np.meshgrid(np.linspace(-reach, 1 + reach, 41), np.linspace(-reach, 1 + reach, 41), indexing="ij")
    corner = (np.arange(40)[:, None] * 41 + np.arange(40)).ravel()
    triangles = np.concatenate(
        [np.stack([corner, corner + 41, corner + 42], axis=1), np.stack([corner, corner + 42, corner + 1], axis=1)]
    )
    positions = np.stack([x.ravel(), y.ravel(), np.full(x.size, height)], axis=1)
    return Sculpt(positions, triangles.astype(np.int32))


@pytest.mark.parametrize("use_limit", [True, False])
def test_parallel_plates_are_as_far_apart_as_they_are(mesh: QuadMesh, use_limit: bool) -> None:
    # The limit of a flat net is flat; its rim is a curve inside the square's corners, so those are left aside.
    sculpt = plate(0.125, 0.5)
    found = measure_distance(sculpt, grid_mesh(mesh, 8), use_limit=use_limit)
    assert np.allclose(found.surface_to_sculpt, 0.125, atol=1e-6)
    inside = ((sculpt.positions[:, :2] > 0.05) & (sculpt.positions[:, :2] < 0.95)).all(axis=1)
    assert np.allclose(found.sculpt_to_surface[inside], 0.125, atol=1e-6)
    assert not found.is_beyond[inside].any()
    outside = ((sculpt.positions[:, :2] < -0.05) | (sculpt.positions[:, :2] > 1.05)).any(axis=1)
    assert found.is_beyond[outside].all()


def test_distance_follows_the_scale_and_leaves_its_input_alone(closed_mesh: QuadMesh) -> None:
    sculpt = Sculpt(*triangulate(closed_mesh, 1.02))
    before = (sculpt.positions.copy(), closed_mesh.positions.copy())
    small = measure_distance(sculpt, closed_mesh).summarize(1.0)
    grown = measure_distance(
        replace(sculpt, positions=sculpt.positions * 1000 + 5),
        replace(closed_mesh, positions=closed_mesh.positions * 1000 + 5),
    ).summarize(1000.0)
    assert small.keys() == grown.keys()
    assert all(abs(small[name] - grown[name]) < 1e-5 for name in small)
    assert (sculpt.positions == before[0]).all() and (closed_mesh.positions == before[1]).all()


def test_the_limit_of_a_net_on_a_ball_lies_inside(closed_mesh: QuadMesh) -> None:
    # Control points on a sphere of radius R leave the limit h^2 / (3 R) inside, h the spacing of the net (derived from
    # Catmull-Clark's limit rule); the net's spacing varies over the ball, so only the size is held.
    sculpt = Sculpt(*triangulate(closed_mesh, 1.0, levels=3))
    found = measure_distance(sculpt, closed_mesh)
    radius = np.linalg.norm(found.surface_positions, axis=1)
    spacing = np.sqrt(4 * np.pi / len(closed_mesh.quads))
    assert radius.max() < 1
    assert 0.5 < np.mean(1 - radius) / (spacing**2 / 3) < 2


def test_colours_left_open_have_no_counterpart(closed_mesh: QuadMesh) -> None:
    positions, triangles = triangulate(closed_mesh, 1.0)
    colors = np.tile(np.array([[225, 65, 60]], np.uint8), (len(positions), 1))
    is_open = positions[:, 1] > 0.5
    colors[is_open] = (25, 20, 18)
    found = measure_distance(Sculpt(positions, triangles, colors), closed_mesh, open_colors=[(20, 20, 20)])
    assert (found.is_beyond == is_open).all()


def triangulate(mesh: QuadMesh, radius: float, *, levels: int = 0) -> tuple[FloatArray, IntArray]:
    """Return the mesh's quads as triangles on a ball, halved ``levels`` times."""
    positions = mesh.positions
    triangles = np.concatenate([mesh.quads[:, [0, 1, 2]], mesh.quads[:, [0, 2, 3]]]).astype(np.int32)
    for _ in range(levels):
        sides = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
        edges, inverse = np.unique(sides, axis=0, return_inverse=True)
        middle = inverse.reshape(-1, 3) + len(positions)
        positions = np.concatenate([positions, positions[edges].mean(axis=1)])
        a, b, c = triangles.T
        ab, bc, ca = middle.T
        rows = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        triangles = np.concatenate([np.stack(row, axis=1) for row in rows]).astype(np.int32)
    return positions / np.linalg.norm(positions, axis=1)[:, None] * radius, triangles


def test_a_thinned_surface_is_lighter_and_lies_near(closed_mesh: QuadMesh) -> None:
    positions, triangles = triangulate(closed_mesh, 1.0, levels=3)
    thin, faces = thin_surface(positions, triangles, most=10_000)
    assert 5_000 < len(faces) < 20_000
    cell = np.sqrt(3 * 4 * np.pi / 10_000)
    assert np.abs(np.linalg.norm(thin, axis=1) - 1).max() < cell
    assert np.unique(faces).size == len(thin)
    corners = thin[faces]
    outward = np.einsum(
        "nc,nc->n", np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), corners.mean(axis=1)
    )
    assert (outward > -1e-12).all()
    assert thin_surface(positions, triangles, most=len(triangles))[1] is triangles


@given(st.floats(1e-12, 1e12))
def test_a_scales_end_is_the_next_round_number(value: float) -> None:
    limit = round_limit(value)
    digit = limit / 10 ** np.floor(np.log10(limit) + 1e-9)
    assert value <= limit * (1 + 1e-8) and limit <= value * 2.5 * (1 + 1e-8)
    assert min(abs(digit - step) for step in (1, 2, 5)) < 1e-6


def test_heat_is_pale_at_zero_and_stays_dark_beyond_the_end() -> None:
    colors = heat_colors(np.array([0.0, 0.5, 1.0, 7.0]), 1.0).astype(int)
    light = colors @ [0.299, 0.587, 0.114]
    assert light[0] > light[1] > light[2]
    assert (colors[2] == colors[3]).all()
