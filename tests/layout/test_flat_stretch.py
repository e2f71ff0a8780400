"""How far from flat: closed forms on spheres and tubes, and the forms that stand out."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import a_rotation, compact, flat_disc, hemisphere, horn, rectangle, turned

from loopwright.layout.flat_stretch import find_forms, flat_stretch, form_above, overhang
from loopwright.types import FloatArray, IntArray, MirrorPlane


def stretch(net: tuple[FloatArray, IntArray]) -> FloatArray:
    return flat_stretch(net[0], net[1], np.zeros(len(net[0]), bool))


def bumps(*centres: float, height: float = 1.2) -> tuple[FloatArray, IntArray]:
    """A flat sheet with hills at these places along x."""
    points, triangles = rectangle(60, 24, 5.0, 2.0)
    hills = [np.exp(-((points[:, 0] - x) ** 2 + (points[:, 1] - 1.0) ** 2) / 0.08) for x in centres]
    points[:, 2] = height * np.sum(hills, axis=0)
    return points, triangles


def test_flat_sheets_have_no_stretch() -> None:
    for net in (flat_disc(12), rectangle(20, 10)):
        u = stretch(net)
        assert np.abs(u).max() < 1e-9
        assert find_forms(u, net[1], 0.1) == []


def test_hemisphere_is_the_stereographic_scale() -> None:
    # g = (4 / (1 + r^2)^2) |dz|^2 with r = tan(t/2); on the rim t = 90 degrees the factor is 1, so
    # exp(2u) = (2 / (1 + r^2))^2 and u = log(1 + cos t): laplace u = -1 (derived)
    points, triangles = hemisphere(24)
    u = stretch((points, triangles))
    assert np.abs(u - np.log(1.0 + points[:, 2])).max() < 0.02


def test_error_falls_as_the_net_gets_finer() -> None:
    errors = []
    for rows in (8, 16, 32):
        points, triangles = hemisphere(rows)
        away = points[:, 2] < 0.95
        errors.append(np.abs(stretch((points, triangles)) - np.log(1.0 + points[:, 2]))[away].max())
    assert errors[2] < errors[1] < errors[0] and errors[2] < 1e-3


@pytest.mark.parametrize("length", [1.0, 3.0])
def test_a_capped_tube_rises_by_one_per_radius(length: float) -> None:
    # the slope along a tube is (curvature above) / (circumference) = 2 pi / (2 pi R); the cap adds log 2 (derived)
    points, triangles = horn(36, length)
    u = stretch((points, triangles))
    exact = np.where(points[:, 2] < length, points[:, 2], length + np.log1p(np.maximum(points[:, 2] - length, 0.0)))
    assert np.abs(u - exact).max() < 0.03 * exact.max()
    (form,) = find_forms(u, triangles, 1.0)
    assert form.summit == 0 and form.saddle == 0.0 and form.top == u.max()


def test_stretch_does_not_depend_on_place_or_scale() -> None:
    points, triangles = horn(20, 2.0)
    again = stretch((5.0 * points @ a_rotation().T - 3.0, triangles))
    assert np.abs(stretch((points, triangles)) - again).max() < 1e-9


def test_sunk_forms_count_like_raised_ones() -> None:
    points, triangles = horn(20, 2.0)
    inside_out = points * np.array([1.0, 1.0, -1.0]), np.ascontiguousarray(triangles[:, ::-1])
    assert np.abs(stretch((points, triangles)) - stretch(inside_out)).max() < 1e-9


def test_every_hill_is_a_form_of_its_own() -> None:
    net = bumps(1.2, 3.6)
    u = stretch(net)
    forms = find_forms(u, net[1], 0.3)
    assert len(forms) == 2
    assert sorted(np.round(net[0][[f.summit for f in forms], 0], 1).tolist()) == [1.2, 3.6]
    assert all(0 <= f.saddle < f.top for f in forms)
    for form in forms:
        inside = form_above(u, net[1], form.summit, 0.5 * (form.saddle + form.top))
        assert inside[form.summit] and not inside[[f.summit for f in forms if f is not form]].any()


def test_a_half_at_the_mirror_stretches_like_the_whole() -> None:
    net = hemisphere(24)
    middle = net[0][net[1]].mean(axis=1)
    points, triangles = compact(*net, middle[:, 0] > 0)
    points[np.abs(points[:, 0]) < 1e-12, 0] = 0.0
    u = flat_stretch(points, triangles, points[:, 0] == 0.0)
    assert np.abs(u - np.log(1.0 + points[:, 2])).max() < 0.02


def test_a_rim_inside_a_form_leaves_no_hole() -> None:
    net = turned(24, lambda t: (t, 2.0 * np.exp(-8 * t**2)))
    u = stretch(net)
    level = 0.5 * float(u.max())
    inside = form_above(u, net[1], 0, level)
    assert (inside == (u > level)).all()


def beyond(rows: int, degrees: float) -> tuple[FloatArray, IntArray]:
    """A sphere from its pole to this colatitude."""
    reach = np.radians(degrees)
    return turned(rows, lambda t: (np.sin(t * reach), np.cos(t * reach)))


@pytest.mark.parametrize("degrees", [60.0, 90.0, 120.0, 150.0])
def test_what_lies_below_the_equator_hangs_over(degrees: float) -> None:
    # zones of a sphere have areas in proportion to their heights (Archimedes)
    points, triangles = beyond(60, degrees)
    low = np.cos(np.radians(degrees))
    share = max(0.0, -low) / (1.0 - low)
    assert overhang(points, triangles, np.ones(len(points), bool), None) == pytest.approx(share, abs=0.02)


def test_half_a_form_hangs_over_as_the_whole() -> None:
    points, triangles = beyond(40, 130.0)
    lean = points + 0.5 * points[:, 2:] * np.array([0.0, 1.0, 0.0])
    whole = overhang(lean, triangles, np.ones(len(points), bool), None)
    half = compact(lean, triangles, lean[triangles][..., 0].mean(axis=1) > 0)
    plane = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)
    assert whole > 0.1
    assert overhang(*half, np.ones(len(half[0]), bool), plane) == pytest.approx(whole, abs=1e-9)
