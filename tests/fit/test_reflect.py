"""The whole mesh from its half."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from loopwright.errors import InternalError
from loopwright.fit.reflect import reflect_half
from loopwright.numerics.catmull_clark import unique_edges
from loopwright.types import Curve, MirrorPlane, QuadMesh

Maker = Callable[..., QuadMesh]


def test_whole_sphere_is_closed_oriented_and_symmetric_to_the_bit(make_sphere: Maker) -> None:
    half = make_sphere(8, half=True)
    rough = replace(half, positions=half.positions + np.random.default_rng(0).uniform(0, 1e-3, half.positions.shape))
    whole = reflect_half(rough)
    # Euler: a closed all-quad sphere has V = F + 2 and E = 2 F.
    assert len(whole.quads) == 6 * 8 * 8
    assert len(whole.positions) == len(whole.quads) + 2
    assert len(unique_edges(whole.quads)) == 2 * len(whole.quads)
    directed = np.stack([whole.quads, np.roll(whole.quads, -1, axis=1)], axis=2).reshape(-1, 2)
    assert len(np.unique(directed, axis=0)) == len(directed)
    assert (whole.positions[whole.on_mirror, 0] == 0.0).all()
    points = {tuple(p) for p in (whole.positions + 0.0).tolist()}
    assert points == {(0.0 - x, y, z) for x, y, z in points}
    assert np.array_equal(whole.quad_region, np.tile(half.quad_region, 2))


def test_volume_doubles(make_sphere: Maker) -> None:
    half = make_sphere(6, half=True)
    whole = reflect_half(half)

    def volume(mesh: QuadMesh) -> float:
        p = mesh.positions[mesh.quads]
        six = sum(np.einsum("ij,ij->i", p[:, 0], np.cross(p[:, a], p[:, a + 1])) for a in (1, 2))
        return float(np.sum(six) / 6.0)

    assert volume(whole) == pytest.approx(2.0 * volume(half), rel=1e-12)
    assert volume(whole) > 0.0


def test_a_slanted_plane_mirrors_as_well(make_sphere: Maker) -> None:
    half = make_sphere(6, half=True)
    turn = np.linalg.qr(np.random.default_rng(4).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    shift = np.array([3.0, -1.0, 2.0])
    normal = np.array([1.0, 0.0, 0.0]) @ turn
    plane = MirrorPlane(normal, float(normal @ shift))
    whole = reflect_half(replace(half, positions=half.positions @ turn + shift, mirror=plane))
    assert np.allclose(np.linalg.norm(whole.positions - shift, axis=1), 1.0)
    assert np.abs(plane.signed_distance(whole.positions[whole.on_mirror])).max() < 1e-12


def test_curves_get_images_and_those_in_the_plane_stay_single(make_sphere: Maker) -> None:
    half = make_sphere(6, half=True)
    side = Curve(np.array([[0.5, 0.0, 0.8], [0.6, 0.1, 0.7]]), False)
    middle = Curve(np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0]]), False)
    curve = np.full(len(half.positions), -1, np.int32)
    inner = np.flatnonzero(~half.on_mirror)[:3]
    curve[inner] = 0
    curve[np.flatnonzero(half.on_mirror)[:2]] = 1
    whole = reflect_half(replace(half, curves=(side, middle), vertex_curve=curve))
    assert len(whole.curves) == 3
    assert np.array_equal(whole.curves[2].points, side.points * [-1.0, 1.0, 1.0])
    images = np.flatnonzero(whole.vertex_curve == 2)
    assert np.array_equal(whole.positions[images], half.positions[inner] * [-1.0, 1.0, 1.0])


def test_what_has_no_half_is_refused(make_sphere: Maker) -> None:
    with pytest.raises(InternalError, match="no mirror plane"):
        reflect_half(make_sphere(4))
    with pytest.raises(InternalError, match="whole already"):
        reflect_half(reflect_half(make_sphere(4, half=True)))
