"""What a plan says of its borders is what a pin would ask for, and what the mesh then has."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import FACES, SURFACES, counts_of, double, layout_of, mesh_of, surface_of

from loopwright.counts.count_borders import count_borders, count_openings
from loopwright.counts.counted_layout import CountedLayout
from loopwright.counts.read_pins import border_pins
from loopwright.counts.solve_counts import arc_targets, solve_for_budget
from loopwright.options import Pin
from loopwright.report.expect_faces import expect_faces
from loopwright.types import IntArray

every_surface = pytest.mark.parametrize("name", SURFACES)


def whole_mesh(name: str) -> tuple[IntArray, IntArray]:
    """Return quads and their regions; of a half, with its mirror image."""
    mesh = mesh_of(name)
    if mesh.mirror is None:
        return mesh.quads, mesh.quad_region
    return double(mesh.quads, mesh.on_mirror)[0], np.tile(mesh.quad_region, 2)


@every_surface
def test_segments_are_those_of_the_whole_mesh(name: str) -> None:
    quads, region = whole_mesh(name)
    names = [r.name for r in surface_of(name).regions]
    edges: dict[tuple[int, int], list[str]] = {}
    for quad, k in zip(quads.tolist(), region.tolist(), strict=True):
        for a, b in zip(quad, quad[1:] + quad[:1], strict=True):
            edges.setdefault((min(a, b), max(a, b)), []).append(names[k])
    counted: dict[tuple[str, str], int] = {}
    for sides in edges.values():
        if len(set(sides)) == 2 or len(sides) == 1:
            first, second = sorted(sides) if len(sides) == 2 else (sides[0], "opening")
            counted[first, second] = counted.get((first, second), 0) + 1
    told: dict[tuple[str, str], int] = {}
    for border in count_borders(layout_of(name), counts_of(name)[0]):
        told[border.between] = told.get(border.between, 0) + border.segments * border.times
    assert told == counted
    open_edges = sum(len(sides) == 1 for sides in edges.values())
    assert sum(count_openings(layout_of(name), counts_of(name)[0])) == open_edges


@pytest.mark.parametrize("name", ["sphere with caps", "half tube at a mirror", "half sphere at a mirror", "quilt"])
def test_a_pin_of_what_was_told_changes_nothing(name: str) -> None:
    layout, (counts, _) = layout_of(name), counts_of(name)
    pins = [Pin(*border.between, border.segments) for border in count_borders(layout, counts)]
    unlike = {(pin.region_a, pin.region_b) for pin in pins if any(
        pin.count != other.count and (pin.region_a, pin.region_b) == (other.region_a, other.region_b) for other in pins
    )}  # fmt: skip
    pins = [pin for pin in pins if (pin.region_a, pin.region_b) not in unlike]
    sums = border_pins(layout, pins)
    again, _ = solve_for_budget(layout, arc_targets(layout, layout.vertex_size), FACES, pins=sums)
    assert sums and all(again[list(p.arcs)].sum() == counts[list(p.arcs)].sum() for p in sums)


@every_surface
def test_expected_faces_are_those_of_the_mesh(name: str) -> None:
    faces, edges = expect_faces(CountedLayout(layout_of(name), counts_of(name)[0]), surface_of(name))
    _, region = whole_mesh(name)
    assert faces.tolist() == np.bincount(region, minlength=len(faces)).tolist()
    assert (edges > 0).all()


@every_surface
def test_borders_of_the_same_regions_are_told_apart_by_a_place_that_pins_take(name: str) -> None:
    layout, (counts, _) = layout_of(name), counts_of(name)
    borders = count_borders(layout, counts)
    for border in borders:
        alike = [other for other in borders if other.between == border.between]
        assert (border.near is not None) == (len(alike) > 1)
        if border.near is not None:
            (pin,) = border_pins(layout, [Pin(*border.between, border.segments, border.near)])
            assert pin.count * pin.copies == border.segments == pin.copies * counts[list(pin.arcs)].sum()
