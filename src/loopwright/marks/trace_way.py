"""Trace a way over triangles, straight or steered, until it meets a border or a line.

Places and directions are triples of floats: at three numbers each, arrays cost ten times the arithmetic.
"""

from __future__ import annotations

from collections.abc import Callable
from math import cos, sin, sqrt
from typing import TypeAlias

import numpy as np

from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.types import FloatArray

Triple: TypeAlias = tuple[float, float, float]
Steer: TypeAlias = Callable[[Triple, Triple, Triple, float], float]
"""From a place, the normal and the heading there and the length just gone: the angle to turn by, in radians."""

_INTO = 0.1  # sine of the least angle to the edge just crossed at which a steered way goes on


def trace_way(
    cutter: SurfaceCutter, vertex: int, direction: FloatArray, limit: float, steer: Steer | None = None
) -> tuple[FloatArray, tuple[int, int] | None]:
    """Return the points where a way from a vertex crosses edges, and the border, line or rim edge that it met.

    Each triangle is unfolded into the plane of the one before: without ``steer`` the way is a geodesic.
    """
    origin = _triple(cutter.points[vertex])
    points = [origin]
    face = _first_face(cutter, vertex, direction)
    if face is None:
        return np.array(points), None
    corners = {v: _triple(cutter.points[v]) for v in cutter.faces[face]}
    normal = _normal(cutter, face, corners)
    heading = _unit(_flat(_triple(direction), normal))
    at, coming, total = origin, (-1, -1), 0.0
    while total < limit:
        crossed = _leave(cutter.faces[face], corners, normal, at, heading, coming, vertex if len(points) == 1 else -1)
        if crossed is None:
            break
        a, b, place = crossed
        gone = _norm(_minus(place, at))
        total += gone
        at = place
        points.append(place)
        following = cutter.face_of.get((b, a))
        if following is None or cutter.is_held_edge(a, b):
            return np.array(points), (a, b)
        edge = _unit(_minus(corners[b], corners[a]))
        along, out = _dot(heading, edge), _dot(heading, _cross(edge, normal))
        face, coming = following, (b, a)
        corners = {v: _triple(cutter.points[v]) for v in cutter.faces[face]}
        normal = _normal(cutter, face, corners)
        into = _cross(edge, normal)
        heading = _sum(along, edge, out, into)
        if steer is not None:
            angle = steer(at, normal, heading, gone)
            turned = _sum(cos(angle), heading, sin(angle), _cross(normal, heading))
            heading = turned if _dot(turned, into) > _INTO else heading
    return np.array(points), None


def _first_face(cutter: SurfaceCutter, vertex: int, direction: FloatArray) -> int | None:
    up, origin = _triple(cutter.normal(vertex)), _triple(cutter.points[vertex])
    flat = _flat(_triple(direction), up)
    for i in sorted(cutter.around[vertex]):
        k = cutter.faces[i].index(vertex)
        a = _minus(_triple(cutter.points[cutter.faces[i][(k + 1) % 3]]), origin)
        b = _minus(_triple(cutter.points[cutter.faces[i][(k + 2) % 3]]), origin)
        if _dot(_cross(a, flat), up) >= 0.0 and _dot(_cross(flat, b), up) >= 0.0:
            return i
    return None


def _leave(
    face: tuple[int, int, int],
    corners: dict[int, Triple],
    normal: Triple,
    at: Triple,
    heading: Triple,
    coming: tuple[int, int],
    vertex: int,
) -> tuple[int, int, Triple] | None:
    """Return the edge (in the face's order) through which a heading leaves a face, and where."""
    best: tuple[float, int, int, Triple] | None = None
    for k in range(3):
        a, b = face[k], face[(k + 1) % 3]
        if (a, b) == coming or vertex in (a, b):
            continue
        edge = _minus(corners[b], corners[a])
        outward = _cross(edge, normal)
        slope = _dot(heading, outward)
        if slope <= 1e-12 * _norm(edge):
            continue
        step = max(_dot(_minus(corners[a], at), outward) / slope, 0.0)
        if best is None or step < best[0]:
            there = _minus(_sum(1.0, at, step, heading), corners[a])
            share = min(max(_dot(there, edge) / max(_dot(edge, edge), 1e-300), 1e-6), 1.0 - 1e-6)
            best = (step, a, b, _sum(1.0, corners[a], share, edge))
    return None if best is None else best[1:]


def _normal(cutter: SurfaceCutter, face: int, corners: dict[int, Triple]) -> Triple:
    a, b, c = (corners[v] for v in cutter.faces[face])
    return _unit(_cross(_minus(b, a), _minus(c, a)))


def _triple(point: FloatArray) -> Triple:
    x, y, z = point.tolist()
    return x, y, z


def _minus(a: Triple, b: Triple) -> Triple:
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def _sum(s: float, a: Triple, t: float, b: Triple) -> Triple:
    return s * a[0] + t * b[0], s * a[1] + t * b[1], s * a[2] + t * b[2]


def _dot(a: Triple, b: Triple) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _cross(a: Triple, b: Triple) -> Triple:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def _norm(a: Triple) -> float:
    return sqrt(_dot(a, a))


def _unit(a: Triple) -> Triple:
    size = max(_norm(a), 1e-300)
    return a[0] / size, a[1] / size, a[2] / size


def _flat(a: Triple, up: Triple) -> Triple:
    return _sum(1.0, a, -_dot(a, up), up)
