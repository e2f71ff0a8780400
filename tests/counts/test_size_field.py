"""Wished edge lengths: the budget, what was asked for, and what follows the shape."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import SURFACES, a_rotation, flat_disc, moved, painted, surface_of, tube, turned, zones

from loopwright.counts.paint_sizes import paint_sizes
from loopwright.counts.size_field import bending, mean_size, region_widths, size_field
from loopwright.errors import MarksError
from loopwright.types import FloatArray, RegionSurface, Sculpt
from loopwright.wishes import SizeDab


def areas(surface: RegionSurface) -> FloatArray:
    p = surface.positions[surface.triangles]
    out: FloatArray = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1) / 2
    return out


def load(surface: RegionSurface, size: FloatArray) -> float:
    """How many squares of the wished size cover the surface."""
    return float((areas(surface) / size[surface.triangles].mean(axis=1) ** 2).sum())


@pytest.mark.parametrize("name", SURFACES)
@pytest.mark.parametrize("faces", [150, 2000])
def test_the_sizes_give_the_budget(name: str, faces: int) -> None:
    surface = surface_of(name)
    size = size_field(surface, faces)
    assert size.shape == (len(surface.positions),) and (size > 0).all()
    assert load(surface, size) == pytest.approx(faces, rel=0.02)
    assert mean_size(surface, faces) == pytest.approx(np.sqrt(areas(surface).sum() / faces))


@pytest.mark.parametrize("name", ["sphere with caps", "horn", "half tube at a mirror"])
def test_place_and_scale(name: str) -> None:
    surface = surface_of(name)
    again = size_field(moved(surface, a_rotation(), 20.0, [1.0, -5.0, 3.0]), 300)
    assert np.allclose(again, 20.0 * size_field(surface, 300), rtol=1e-6)


def test_asked_sizes_are_kept_inside_their_region() -> None:
    surface = surface_of("quilt")
    size = size_field(surface, 600, sizes={2: 0.03})
    assert np.median(size[surface.positions[:, 0] > 1.3]) == pytest.approx(0.03, rel=0.1)
    assert load(surface, size) > 1.0 / 0.03**2 * 0.8


def test_painted_sizes_win_over_asked_ones() -> None:
    surface = surface_of("quilt")
    painted_size = np.where(surface.positions[:, 0] > 1.6, 0.02, 0.0)
    size = size_field(surface, 4000, sizes={2: 0.05}, painted=painted_size)
    assert np.median(size[surface.positions[:, 0] > 1.8]) == pytest.approx(0.02, rel=0.1)


@pytest.mark.parametrize("length", [0.06, 0.15])
@pytest.mark.parametrize("name", ["sphere in rings", "half sphere at a mirror", "quilt"])
def test_asked_sizes_are_kept_up_to_the_border_and_the_rest_takes_the_budget_left(name: str, length: float) -> None:
    surface = surface_of(name)
    size = size_field(surface, 4000, sizes={1: length})
    inside = surface.triangles[surface.triangle_region == 1]
    assert np.allclose(size[inside], length)
    assert load(surface, size) == pytest.approx(4000, rel=0.02)


def test_a_dab_is_kept_wherever_it_covers_whole_triangles() -> None:
    surface = surface_of("quilt")
    dab = SizeDab((0.5, 0.5, 0.0), 0.2, 0.01)
    out = paint_sizes(surface, [dab], Sculpt(surface.positions, surface.triangles), None)
    assert out is not None
    inside = surface.triangles[(out[surface.triangles] > 0).all(axis=1)]
    assert len(inside) > 10
    assert np.allclose(size_field(surface, 4000, painted=out)[inside], dab.length)


def test_sharper_bends_get_shorter_edges() -> None:
    points, triangles = turned(30, lambda t: (t, 0.5 * np.exp(-30 * t**2)))
    surface = painted((points, triangles))
    size = size_field(surface, 800)
    reach = np.linalg.norm(points[:, :2], axis=1)
    assert size[reach < 0.15].mean() < 0.7 * size[reach > 0.7].mean()


def test_narrow_regions_get_shorter_edges() -> None:
    surface = surface_of("sphere in rings")
    size = size_field(surface, 500)
    label = np.zeros(len(size), int)
    label[surface.triangles.ravel()] = np.repeat(surface.triangle_region, 3)
    assert size[label == 1].mean() < size[label == 2].mean()


def test_bending_of_a_tube_is_one_over_its_radius() -> None:
    # the turn of the normal over a length is the curvature 1/R (definition); flat: none
    for radius in (1.0, 4.0):
        points, triangles = tube(80, 40)
        surface = painted((points * radius, triangles))
        assert np.median(bending(surface, areas(surface))) == pytest.approx(1 / radius, rel=0.5)
    flat = painted(flat_disc(12))
    assert np.abs(bending(flat, areas(flat))).max() < 1e-9


def test_width_of_a_cap_is_its_diameter_along_the_surface() -> None:
    surface = surface_of("sphere with caps")
    component, width = region_widths(surface)
    net = surface.positions, surface.triangles
    cap = component[np.flatnonzero(zones(net, 45.0) == 0)[0]]
    # along edges, so never shorter than along the surface: 2 R t with t = 45 degrees, or the disc of its area
    assert 0.9 * 2 * np.pi / 4 < width[cap] < 1.2 * 2 * np.pi / 4
    assert len(width) == component.max() + 1 == 3


def test_dabs_touch_their_ball_and_later_ones_win() -> None:
    surface = surface_of("quilt")
    sculpt = Sculpt(surface.positions, surface.triangles)
    dabs = [SizeDab((0.5, 0.5, 0.0), 0.3, 0.1), SizeDab((0.5, 0.5, 0.0), 0.1, 0.05)]
    out = paint_sizes(surface, dabs, sculpt, None)
    assert out is not None
    away = np.linalg.norm(surface.positions - [0.5, 0.5, 0.0], axis=1)
    assert (out[away > 0.31] == 0).all() and (out[away < 0.09] == 0.05).all()
    assert (out[(away > 0.11) & (away < 0.29)] == 0.1).all()
    assert paint_sizes(surface, [], sculpt, None) is None


def test_dabs_beside_the_surface_and_sizes_of_another_sculpt_are_told() -> None:
    surface = surface_of("quilt")
    sculpt = Sculpt(surface.positions, surface.triangles)
    with pytest.raises(MarksError, match="touches no part"):
        paint_sizes(surface, [SizeDab((9.0, 0.0, 0.0), 0.1, 0.1)], sculpt, None)
    with pytest.raises(MarksError, match="3 painted sizes"):
        paint_sizes(surface, [], sculpt, np.ones(3))


def test_dabs_on_the_other_half_count() -> None:
    surface = surface_of("half sphere at a mirror")
    sculpt = Sculpt(surface.positions, surface.triangles)
    left, right = (paint_sizes(surface, [SizeDab((x, 0.3, 0.0), 0.4, 0.05)], sculpt, None) for x in (-0.9, 0.9))
    assert left is not None and right is not None and np.array_equal(left, right) and (left > 0).any()
