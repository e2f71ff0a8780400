"""Carry the loose end of a line straight on over the surface until it meets a border or another line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.surface.half_edges import arc_length
from loopwright.types import FloatArray

_ANGLES = (0.0, 15.0, -15.0, 30.0, -30.0, 45.0, -45.0)
_TURN = 20.0  # a turn of so many degrees is as bad as twice the way
_JOIN = 0.6  # a way that passes something nearer than this, in mesh edges, joins it
_FREE = 1.3  # the first part of the way that joins nothing, in mesh edges


@dataclass(frozen=True)
class Way:
    """A way on from a loose end: its points from the end on, and the vertex it joins, or None at a crossed edge."""

    points: FloatArray
    joins: int | None


def carry_on(cutter: SurfaceCutter, vertex: int, direction: FloatArray, reach: float, limit: float) -> Way | None:
    """Return the best way on: short and straight.

    Straight ways (geodesics of the triangles) in directions up to 45 degrees
    off are tried.

    Parameters
    ----------
    direction : (3,) the line's own at its end.
    reach : the wished edge length of the mesh.
    limit : longest way.
    """
    held = np.array(sorted(cutter.held), np.int64)
    tree = cutter.tree_of(held) if len(held) else None
    up = cutter.normal(vertex)
    best: tuple[float, Way] | None = None
    for angle in _ANGLES:
        turned = _rotate(direction, up, np.radians(angle))
        price_of_turn = 1.0 + (angle / _TURN) ** 2
        most = limit if best is None else best[0] / price_of_turn
        points, has_met = trace_straight(cutter, vertex, turned, most)
        way = _join(points, has_met, tree, held, reach)
        if way is None:
            continue
        price = float(arc_length(way.points)[-1]) * price_of_turn
        if best is None or price < best[0]:
            best = (price, way)
    return best[1] if best else None


def _join(points: FloatArray, has_met: bool, tree: cKDTree | None, held: np.ndarray, reach: float) -> Way | None:
    """Shorten a way to the first thing that it passes closely."""
    if tree is not None and len(points) > 1:
        length = arc_length(points)
        gap, nearest = tree.query(points)
        close = np.flatnonzero((gap < _JOIN * reach) & (length > _FREE * reach))
        if len(close):
            first = int(close[0])
            window = close[(close >= first) & (length[close] < length[first] + _JOIN * reach)]
            chosen = int(window[gap[window].argmin()])
            joined = int(held[nearest[chosen]])
            return Way(np.concatenate([points[: chosen + 1], tree.data[nearest[chosen]][None]]), joined)
    return Way(points, None) if has_met and len(points) > 1 else None


def _rotate(vector: FloatArray, axis: FloatArray, angle: float) -> FloatArray:
    flat = vector - (vector @ axis) * axis
    flat = flat / max(float(np.linalg.norm(flat)), 1e-300)
    turned: FloatArray = np.cos(angle) * flat + np.sin(angle) * np.cross(axis, flat)
    return turned


def trace_straight(cutter: SurfaceCutter, vertex: int, direction: FloatArray, limit: float) -> tuple[FloatArray, bool]:
    """Return the points where a straight way crosses edges, and whether it met a border, a line or a rim.

    Each triangle is unfolded into the plane of the one before.
    """
    origin = cutter.points[vertex]
    face = _first_face(cutter, vertex, direction)
    points, total = [origin], 0.0
    if face is None:
        return np.array(points), False
    at, coming = origin, (-1, -1)
    heading = _in_plane(direction, cutter, face)
    while total < limit:
        crossed = _leave(cutter, face, at, heading, coming, vertex if len(points) == 1 else -1)
        if crossed is None:
            return np.array(points), False
        a, b, place = crossed
        total += float(np.linalg.norm(place - at))
        at = place
        points.append(place)
        key = (min(a, b), max(a, b))
        following = cutter.face_of.get((b, a))
        if following is None or key in cutter.borders or key in cutter.lines:
            return np.array(points), True
        heading = _unfold(cutter, face, following, a, b, heading)
        face, coming = following, (b, a)
    return np.array(points), False


def _first_face(cutter: SurfaceCutter, vertex: int, direction: FloatArray) -> int | None:
    up, origin = cutter.normal(vertex), cutter.points[vertex]
    flat = direction - (direction @ up) * up
    for i in sorted(cutter.around[vertex]):
        k = cutter.faces[i].index(vertex)
        a = cutter.points[cutter.faces[i][(k + 1) % 3]] - origin
        b = cutter.points[cutter.faces[i][(k + 2) % 3]] - origin
        if np.cross(a, flat) @ up >= 0.0 and np.cross(flat, b) @ up >= 0.0:
            return i
    return None


def _face_normal(cutter: SurfaceCutter, face: int) -> FloatArray:
    a, b, c = (cutter.points[v] for v in cutter.faces[face])
    normal: FloatArray = np.cross(b - a, c - a)
    return normal / max(float(np.linalg.norm(normal)), 1e-300)


def _in_plane(vector: FloatArray, cutter: SurfaceCutter, face: int) -> FloatArray:
    normal = _face_normal(cutter, face)
    flat: FloatArray = vector - (vector @ normal) * normal
    return flat / max(float(np.linalg.norm(flat)), 1e-300)


def _unfold(cutter: SurfaceCutter, face: int, following: int, a: int, b: int, heading: FloatArray) -> FloatArray:
    """Turn a heading from one face into the next about their edge."""
    edge = cutter.points[b] - cutter.points[a]
    edge = edge / max(float(np.linalg.norm(edge)), 1e-300)
    out_of = np.cross(edge, _face_normal(cutter, face))  # points out of the face across a -> b
    into = np.cross(edge, _face_normal(cutter, following))
    turned: FloatArray = (heading @ edge) * edge + (heading @ out_of) * into
    return turned


def _leave(
    cutter: SurfaceCutter, face: int, at: FloatArray, heading: FloatArray, coming: tuple[int, int], vertex: int
) -> tuple[int, int, FloatArray] | None:
    """Return the edge (in the face's order) through which a heading leaves a face, and where."""
    corners = cutter.faces[face]
    normal = _face_normal(cutter, face)
    best: tuple[float, int, int, FloatArray] | None = None
    for k in range(3):
        a, b = corners[k], corners[(k + 1) % 3]
        if (a, b) == coming or vertex in (a, b):
            continue
        edge = cutter.points[b] - cutter.points[a]
        outward = np.cross(edge, normal)
        slope = float(heading @ outward)
        if slope <= 1e-12 * float(np.linalg.norm(edge)):
            continue
        step = max(float((cutter.points[a] - at) @ outward) / slope, 0.0)
        if best is None or step < best[0]:
            share = float((at + step * heading - cutter.points[a]) @ edge) / max(float(edge @ edge), 1e-300)
            best = (step, a, b, cutter.points[a] + float(np.clip(share, 1e-6, 1 - 1e-6)) * edge)
    return None if best is None else best[1:]
