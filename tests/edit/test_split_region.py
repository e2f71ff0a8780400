"""Regions parted along edge loops: rings along what runs round them, and what is told where a loop parts nothing."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.edit.conftest import bare, cubed_sphere, grid, torus

from loopwright.edit.apply_edits import apply_edits
from loopwright.edit.edge_roles import border_edges
from loopwright.edit.quad_links import link_quads
from loopwright.errors import InfeasibleError
from loopwright.types import Curve, QuadMesh, Region

AROUND, ROWS = 16, 3


def ring(*, inside: bool = False) -> QuadMesh:
    """A flat ring of 3 rows of 16 quads between the radii 1 and 4; or with one more row on either side of it."""
    rows = ROWS + 2 * inside
    u, v = np.meshgrid(np.arange(AROUND), np.arange(rows + 1) + (0 if inside else 1), indexing="ij")
    angle, radius = 2 * np.pi * u.ravel() / AROUND, v.ravel() + (0.5 if inside else 0.0)
    positions = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(u.size)], axis=1)
    ids = np.arange(u.size).reshape(u.shape)
    on = np.roll(ids, -1, axis=0)
    quads = np.stack([ids[:, :-1], ids[:, 1:], on[:, 1:], on[:, :-1]], axis=-1).reshape(-1, 4)
    mesh = bare(positions, quads)
    if not inside:
        return mesh
    row = np.tile(np.arange(rows), AROUND)
    regions = (Region("ring", (200, 60, 40)), Region("inner", (9, 9, 9)), Region("outer", (99, 99, 99)))
    curves = tuple(Curve(positions[ids[:, k]], True) for k in (1, rows - 1))
    vertex_curve = np.full(len(positions), -1, np.int32)
    for k, at in enumerate((1, rows - 1)):
        vertex_curve[ids[:, at]] = k
    region = np.select([row == 0, row == rows - 1], [1, 2], 0).astype(np.int32)
    return replace(mesh, quad_region=region, regions=regions, curves=curves, vertex_curve=vertex_curve)


def split(mesh: QuadMesh, near: list[float], **more: Any) -> QuadMesh:
    return apply_edits(mesh, [{"op": "split_region", "near": near, "name": "part", **more}])[0]


def place_to_point_at(text: str) -> list[float]:
    found = re.search(r"has an edge near \(([^)]*)\)", text)
    assert found is not None
    return [float(number) for number in found[1].split(",")]


@pytest.mark.parametrize("inside", [False, True])
def test_a_ring_is_parted_along_a_loop_that_runs_round_it(inside: bool) -> None:
    mesh = ring(inside=inside)
    after = split(mesh, [2.5 if inside else 2.0, 0.3, 0.0], along=[0, 1, 0])
    counts = np.bincount(after.quad_region)
    assert counts[-1] == AROUND and counts[0] == AROUND * (ROWS - 1) and after.regions[-1].name == "part"
    links = link_quads(after.quads, len(after.positions))
    new = border_edges(after, links) & ~border_edges(mesh, links)
    radius = np.linalg.norm(after.positions[links.edges[new]], axis=2)
    assert new.sum() == AROUND and np.ptp(radius) < 1e-9
    assert after.curves[-1].closed and np.array_equal(after.quads, mesh.quads)


@pytest.mark.parametrize("inside", [False, True])
def test_across_a_ring_the_loop_that_does_is_told_and_does(inside: bool) -> None:
    mesh = ring(inside=inside)
    near = [3.0, 0.0, 0.0] if inside else [2.5, 0.0, 0.0]
    with pytest.raises(
        InfeasibleError, match="runs from border to border and leaves the region in one piece"
    ) as caught:
        split(mesh, near, along=[1, 0, 0])
    text = str(caught.value)
    assert "pole" not in text and "runs round and parts it" in text
    after = split(mesh, place_to_point_at(text))
    assert sorted(np.bincount(after.quad_region)[[0, -1]].tolist()) == [AROUND, AROUND * (ROWS - 1)]


def test_a_pole_that_stops_a_loop_is_told_with_its_place_and_another_loop_does() -> None:
    mesh = cubed_sphere(3)
    with pytest.raises(InfeasibleError, match="edge loop there ends at a pole inside the region") as caught:
        split(mesh, [0.58, 0.58, 0.5])
    pole = [float(x) for x in re.findall(r"-?[\d.]+", str(caught.value).partition("region, near (")[2])[:3]]
    # Source: the poles of a cube laid on the unit sphere are its corners
    assert np.allclose(np.abs(pole), 1 / np.sqrt(3), atol=1e-3)
    assert len(split(mesh, place_to_point_at(str(caught.value))).regions) == 2


def test_a_drawn_line_that_stops_a_loop_is_told_as_that() -> None:
    mesh = grid(6, 4)
    on = np.isclose(mesh.positions[:, 0], 2.0)
    line = Curve(np.ascontiguousarray(mesh.positions[on]), False)
    held = replace(mesh, curves=(line,), vertex_curve=np.where(on, 0, -1).astype(np.int32))
    with pytest.raises(InfeasibleError, match="ends at a line inside the region") as caught:
        split(held, [4.5, 2.0, 0.0])
    assert len(split(held, place_to_point_at(str(caught.value))).regions) == 2


def test_where_no_loop_parts_a_region_that_is_told() -> None:
    # Source: neither a meridian nor a parallel of a torus parts it
    with pytest.raises(InfeasibleError, match="comes round .*; no edge loop of the region parts it"):
        split(torus(12, 8), [2.7, 0.1, 0.0])
