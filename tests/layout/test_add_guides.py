"""Guides: one closed line round what has no border, and rings that climb what stands out."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import (
    EDGE,
    compact,
    flat_disc,
    globe,
    hemisphere,
    horn,
    link,
    painted,
    ring_torus,
    surface_of,
    turned,
)

from loopwright.layout.add_guides import add_guides, halve_parts
from loopwright.layout.border_graph import constrained_edges, node_mask
from loopwright.layout.flat_stretch import flat_stretch
from loopwright.layout.piece import cut_open
from loopwright.layout.ring_forms import GuideOptions
from loopwright.surface.half_edges import edge_keys
from loopwright.types import MirrorPlane, RegionSurface


def guided(surface: RegionSurface, size: float = EDGE, **choices: float) -> RegionSurface:
    options = GuideOptions(**choices)  # type: ignore[arg-type]
    out, sizes = add_guides(surface, np.full(len(surface.positions), size), options=options)
    assert len(sizes) == len(out.positions) == len(out.on_mirror)
    assert np.allclose(sizes, size)
    before, after = link(surface.triangles, len(surface.positions)), link(out.triangles, len(out.positions))
    assert (before.euler, before.rims, before.components) == (after.euler, after.rims, after.components)
    assert areas(out) == pytest.approx(areas(surface), rel=1e-9)  # edges are split, nothing moves
    assert np.array_equal(out.positions[: len(surface.positions)], surface.positions)
    return out


def areas(surface: RegionSurface) -> list[float]:
    p = surface.positions[surface.triangles]
    area = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1) / 2
    out: list[float] = np.bincount(surface.triangle_region, area).tolist()
    return out


def ring_count(surface: RegionSurface) -> int:
    """The number of closed lines among the guides; fails where one has an end or branches."""
    edges = np.unique(np.sort(surface.guide_edges, axis=1), axis=0)
    degree = np.bincount(edges.ravel(), minlength=len(surface.positions))
    assert (degree[surface.on_mirror] <= 1).all()
    assert set(degree[~surface.on_mirror].tolist()) <= {0, 2}
    follow: dict[int, list[int]] = {}
    for a, b in edges.tolist():
        follow.setdefault(a, []).append(b)
        follow.setdefault(b, []).append(a)
    rings = 0
    left = set(follow)
    while left:
        rings += 1
        stack = [left.pop()]
        while stack:
            fresh = [v for v in follow[stack.pop()] if v in left]
            left -= set(fresh)
            stack += fresh
    return rings


@pytest.mark.parametrize("name", ["plain sphere", "plain torus"])
def test_a_closed_part_without_borders_gets_a_line(name: str) -> None:
    assert ring_count(guided(surface_of(name))) >= 1


def test_the_line_lies_half_way_along_the_longest_axis() -> None:
    points, triangles = globe(12)
    out = guided(painted((points * np.array([1.0, 1.0, 1.9]), triangles)), least_stretch=99.0)
    assert ring_count(out) == 1
    assert np.abs(out.positions[out.guide_edges][..., 2]).max() < 0.1


def test_flat_parts_get_none() -> None:
    for net in (flat_disc(12), turned(12, lambda t: (t, 0.05 * np.cos(3 * t)))):
        assert len(guided(painted(net)).guide_edges) == 0


def test_input_stays_as_it_was() -> None:
    surface = surface_of("horn")
    before = surface.positions.copy(), surface.triangles.copy()
    add_guides(surface, np.full(len(surface.positions), EDGE))
    assert np.array_equal(before[0], surface.positions) and np.array_equal(before[1], surface.triangles)


def test_rings_climb_a_horn_and_lie_level() -> None:
    rings = []
    for length in (1.0, 3.0, 5.0):
        out = guided(painted(horn(24, length)))
        rings.append(ring_count(out))
        ends = out.positions[out.guide_edges]
        assert np.abs(ends[:, 0, 2] - ends[:, 1, 2]).max() < 0.3
    assert 1 <= rings[0] < rings[1] <= rings[2]


def test_rings_stand_at_the_levels_asked_for() -> None:
    # on a tube of radius 1 the stretch is the height itself (derived in test_flat_stretch)
    out = guided(painted(horn(40, 4.0)), base=1.0, climb=1.0, most_rings=3)
    assert ring_count(out) == 3
    heights = out.positions[np.unique(out.guide_edges), 2]
    assert np.abs(heights - np.rint(heights)).max() < 0.12
    assert set(np.rint(heights).astype(int).tolist()) == {1, 2, 3}


def test_rings_too_short_for_their_edges_are_left_out() -> None:
    assert len(guided(painted(horn(24, 3.0)), size=5.0).guide_edges) == 0


def test_a_half_horn_gets_half_rings_from_plane_to_plane() -> None:
    net = horn(24, 3.0)
    points, triangles = compact(*net, net[0][net[1]].mean(axis=1)[:, 0] > 0)
    points[np.abs(points[:, 0]) < 1e-12, 0] = 0.0
    out = guided(painted((points, triangles), mirror=MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)))
    assert ring_count(out) == ring_count(guided(painted(net)))
    assert np.bincount(out.guide_edges.ravel())[out.on_mirror[: out.guide_edges.max() + 1]].sum() == 2 * ring_count(out)
    assert (out.positions[out.on_mirror, 0] == 0).all()


def test_a_torus_keeps_its_handle() -> None:
    out = guided(painted(ring_torus(40, 20)))
    assert link(out.triangles, len(out.positions)).euler == 0


@pytest.mark.parametrize("name", ["sphere with holes", "quilt", "half sphere at a mirror", "torus in sectors"])
def test_halving_a_part_leaves_its_neighbours_and_meets_no_junction(name: str) -> None:
    surface = surface_of(name)
    count = len(surface.positions)
    constrained = constrained_edges(surface)
    parts = cut_open(surface.triangles, edge_keys(constrained.edges, count), count)[2].max() + 1
    junctions = set(np.flatnonzero(node_mask(constrained, count)).tolist())
    for part in range(int(parts)):
        out, sizes = halve_parts(surface, np.full(count, EDGE), [part])
        assert len(out.guide_edges) > len(surface.guide_edges)
        assert len(sizes) == len(out.positions)
        before, after = link(surface.triangles, count), link(out.triangles, len(out.positions))
        assert (before.euler, before.rims, before.components) == (after.euler, after.rims, after.components)
        assert areas(out) == pytest.approx(areas(surface), rel=1e-9)
        fresh = set(map(tuple, np.sort(out.guide_edges, axis=1).tolist()))
        fresh -= set(map(tuple, np.sort(surface.guide_edges, axis=1).tolist()))
        assert junctions.isdisjoint(v for edge in fresh for v in edge)
        kept = constrained_edges(out)
        assert len(kept.edges) - len(fresh) == len(constrained.edges)  # borders are crossed at vertices


def leaning(by: float) -> RegionSurface:
    """A dome whose top is moved to the side by so many of its radii."""
    points, triangles = hemisphere(28)
    return painted((points + by * points[:, 2:] * np.array([1.0, 0.0, 0.0]), triangles))


def test_what_hangs_over_gets_a_ring_from_a_lower_height_on() -> None:
    surface = leaning(1.0)
    rise = flat_stretch(surface.positions, surface.triangles, surface.on_mirror, blur=EDGE).max()
    assert 0.6 < rise < 1.0
    # 4 % of what its ring would climb is turned away (measured)
    assert ring_count(guided(surface, least_overhang=0.03)) == 1
    assert ring_count(guided(surface, least_overhang=0.06)) == 0
    assert ring_count(guided(leaning(0.0), least_overhang=0.001)) == 0  # rises by log 2 (derived), and hangs nowhere
