"""Where regions run out too thin for a face: what ends, where, and what has to stay."""

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from tests.conftest import compact, middles, painted, rectangle

from loopwright.marks.blunt_ends import RIM, Blunted, blunt_ends
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


def blunted(surface: RegionSurface, kept: Sequence[frozenset[int]] = ()) -> Blunted:
    edge = np.full(len(surface.positions), EDGE)
    projector = SurfaceProjector(surface.positions, surface.triangles)
    return blunt_ends(surface, edge, WIDTH / EDGE, projector, kept)


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
    assert found.regions.tolist() == [2]
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
        pytest.param(lambda p: np.abs(p[:, 1]) < np.clip(p[:, 0] - 2.5, 0.05, 0.2), id="a strip that is thin mostly"),
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


def funnel(p: FloatArray) -> BoolArray:
    """An area that narrows towards x = 0.8, where it ends a tenth wide."""
    return (p[:, 0] > 0.8) & (np.abs(p[:, 1]) < 0.05 + 0.1 * (p[:, 0] - 0.8))


def test_an_end_that_alone_meets_another_region_stays_where_their_border_is_pinned() -> None:
    surface = sheet(funnel, lambda p: p[:, 0] < 0.8)
    assert blunted(surface).regions.tolist() == [2]
    assert len(blunted(surface, kept=[frozenset((2, 3))]).places) == 0
    elsewhere = [frozenset((2, 0)), frozenset((2, RIM))]  # they meet without the end, too
    assert blunted(surface, kept=elsewhere).regions.tolist() == [2]


def test_an_end_that_alone_meets_an_opening_stays_where_that_is_pinned() -> None:
    surface = sheet(funnel)
    seen = middles(surface.positions, surface.triangles)[:, 0] > 0.8
    points, faces = compact(surface.positions, surface.triangles, seen)
    wide = middles(points, faces)[:, 0] < 2.5  # so that the wide part meets a region, no rim
    label = np.where(wide, surface.triangle_region[seen], 3)
    opened = painted((points, faces), label)
    assert blunted(opened).regions.tolist() == [2]
    assert len(blunted(opened, kept=[frozenset((2, RIM))]).places) == 0


def test_a_bridge_between_openings_stays() -> None:
    points, faces = rectangle(150, 100, 3.0, 2.0)
    middle = middles(points, faces)
    stays = (middle[:, 0] < 1.0) | (np.abs(middle[:, 1] - 1.0) < 0.07) | (middle[:, 0] > 2.0)
    points, faces = compact(points, faces, stays)
    assert len(blunted(painted((points, faces), (middles(points, faces)[:, 0] > 2.0).astype(np.int32))).places) == 0


def test_many_ends_that_meet_in_a_point_leave_every_region_whole() -> None:
    points, faces = rectangle(120, 120, 2.4, 2.4)
    middle = middles(points, faces) - 1.2
    turn = np.arctan2(middle[:, 1], middle[:, 0])
    before = painted((points, faces), np.floor((turn + np.pi) / (2 * np.pi) * 16 - 1e-9).astype(np.int32))
    found = blunted(before)
    assert len(found.places) > 4
    assert np.array_equal(np.unique(found.surface.triangle_region), np.arange(16))
    assert count_pieces(found.surface) == count_pieces(before)
    p = found.surface.positions[found.surface.triangles]
    assert (np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])[:, 2] > 0).all()


def count_pieces(surface: RegionSurface) -> int:
    table = build_edges(surface.triangles, len(surface.positions))
    sides = table.edge_triangles[~table.is_boundary()]
    same = sides[np.diff(surface.triangle_region[sides], axis=1)[:, 0] == 0]
    m = len(surface.triangles)
    return int(connected_components(coo_matrix((np.ones(len(same)), same.T), shape=(m, m)), directed=False)[0])
