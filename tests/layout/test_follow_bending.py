"""Bending directions on shapes whose principal curvatures are known, and crosses drawn along them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from loopwright.layout.cross_field import polar_frames
from loopwright.layout.follow_bending import frame_angles, guided_crosses
from loopwright.surface.measure_bending import measure_bending
from loopwright.types import FloatArray, IntArray

TURN = 0.6  # of the flat nets against the axes, in radians


def sheet(n: int, m: int) -> tuple[FloatArray, IntArray]:
    """A net on the square [-1, 1]^2, turned in its plane so that no edge lies along an axis."""
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, n), np.linspace(-1, 1, m)))
    ids = np.arange(n * m).reshape(m, n)
    a, b, c, d = (part.ravel() for part in (ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]))
    triangles = np.vstack([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]).astype(np.int32)
    turned = np.stack([np.cos(TURN) * x - np.sin(TURN) * y, np.sin(TURN) * x + np.cos(TURN) * y], axis=1)
    return np.column_stack([turned, np.zeros(len(x))]), triangles


def rolled(points: FloatArray, radius: float) -> FloatArray:
    """The sheet bent to a cylinder whose axis is the y-axis."""
    angle = points[:, 0] / radius
    return np.column_stack([radius * np.sin(angle), points[:, 1], radius * np.cos(angle)])


def inner(points: FloatArray) -> NDArray[np.int64]:
    flat = np.abs(points @ np.array([[np.cos(TURN), -np.sin(TURN)], [np.sin(TURN), np.cos(TURN)], [0, 0]]))
    return np.flatnonzero((flat < 0.6).all(axis=1))


def test_a_cylinder_bends_across_its_axis_by_one_over_its_radius() -> None:
    # principal curvatures of a cylinder: 0 along the axis, 1/r across it (do Carmo, Differential Geometry of Curves
    # and Surfaces, section 3-2)
    flat, triangles = sheet(61, 61)
    points = rolled(flat, 0.8)
    bending = measure_bending(points, triangles, np.full(len(points), 0.1))
    at = inner(flat)
    assert np.abs(bending.direction[at, 1]).min() > 0.99
    assert np.allclose(bending.excess[at], 1 / 0.8, rtol=0.05)


def test_round_and_flat_places_have_no_preferred_way() -> None:
    flat, triangles = sheet(61, 61)
    at = inner(flat)
    assert measure_bending(flat, triangles, np.full(len(flat), 0.1)).excess[at].max() < 1e-9
    # a sphere of radius 2: both principal curvatures are 1/2
    ball = flat.copy()
    ball[:, 2] = np.sqrt(4.0 - (flat[:, :2] ** 2).sum(axis=1))
    excess = measure_bending(ball, triangles, np.full(len(flat), 0.1)).excess[at]
    assert excess.max() < 0.1 * 0.5


def test_a_saddle_draws_as_little_as_a_ball() -> None:
    # z = x y has curvatures of equal size and opposite sign at its middle: neither way bends more
    flat, triangles = sheet(61, 61)
    saddle = flat.copy()
    saddle[:, 2] = flat[:, 0] * flat[:, 1]
    middle = np.linalg.norm(flat, axis=1) < 0.2
    assert measure_bending(saddle, triangles, np.full(len(flat), 0.1)).excess[middle].max() < 0.1


@pytest.mark.parametrize("angle", [0.0, 0.3, 1.1, 2.0])
def test_frame_angles_tell_a_direction_up_to_quarter_turns(angle: float) -> None:
    flat, triangles = sheet(21, 21)
    direction = np.broadcast_to([np.cos(angle), np.sin(angle), 0.0], flat.shape)
    frames = polar_frames(flat, triangles, np.zeros(len(flat), np.int32))
    found = frame_angles(flat, triangles, frames, direction)
    at = inner(flat)
    # on a flat net an inner frame starts along the edge of its first corner and is not rescaled
    first = np.full(len(flat), -1)
    corners = triangles.reshape(-1)
    zero = np.flatnonzero(frames.start.reshape(-1) == 0.0)
    first[corners[zero]] = zero
    ahead = flat[np.roll(triangles, -1, axis=1).reshape(-1)[first[at]]] - flat[at]
    start = np.arctan2(ahead[:, 1], ahead[:, 0])
    off = (start + found[at] - angle) / (np.pi / 2)
    assert np.abs(off - np.round(off)).max() < 1e-6


def test_crosses_turn_along_a_bend_that_lies_askew_to_the_boundary() -> None:
    flat, triangles = sheet(61, 61)
    points = rolled(flat, 0.3)
    edge = np.abs(np.abs(flat @ np.array([[np.cos(TURN), -np.sin(TURN)], [np.sin(TURN), np.cos(TURN)], [0, 0]])) - 1)
    quadrants = np.where((edge < 1e-9).any(axis=1), 2, 0).astype(np.int32)
    quadrants[(edge < 1e-9).all(axis=1)] = 1
    frames = polar_frames(points, triangles, quadrants)
    bending = measure_bending(points, triangles, np.full(len(points), 0.05))
    origin = np.arange(len(points), dtype=np.int32)
    wished = frame_angles(points, triangles, frames, bending.direction)

    def off(crosses: FloatArray) -> float:
        middle = np.linalg.norm(flat, axis=1) < 0.5
        gap = (crosses - wished)[middle] / (np.pi / 2)
        return float(np.degrees(np.abs(gap - np.round(gap)).mean() * np.pi / 2))

    plain = guided_crosses(points, triangles, quadrants, frames, None, origin, 0.4)
    drawn = guided_crosses(points, triangles, quadrants, frames, bending, origin, 0.4)
    assert off(plain) > 25.0  # the boundary lies 34 degrees off the bend
    assert off(drawn) < 3.0
    # where quads are fine beside the bend nothing is drawn
    fine = guided_crosses(points, triangles, quadrants, frames, bending, origin, 0.05)
    assert np.array_equal(fine, plain)
