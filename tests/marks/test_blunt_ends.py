"""Where regions run out too thin for a face: what ends, where, and what has to stay."""

from collections.abc import Callable

import numpy as np
import pytest
from tests.conftest import middles, painted, rectangle

from loopwright.marks.blunt_ends import Blunted, blunt_ends
from loopwright.surface.edges import build_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, MirrorPlane, RegionSurface

Area = Callable[[FloatArray], BoolArray]
WIDTH, EDGE = 0.2, 0.3
STEP = 0.02


def sheet(*inside: Area, mirror: MirrorPlane | None = None) -> RegionSurface:
    """A sheet of 3 by 4 round the x axis from x = 0: below the axis area 0, above it 1, and areas drawn over them."""
    points, faces = rectangle(150, 200, 3.0, 4.0)
    points = points - np.array([0.0, 2.0, 0.0])
    middle = middles(points, faces)
    label = (middle[:, 1] > 0).astype(np.int32)
    for number, draw in enumerate(inside):
        label[draw(middle)] = 2 + number
    return painted((points, faces), label, mirror=mirror)


def wedge(slope: float, tip: float = 0.5) -> Area:
    """An area that opens from its tip on the axis towards x = 3, by this slope to either side."""
    return lambda p: (p[:, 0] > tip) & (np.abs(p[:, 1]) < np.maximum(slope * (p[:, 0] - tip), STEP))


def blunted(surface: RegionSurface, width: float = WIDTH) -> Blunted:
    edge = np.full(len(surface.positions), EDGE)
    return blunt_ends(surface, edge, width / EDGE, SurfaceProjector(surface.positions, surface.triangles))


def area_points(surface: RegionSurface, region: int) -> FloatArray:
    return middles(surface.positions, surface.triangles[surface.triangle_region == region])


def test_a_thin_wedge_ends_where_a_disc_of_the_width_fits() -> None:
    # a disc of diameter w touches both sides of a wedge of half angle a where its centre is w / (2 sin a) from the tip
    slope = np.tan(np.deg2rad(8.0))
    before = sheet(wedge(slope))
    after = blunted(before).surface
    centre = 0.5 + 0.5 * WIDTH / np.sin(np.deg2rad(8.0))
    end = area_points(after, 2)[:, 0].min()
    assert centre - 0.5 * WIDTH - 3 * STEP <= end <= centre + STEP
    beyond = area_points(before, 2)[:, 0] > centre + WIDTH
    assert (area_points(after, 2)[:, 0] > centre + WIDTH).sum() == beyond.sum()


def test_each_neighbour_gets_its_half_along_a_straight_border() -> None:
    after = blunted(sheet(wedge(np.tan(np.deg2rad(8.0))))).surface
    end = area_points(after, 2)[:, 0].min()
    assert area_points(after, 0)[:, 1].max() < STEP
    assert area_points(after, 1)[:, 1].min() > -STEP
    table = build_edges(after.triangles, len(after.positions))
    sides = after.triangle_region[table.edge_triangles]
    lines = after.positions[table.edges[~table.is_boundary() & (np.sort(sides) == (0, 1)).all(axis=1)]].reshape(-1, 3)
    inside = lines[(lines[:, 0] > 0.6) & (lines[:, 0] < end - WIDTH)]
    assert len(inside) > 10
    assert np.abs(inside[:, 1]).max() < 0.5 * STEP


def test_the_end_is_told_and_no_triangle_is_turned_over() -> None:
    found = blunted(sheet(wedge(np.tan(np.deg2rad(8.0)))))
    assert len(found.places) == 1
    assert 0.5 < found.places[0, 0] < 1.2
    p = found.surface.positions[found.surface.triangles]
    assert (np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])[:, 2] > 0).all()


@pytest.mark.parametrize(
    "area",
    [
        pytest.param(wedge(np.tan(np.deg2rad(30.0))), id="a plain corner"),
        pytest.param(lambda p: np.abs(p[:, 1]) < 0.05, id="a strip that is thin everywhere"),
        pytest.param(lambda p: np.abs(p[:, 1]) < 0.04 + 0.3 * np.abs(p[:, 0] - 1.5), id="a neck between wide parts"),
        pytest.param(lambda p: np.abs(p[:, 1]) < 0.12, id="a strip that is wide enough"),
    ],
)
def test_what_stays(area: Area) -> None:
    before = sheet(area)
    found = blunted(before)
    assert len(found.places) == 0
    assert found.surface is before


def test_what_is_thin_where_it_crosses_the_mirror_plane_stays() -> None:
    # with its image such an area is a neck between two wide parts
    def area(p: FloatArray) -> BoolArray:
        near: BoolArray = np.abs(p[:, 1]) < 0.05 + 0.1 * p[:, 0]
        return near

    plane = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)
    assert len(blunted(sheet(area, mirror=plane)).places) == 0
    assert len(blunted(sheet(area)).places) == 1


def test_a_ring_keeps_its_thin_side() -> None:
    def ring(p: FloatArray) -> BoolArray:
        out = np.hypot(p[:, 0] - 1.5, p[:, 1]) < 0.45
        hole = np.hypot(p[:, 0] - 1.5, p[:, 1] - 0.12) < 0.28
        return out & ~hole

    assert len(blunted(sheet(ring)).places) == 0
