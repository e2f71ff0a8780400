"""Views show what they say, for a sculpt of any size and place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from loopwright.report.choose_views import choose_close_ups, choose_views, find_openings
from loopwright.report.picture import View
from loopwright.types import FloatArray, MirrorPlane, QuadMesh


def place(view: View, points: FloatArray) -> FloatArray:
    """Return (n, 2) places in the picture, from -1 to 1, right and up."""
    towards, up = np.array(view.direction), np.array(view.up)
    frame = np.stack([np.cross(up, towards), up])
    placed: FloatArray = (points - np.array(view.focus)) @ frame.T / view.half_height
    return placed


@pytest.mark.parametrize("size", [1e-4, 1.0, 1e5])
def test_every_view_holds_every_point_and_is_filled(mesh: QuadMesh, size: float) -> None:
    points = mesh.positions * [1, 1.4, 0.8] * size + 3 * size
    views = choose_views(points, mesh.mirror)
    assert list(views) == ["front", "three_quarter", "side", "back", "top", "under"]
    for view in views.values():
        placed = place(view, points)
        assert 0.9 < np.abs(placed).max() < 1
        assert np.isclose(np.linalg.norm(view.direction), 1) and np.isclose(np.dot(view.direction, view.up), 0)


def test_the_front_view_has_x_to_the_right_and_y_up(mesh: QuadMesh) -> None:
    view = choose_views(mesh.positions, mesh.mirror)["front"]
    right, up = place(view, np.array([[0.5, 0, 0], [0, 0.5, 0]]))
    assert right[0] > 0 and abs(right[1]) < 1e-9 and up[1] > 0 and abs(up[0]) < 1e-9


@pytest.mark.parametrize(("normal", "forward"), [((1, 0, 0), 2), ((-1, 0, 0), 2), ((0, 0, 1), 0), ((0.1, 0, -0.99), 0)])
def test_the_side_view_shows_the_kept_half(mesh: QuadMesh, normal: tuple[float, ...], forward: int) -> None:
    plane = MirrorPlane(np.array(normal) / np.linalg.norm(normal), 0.0)
    views = choose_views(mesh.positions, plane)
    assert np.dot(views["side"].direction, plane.normal) > 0.9
    assert np.dot(views["three_quarter"].direction, plane.normal) > 0.5
    assert views["front"].direction[forward] == 1


def test_mirrored_openings_are_shown_once(mesh: QuadMesh, closed_mesh: QuadMesh) -> None:
    (kept,) = find_openings(mesh)
    both = find_openings(replace(mesh, mirror=None))
    assert len(both) == 2 and kept.center[0] > 0 and kept.has_image
    assert find_openings(closed_mesh) == ()
    assert np.dot(kept.normal, [1, 0, 0]) > 0.99
    ring = mesh.positions[kept.vertices]
    assert np.allclose(np.linalg.norm(ring - kept.center, axis=1).max(), kept.radius)
    steps = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    assert steps.max() < 0.3  # neighbours in the loop are neighbours in space


def test_openings_that_no_image_is_like_are_shown_on_both_sides(mesh: QuadMesh) -> None:
    (kept,) = find_openings(mesh)
    far = next(o for o in find_openings(replace(mesh, mirror=None)) if o.center[0] < 0)
    moved = mesh.positions.copy()
    moved[far.vertices[0]] *= 1.02
    shut = mesh.quads[~np.isin(mesh.quads, far.vertices[:1]).any(axis=1)]  # the faces at a vertex of its rim are gone
    for other in (replace(mesh, positions=moved), replace(mesh, quads=shut, quad_region=mesh.quad_region[: len(shut)])):
        found = find_openings(other)
        assert len(found) == 2 and sorted(o.center[0] > 0 for o in found) == [False, True]
        assert not any(o.has_image for o in found)
        near = next(o for o in found if o.center[0] > 0)
        assert sorted(near.vertices) == sorted(kept.vertices)


def test_a_close_up_holds_the_opening(mesh: QuadMesh) -> None:
    for opening, view in choose_close_ups(mesh):
        placed = place(view, mesh.positions[opening.vertices])
        assert 0.3 < np.abs(placed).max() < 0.8
