"""Sizes that were asked for and do not come out are told, with what does."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, cast

import numpy as np
import pytest
from tests.conftest import counts_of, globe, layout_of, mesh_of, surface_of

from loopwright import BuildOptions, build, plan
from loopwright.counts.measure_faces import filled_faces
from loopwright.counts.size_field import triangle_areas
from loopwright.counts.tell_sizes_off import tell_sizes_off
from loopwright.quads.build_mesh import place_quads
from loopwright.types import Finding, Sculpt
from loopwright.wishes import FlowLine, SizeDab

RED, BLUE = (200, 60, 60), (60, 60, 200)
HIGH = np.array([0.0, 0.0, 1.0])


def ball() -> Sculpt:
    points, triangles = globe(40)
    colors = np.array([RED, BLUE], np.uint8)[(points[:, 0] > 0.8).astype(int)]
    return Sculpt(points, triangles, colors)


OPTIONS = BuildOptions(budget=600, proxy_faces=5000, mirror="none", region_names={RED: "most", BLUE: "cap"})
DAB = SizeDab((0.0, 0.0, 1.0), 0.3, 0.03)


def off(findings: tuple[Finding, ...]) -> list[Finding]:
    return [finding for finding in findings if finding.kind == "sizes_off"]


def rows(told: Finding) -> list[dict[str, Any]]:
    return cast("list[dict[str, Any]]", told.data["sizes"])


@pytest.mark.parametrize("name", ["cube", "sphere in rings", "half tube at a mirror"])
def test_a_region_is_told_where_the_squares_that_cover_it_are_a_quarter_larger_or_smaller(name: str) -> None:
    surface, mesh, layout, counts = surface_of(name), mesh_of(name), layout_of(name), counts_of(name)[0]
    faces, place = filled_faces(layout, counts), place_quads(layout, counts, layout.vertex_size)
    for region in range(len(surface.regions)):
        area = triangle_areas(surface)[surface.triangle_region == region].sum()
        got = float(np.sqrt(area / (mesh.quad_region == region).sum()))  # of the mesh that these counts give
        for near in (0.85, 1.0, 1.15):
            assert tell_sizes_off(layout, faces, place, {region: near * got}, (), None) == []
        for far in (0.5, 2.0):
            (told,) = tell_sizes_off(layout, faces, place, {region: far * got}, (), None)
            (row,) = rows(told)
            assert told.names == (surface.regions[region].name,) and told.count == 1
            assert row["wished"] == pytest.approx(far * got) and row["got"] == pytest.approx(got, rel=1e-6)


def test_a_dab_that_no_side_of_a_patch_sees_is_told_with_the_edges_that_the_mesh_has_there() -> None:
    made = build(ball(), options=replace(OPTIONS, size_dabs=(DAB,)))
    (told,) = off(made.findings)
    assert "at (0, 0, 1) 0.03 was asked for, and edges come out about 0." in told.text
    assert "closed flow line just round" in told.text
    (row,) = rows(told)
    corners = made.mesh.positions[made.mesh.quads]
    near = corners[np.linalg.norm(corners.mean(axis=1) - HIGH, axis=1) <= DAB.radius]
    edges = np.linalg.norm(near - np.roll(near, -1, axis=1), axis=2)
    assert edges.mean() > 1.25 * DAB.length
    assert row["got"] == pytest.approx(edges.mean(), rel=0.3)
    assert not off(plan(ball(), options=OPTIONS).findings)


def test_what_is_told_to_free_it_does() -> None:
    turn = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
    ring = np.stack([0.3 * np.cos(turn), 0.3 * np.sin(turn), np.full(24, np.sqrt(1 - 0.3**2))], axis=1)
    line = FlowLine(tuple(map(tuple, ring.tolist())), closed=True, name="round")
    assert not off(
        plan(ball(), options=replace(OPTIONS, size_dabs=(replace(DAB, length=0.04),), lines=(line,))).findings
    )
    assert off(plan(ball(), options=replace(OPTIONS, size_dabs=(replace(DAB, length=0.04),))).findings)


def test_sizes_at_vertices_are_judged_as_dabs_are() -> None:
    sculpt = ball()
    inside = np.linalg.norm(sculpt.positions - HIGH, axis=1) <= DAB.radius
    sizes = np.where(inside, DAB.length, 0.0)
    one, other = (
        off(plan(sculpt, options=replace(OPTIONS, **wish)).findings)
        for wish in ({"size_dabs": (DAB,)}, {"vertex_sizes": sizes})
    )
    a, b = (rows(told[0])[0] for told in (one, other))
    assert a["wished"] == pytest.approx(b["wished"]) and a["got"] == pytest.approx(b["got"], rel=0.2)
    place = np.array([float(x) for x in b["at"].strip("()").split(",")])
    assert np.linalg.norm(place - HIGH) < DAB.radius
