"""The mirror image of a half comes over the other half, whose shape and paint were moved by a known map."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import globe, mesh_of, middles, painted, surface_of

from loopwright.errors import InternalError
from loopwright.fit.own_sides import own_sides
from loopwright.fit.reflect import reflect_half
from loopwright.options import BuildOptions
from loopwright.pipeline import BuildResult, build
from loopwright.reuse.bend_half import bend_half
from loopwright.surface.edges import build_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, MirrorPlane, Paint, RegionSurface, Sculpt

ROWS = 40
X_PLANE = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)
COLORS = np.array([(200, 60, 60), (60, 60, 200), (60, 200, 60), (20, 20, 20)], np.uint8)
IS_OPEN = np.array([False, False, False, True])
EAR = np.array([0.9, 0.25, 0.15])


def labels_of(points: FloatArray) -> IntArray:
    """A cap above, an ear with a ring round its opening on each side, and the rest."""
    labels = np.where(points[:, 1] > 0.72, 1, 0)
    side = np.abs(points * [1, 0, 0]) + points * [0, 1, 1]
    away = np.linalg.norm(side - EAR / np.linalg.norm(EAR), axis=1)
    labels[away < 0.42] = 2
    labels[away < 0.2] = 3
    return labels.astype(np.int32)


def shaped(points: FloatArray) -> FloatArray:
    """The ear stands off."""
    side = np.abs(points * [1, 0, 0]) + points * [0, 1, 1]
    away = np.linalg.norm(side - EAR / np.linalg.norm(EAR), axis=1)
    out: FloatArray = points * (1.0 + 0.35 * np.exp(-((away / 0.3) ** 2)))[:, None] * [0.8, 1.1, 1.0]
    return out


def moved(points: FloatArray) -> FloatArray:
    """One side, x < 0, turned upwards and out, ever more from the mirror plane on."""
    part = np.clip(-points[:, 0], 0.0, None)[:, None]
    out: FloatArray = points + part**2 * np.array([-0.12, 0.32, 0.1])
    return out


@pytest.fixture(scope="module")
def half() -> RegionSurface:
    points, faces = globe(ROWS)
    face = labels_of(middles(points, faces))
    keep = (middles(points, faces)[:, 0] > 0) & (face < 3)
    used, inverse = np.unique(faces[keep], return_inverse=True)
    net = np.ascontiguousarray(points[used]), inverse.reshape(-1, 3).astype(np.int32)
    surface = painted(net, face[keep], mirror=X_PLANE)
    regions = tuple(replace(region, color=tuple(COLORS[k].tolist())) for k, region in enumerate(surface.regions))
    return replace(surface, positions=shaped(surface.positions), regions=regions)


@pytest.fixture(scope="module")
def sculpt() -> SurfaceProjector:
    points, faces = globe(ROWS + 13)
    return SurfaceProjector(moved(shaped(points)), faces)


@pytest.fixture(scope="module")
def paint() -> Paint:
    return Paint(COLORS, labels_of(globe(ROWS + 13)[0]))


def border_vertices(surface: RegionSurface) -> IntArray:
    """Vertices with triangles of two regions, and those on rims off the mirror plane."""
    edges = build_edges(surface.triangles, len(surface.positions))
    first, second = edges.edge_triangles.T
    is_rim = second < 0
    parts = ~is_rim & (surface.triangle_region[first] != surface.triangle_region[np.maximum(second, 0)])
    in_plane = surface.on_mirror[edges.edges].all(axis=1)
    return np.unique(edges.edges[parts | (is_rim & ~in_plane)])


def test_borders_and_shape_come_to_where_the_other_side_has_them(
    half: RegionSurface, sculpt: SurfaceProjector, paint: Paint
) -> None:
    bent = bend_half(half, sculpt, paint, IS_OPEN)
    image = X_PLANE.reflect(half.positions)
    truth = moved(image)
    borders = border_vertices(half)
    error = np.linalg.norm(bent.carry(image[borders]) - truth[borders], axis=1)
    nearest = np.linalg.norm(sculpt.project(image[borders]).points - truth[borders], axis=1)
    assert np.percentile(nearest, 95) > 0.2, "plain nearest points are to be far off"
    assert np.percentile(error, 95) < 0.08, "the sculpt's triangles, along which its paint runs, are 0.03 wide"
    everywhere = np.linalg.norm(bent.carry(image) - truth, axis=1)
    assert np.percentile(everywhere, 95) < 0.08


def test_the_mirror_plane_stays(half: RegionSurface, sculpt: SurfaceProjector, paint: Paint) -> None:
    bent = bend_half(half, sculpt, paint, IS_OPEN)
    middle = half.on_mirror
    assert np.abs(bent.moved[middle] - half.positions[middle]).max() < 0.02


def test_a_side_that_is_a_mirror_image_is_left_where_it_is(half: RegionSurface, paint: Paint) -> None:
    points, faces = globe(ROWS + 13)
    sculpt = SurfaceProjector(shaped(points), faces)
    image = X_PLANE.reflect(half.positions)
    away = np.linalg.norm(bend_half(half, sculpt, paint, IS_OPEN).carry(image) - image, axis=1)
    assert np.percentile(away, 95) < 0.07, "the paint of the two is the same to within the width of their triangles"


def test_without_paint_the_shape_alone_leads(half: RegionSurface, sculpt: SurfaceProjector) -> None:
    bare = Paint(COLORS[:1], np.zeros(len(sculpt.positions), np.int32))
    image = X_PLANE.reflect(half.positions)
    bent = bend_half(half, sculpt, bare, IS_OPEN[:1])
    top = half.positions[:, 0] > np.percentile(half.positions[:, 0], 97)
    error = np.linalg.norm(bent.carry(image[top]) - moved(image[top]), axis=1).mean()
    nearest = np.linalg.norm(sculpt.project(image[top]).points - moved(image[top]), axis=1).mean()
    assert error < 0.6 * nearest


def test_a_surface_without_a_mirror_plane_has_no_half(sculpt: SurfaceProjector, paint: Paint) -> None:
    with pytest.raises(InternalError, match="no mirror plane"):
        bend_half(surface_of("sphere with caps"), sculpt, paint, IS_OPEN)


def stripe(width: float, shift: float) -> tuple[RegionSurface, SurfaceProjector, Paint]:
    """A globe with a stripe round its middle, which lies higher by ``shift`` on the one side, x < 0."""
    points, faces = globe(ROWS)
    centre = middles(points, faces)
    keep = centre[:, 0] > 0
    used, inverse = np.unique(faces[keep], return_inverse=True)
    net = np.ascontiguousarray(points[used]), inverse.reshape(-1, 3).astype(np.int32)
    half = painted(net, (np.abs(centre[keep, 1]) < 0.5 * width).astype(np.int32), mirror=X_PLANE)
    regions = tuple(replace(region, color=tuple(COLORS[k].tolist())) for k, region in enumerate(half.regions))
    whole, whole_faces = globe(2 * ROWS)
    at = whole[:, 1] - shift * np.clip(-3.0 * whole[:, 0], 0.0, 1.0)
    paint = Paint(COLORS, (np.abs(at) < 0.5 * width).astype(np.int32))
    return replace(half, regions=regions), SurfaceProjector(whole, whole_faces), paint


@pytest.mark.parametrize("shift", [0.1, 0.2])
def test_both_sides_of_a_stripe_go_to_their_own_side_of_it(shift: float) -> None:
    """The nearest place where the two colours meet is the stripe's other side."""
    half, projector, paint = stripe(0.2, shift)
    image = X_PLANE.reflect(half.positions)
    ids = border_vertices(half)
    ids = ids[image[ids, 0] < -0.5]
    there = bend_half(half, projector, paint, IS_OPEN).carry(image[ids])
    above, below = (there[sign * image[ids, 1] > 0, 1] for sign in (1.0, -1.0))
    assert above.mean() - below.mean() == pytest.approx(0.2, abs=0.05)
    assert 0.5 * (above.mean() + below.mean()) == pytest.approx(shift, abs=0.05)


def test_specks_lead_no_border() -> None:
    half, projector, paint = stripe(0.5, 0.1)
    rng = np.random.default_rng(5)
    color = paint.color.copy()
    far = np.flatnonzero((projector.positions[:, 0] < -0.4) & (np.abs(projector.positions[:, 1]) < 0.6))
    specks = rng.choice(far, 40, replace=False)
    color[specks] = 1 - color[specks]
    image = X_PLANE.reflect(half.positions)
    ids = border_vertices(half)
    clean, specked = (
        bend_half(half, projector, replace(paint, color=each), IS_OPEN).carry(image[ids])
        for each in (paint.color, color)
    )
    assert np.linalg.norm(clean - specked, axis=1).max() < 0.05


@pytest.fixture(scope="module")
def built() -> BuildResult:
    points, faces = globe(ROWS + 13)
    colors = COLORS[labels_of(points)]
    sculpt = Sculpt(moved(shaped(points)), faces, colors, "ears")
    wishes = BuildOptions(budget=1500, mirror="x", mirror_shape=False, leave_open=((20, 20, 20),), proxy_faces=12_000)
    return build(sculpt, options=wishes)


def test_a_build_finds_the_ear_that_stands_higher(built: BuildResult) -> None:
    assert built.mesh.mirror is None and "folded" not in {finding.kind for finding in built.findings}
    mesh = built.mesh
    sides = np.sort(np.stack([mesh.quads, np.roll(mesh.quads, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    edges, uses = np.unique(sides, axis=0, return_counts=True)
    rim = mesh.positions[np.unique(edges[uses == 1])]
    points, faces = globe(ROWS + 13)
    colors, corners = labels_of(points), moved(shaped(points))[faces]
    at_rim = (colors[faces] == 3).any(axis=1) & (colors[faces] != 3).any(axis=1)
    border = corners[at_rim].mean(axis=1)
    edge = np.linalg.norm(np.diff(mesh.positions[edges], axis=1)[:, 0], axis=1).mean()
    for side in (rim[:, 0] > 0, rim[:, 0] < 0):
        away = np.linalg.norm(rim[side][:, None] - border[None], axis=2).min(axis=1)
        assert side.sum() >= 8 and away.max() < 0.6 * edge


def test_only_the_far_half_is_carried(half: RegionSurface) -> None:
    """What the map does to points of the near half, or of the mirror plane, is not asked."""
    points, faces = globe(ROWS)
    sculpt = SurfaceProjector(moved(points), faces)
    asked: list[FloatArray] = []

    def carry(places: FloatArray) -> FloatArray:
        asked.append(places)
        return sculpt.project(moved(places)).points

    whole = own_sides(mesh_of("half sphere at a mirror"), sculpt, carry=carry)
    assert len(asked) == 1 and (asked[0][:, 0] < 0).all()
    near = whole.positions[:, 0] > 0.05
    assert near.sum() > 0.4 * len(near)
    assert len(whole.positions) == len(reflect_half(mesh_of("half sphere at a mirror")).positions)
