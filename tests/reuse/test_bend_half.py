"""The mirror image of a half comes over the other half, whose shape and paint were moved by a known map."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import globe, middles, painted, surface_of

from loopwright.errors import InternalError
from loopwright.reuse.bend_half import bend_half
from loopwright.surface.edges import build_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, MirrorPlane, Paint, RegionSurface

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
    bent = bend_half(replace(half, regions=half.regions), sculpt, bare, IS_OPEN[:1])
    top = half.positions[:, 0] > np.percentile(half.positions[:, 0], 97)
    error = np.linalg.norm(bent.carry(image[top]) - moved(image[top]), axis=1).mean()
    nearest = np.linalg.norm(sculpt.project(image[top]).points - moved(image[top]), axis=1).mean()
    assert error < 0.6 * nearest


def test_a_surface_without_a_mirror_plane_has_no_half(sculpt: SurfaceProjector, paint: Paint) -> None:
    with pytest.raises(InternalError, match="no mirror plane"):
        bend_half(surface_of("sphere with caps"), sculpt, paint, IS_OPEN)
