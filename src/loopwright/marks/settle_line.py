"""Move the vertices of a chain onto the line that it follows."""

from __future__ import annotations

import numpy as np

from loopwright.marks.draw_line import LineDrawer
from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.surface.edges import cross_rows, dot_rows, row_lengths
from loopwright.types import FloatArray

_ROUNDS = 3  # a vertex may be in the way of another
_LEAST_QUALITY = 0.08  # of a triangle after a move: 2 sqrt(3) area / sum of squared sides


def settle_line(cutter: SurfaceCutter, path: list[int], line: FloatArray, drawer: LineDrawer | None) -> None:
    """Move the free vertices of a chain to the nearest points of a line, as far as no triangle degenerates.

    With a drawer, the points are put on its surface.
    """
    free = [v for v in path if v not in cutter.held]
    if not free:
        return
    points = np.array([cutter.points[v] for v in free])
    aims = nearest_on_line(points, line)
    aims = aims if drawer is None else drawer.on_surface(aims)
    left = list(zip(free, aims, strict=True))
    for _ in range(_ROUNDS):
        left = [(v, aim) for v, aim in left if not move_vertex(cutter, v, aim)]


def move_vertex(cutter: SurfaceCutter, v: int, aim: FloatArray) -> bool:
    """Move a vertex to a place, or part of the way where triangles would degenerate; tell whether it is there."""
    start = cutter.points[v]
    for share in (1.0, 0.6, 0.3):
        moved = aim if share == 1.0 else start + share * (aim - start)
        if _is_fine(cutter, v, moved):
            cutter.points[v] = moved
            return share == 1.0
    return False


def nearest_on_line(points: FloatArray, line: FloatArray) -> FloatArray:
    """Return the nearest points of a polyline."""
    a, along = line[:-1], np.diff(line, axis=0)
    square = np.maximum((along**2).sum(axis=1), 1e-300)
    out = np.empty_like(points)
    for i, point in enumerate(points):
        t = np.clip(((point - a) * along).sum(axis=1) / square, 0.0, 1.0)
        foot = a + t[:, None] * along
        out[i] = foot[int(((foot - point) ** 2).sum(axis=1).argmin())]
    return out


def _is_fine(cutter: SurfaceCutter, v: int, moved: FloatArray) -> bool:
    faces = [cutter.faces[i] for i in sorted(cutter.around[v])]
    before = np.array([[cutter.points[w] for w in face] for face in faces])
    after = np.where((np.array(faces) == v)[:, :, None], moved, before)
    (old, old_area, old_sides), (new, area, sides) = _measures(before), _measures(after)
    turned = dot_rows(old, new) / np.maximum(old_area * area, 1e-300)
    least = np.minimum(_LEAST_QUALITY, 0.9 * np.sqrt(3.0) * old_area / old_sides)
    return bool(((turned > 0.7) & (np.sqrt(3.0) * area / sides >= least)).all())


def _measures(corners: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return twice the triangles' areas as vectors and as numbers, and the sums of their squared sides."""
    sides = corners[:, [1, 2, 0]] - corners
    area = cross_rows(sides[:, 0], -sides[:, 2])
    return area, row_lengths(area), np.einsum("fij,fij->f", sides, sides)
