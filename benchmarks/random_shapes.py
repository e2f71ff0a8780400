"""Shapes for random sculpts: closed and open, of any genus, whole or in several components."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from loopwright.demo.blend_fields import Field, Points, soft_union
from loopwright.demo.polygonise_field import polygonise_field
from loopwright.types import FloatArray, IntArray


@dataclass(frozen=True)
class Shape:
    """A triangle mesh: (n, 3) positions, (m, 3) triangles, and whether x -> -x maps it onto itself."""

    name: str
    positions: FloatArray
    triangles: IntArray
    is_symmetric: bool


def icosphere(level: int) -> tuple[FloatArray, IntArray]:
    """Return the unit sphere with 20 * 4**level triangles."""
    g = (1 + 5**0.5) / 2
    corners = [(-1, g, 0), (1, g, 0), (-1, -g, 0), (1, -g, 0), (0, -1, g), (0, 1, g), (0, -1, -g), (0, 1, -g)]
    points = np.array([*corners, (g, 0, -1), (g, 0, 1), (-g, 0, -1), (-g, 0, 1)], float)
    fan = "0b5 051 017 07a 0ab 159 5b4 ba2 a76 718 394 342 326 368 389 495 24b 62a 867 981"
    triangles = np.array([[int(c, 16) for c in t] for t in fan.split()], np.int32)
    for _ in range(level):
        edges = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
        unique, place = np.unique(edges, axis=0, return_inverse=True)
        middle = len(points) + place.reshape(-1, 3)
        points = np.concatenate([points, points[unique].mean(axis=1)])
        a, b, c = triangles.T
        ab, bc, ca = middle.T
        triangles = np.concatenate([np.stack(t, axis=1) for t in ((a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca))])
    return points / np.linalg.norm(points, axis=1, keepdims=True), triangles.astype(np.int32)


def _grid(nu: int, nv: int, *, wrap_u: bool, wrap_v: bool) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return parameters u, v in [0, 1] and the triangles of a grid that may close in both directions."""
    u, v = np.meshgrid(
        np.linspace(0, 1, nu, endpoint=not wrap_u), np.linspace(0, 1, nv, endpoint=not wrap_v), indexing="ij"
    )
    i, j = np.meshgrid(np.arange(nu if wrap_u else nu - 1), np.arange(nv if wrap_v else nv - 1), indexing="ij")

    def at(a: NDArray[Any], b: NDArray[Any]) -> IntArray:
        ids: IntArray = ((a % nu) * nv + b % nv).ravel().astype(np.int32)
        return ids

    a, b, c, d = at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)
    even = ((i + j) % 2 == 0).ravel()
    one = np.where(even[:, None], np.stack([a, b, c], 1), np.stack([a, b, d], 1))
    two = np.where(even[:, None], np.stack([a, c, d], 1), np.stack([b, c, d], 1))
    return u.ravel(), v.ravel(), np.concatenate([one, two]).astype(np.int32)


def _bump(positions: FloatArray, rng: Generator, is_symmetric: bool) -> FloatArray:
    """Push soft bumps and dents along the direction from the middle."""
    out = positions.copy()
    size = float(np.ptp(positions, axis=0).max())
    for _ in range(int(rng.integers(0, 6))):
        centre = positions[rng.integers(len(positions))]
        height, width = rng.uniform(-0.12, 0.3) * size, rng.uniform(0.08, 0.3) * size
        twins = [centre, centre * [-1, 1, 1]] if is_symmetric else [centre]
        for c in twins:
            way = positions - positions.mean(axis=0)
            way = way / (np.linalg.norm(way, axis=1, keepdims=True) + 1e-9)
            fall = np.exp(-(((positions - c) ** 2).sum(axis=1)) / width**2)
            out += height * fall[:, None] * way
    return out


def ball(rng: Generator, is_symmetric: bool) -> Shape:
    """Return a sphere, stretched and with bumps."""
    points, triangles = icosphere(int(rng.choice([4, 4, 5])))
    points = points * rng.uniform(0.5, 1.5, 3)
    return Shape("ball", _bump(points, rng, is_symmetric), triangles, is_symmetric)


def ring(rng: Generator, is_symmetric: bool) -> Shape:
    """Return a torus whose thickness changes along it."""
    u, v, triangles = _grid(int(rng.integers(80, 160)), int(rng.integers(30, 60)), wrap_u=True, wrap_v=True)
    a, b = 2 * np.pi * u, 2 * np.pi * v
    phase = np.pi / 2 if is_symmetric else rng.uniform(0, 6)
    thick = rng.uniform(0.2, 0.45) * (1 + rng.uniform(0, 0.4) * np.cos(2 * (a - phase)))
    points = np.stack([(1 + thick * np.cos(b)) * np.cos(a), (1 + thick * np.cos(b)) * np.sin(a), thick * np.sin(b)], 1)
    return Shape("ring", points * [1, rng.uniform(0.7, 1.4), 1], triangles, False)


def _from_field(name: str, field: Callable[[Points], Field], rng: Generator, is_symmetric: bool) -> Shape:
    reach = 2.6
    points, triangles = polygonise_field(field, np.full(3, -reach), np.full(3, reach), rng.uniform(0.045, 0.075))
    return Shape(name, points, triangles, is_symmetric)


def _torus_field(p: Points, x: float, y: float, radius: float, thick: float) -> Field:
    flat = np.sqrt((p.x - x) ** 2 + (p.y - y) ** 2) - radius
    distance: Field = np.sqrt(flat * flat + p.z * p.z) - thick
    return distance


def pretzel(rng: Generator, is_symmetric: bool) -> Shape:
    """Return a body of genus two or three."""
    thick, blend = rng.uniform(0.18, 0.3), rng.uniform(0.05, 0.3)
    places = [(-0.75, 0.0), (0.75, 0.0)] if rng.random() < 0.7 else [(-0.8, 0.0), (0.8, 0.0), (0.0, 1.2)]

    def field(p: Points) -> Field:
        out = _torus_field(p, *places[0], 0.7, thick)
        for x, y in places[1:]:
            out = soft_union(out, _torus_field(p, x, y, 0.7, thick), blend)
        return out

    return _from_field("pretzel", field, rng, is_symmetric)


def blob(rng: Generator, is_symmetric: bool) -> Shape:
    """Return several balls and limbs run together."""
    balls = [(rng.uniform(-0.9, 0.9, 3), rng.uniform(0.25, 0.7)) for _ in range(int(rng.integers(2, 7)))]
    balls.append((np.zeros(3), 0.8))
    if is_symmetric:
        balls += [(c * np.array([-1, 1, 1]), r) for c, r in balls]
    blend = rng.uniform(0.1, 0.5)

    def field(p: Points) -> Field:
        out: Field | None = None
        for c, r in balls:
            one = np.sqrt((p.x - c[0]) ** 2 + (p.y - c[1]) ** 2 + (p.z - c[2]) ** 2) - r
            out = one if out is None else soft_union(out, one, blend)
        assert out is not None
        return out

    return _from_field("blob", field, rng, is_symmetric)


def tube(rng: Generator, is_symmetric: bool) -> Shape:
    """Return a bent tube that is open at both ends."""
    u, v, triangles = _grid(int(rng.integers(60, 120)), int(rng.integers(30, 60)), wrap_u=False, wrap_v=True)
    a, along = 2 * np.pi * v, 3.0 * (u - 0.5) * rng.uniform(0.5, 1.5)
    radius = rng.uniform(0.2, 0.6) * (1 + 0.3 * np.sin(rng.uniform(1, 9) * u))
    bend = rng.uniform(0, 0.5) * np.sin(3 * u)
    points = np.stack([radius * np.cos(a), radius * np.sin(a) + bend, -along], axis=1)
    return Shape("tube", points, triangles, False)


def sheet(rng: Generator, is_symmetric: bool) -> Shape:
    """Return a wavy sheet with a rim all round."""
    u, v, triangles = _grid(int(rng.integers(60, 110)), int(rng.integers(50, 90)), wrap_u=False, wrap_v=False)
    x, y = 2 * u - 1, rng.uniform(0.5, 1.5) * (2 * v - 1)
    z = rng.uniform(0, 0.25) * np.cos(rng.uniform(1, 5) * x) * np.cos(rng.uniform(1, 5) * y + rng.uniform(0, 3))
    return Shape("sheet", np.stack([x, y, z], axis=1), triangles, False)


def cut_holes(shape: Shape, rng: Generator) -> Shape:
    """Take discs of triangles out of a shape; their rims are ragged."""
    points, triangles = shape.positions, shape.triangles
    size = float(np.ptp(points, axis=0).max())
    keep = np.ones(len(triangles), bool)
    for _ in range(int(rng.integers(1, 4))):
        centre = points[rng.integers(len(points))]
        near = np.linalg.norm(points - centre, axis=1) < rng.uniform(0.04, 0.15) * size
        keep &= ~near[triangles].any(axis=1)
    used, local = np.unique(triangles[keep], return_inverse=True)
    return Shape(shape.name + "+holes", points[used], local.reshape(-1, 3).astype(np.int32), False)


def put_beside(first: Shape, second: Shape) -> Shape:
    """Return both shapes as one mesh of two components."""
    gap = float(first.positions[:, 1].max() - second.positions[:, 1].min()) + 0.2
    points = np.concatenate([first.positions, second.positions + [0.0, gap, 0.0]])
    triangles = np.concatenate([first.triangles, second.triangles + len(first.positions)]).astype(np.int32)
    return Shape(f"{first.name}|{second.name}", points, triangles, first.is_symmetric and second.is_symmetric)


MAKERS = (ball, ball, ball, blob, blob, ring, pretzel, tube, sheet)


def random_shape(rng: Generator, is_symmetric: bool) -> Shape:
    """Return a random shape, now and then with holes or with a second component."""
    shape = MAKERS[rng.integers(len(MAKERS))](rng, is_symmetric)
    if rng.random() < 0.15:
        shape = cut_holes(shape, rng)
    if rng.random() < 0.08:
        shape = put_beside(shape, MAKERS[rng.integers(len(MAKERS))](rng, is_symmetric))
    return shape


__all__ = ["MAKERS", "Shape", "cut_holes", "icosphere", "put_beside", "random_shape"]
