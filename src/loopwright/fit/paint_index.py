"""The colour of a painted sculpt nearest to any point; far from borders of colours without a search."""

from __future__ import annotations

from typing import TypeVar

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from loopwright.numerics.nearest import nearest
from loopwright.types import BoolArray, FloatArray, IntArray, Paint

_CELL = 2.2  # side of a cell, in mean distances of neighbouring vertices of a sculpt as thick as it is wide
_MOST_CELLS = 12_000_000
_MOST_COLORS = 31
_REACH = 2  # cells: the diagonal of one is shorter, so a vertex in a point's own cell is nearer than that
_NO_VERTEX, _MANY = -2, -3  # in place of a cell's only colour: it has no vertex, or several colours near it

Bits = TypeVar("Bits", np.uint32, np.bool_)


class PaintIndex:
    """Nearest colours on one painted sculpt.

    A grid holds which colours occur within two cells of each cell. Where a cell has a vertex, the vertex
    nearest to any point in the cell lies within two cells; if only one colour occurs there, it has that
    colour. If more do, it is looked up in a tree of the vertices near such cells, and points of cells
    without a vertex in a tree of all.

    Parameters
    ----------
    positions : (n, 3) of the sculpt's vertices.
    paint : their colours.
    triangles : (t, 3) int32, of the sculpt. With them a point near a border has the colour of the corner nearest to it
        of the triangle that it lies nearest to; without, elsewhere, and with more than 31 colours, that of the nearest
        vertex.

    Examples
    --------
    >>> import numpy as np
    >>> line = np.arange(10.0)[:, None] * np.array([[1.0, 0, 0]])
    >>> paint = Paint(np.zeros((2, 3), np.uint8), np.repeat([0, 1], 5).astype(np.int32))
    >>> PaintIndex(line, paint).colors_at(np.array([[1.2, 0, 0], [4.6, 0, 0]])).tolist()
    [0, 1]
    """

    def __init__(self, positions: FloatArray, paint: Paint, triangles: IntArray | None = None) -> None:
        self.color: IntArray = paint.color
        self._all = _Vertices(positions, paint.color)
        self._low = positions.min(axis=0)
        extent = np.maximum(np.ptp(positions, axis=0), 1e-9 * max(float(np.ptp(positions)), 1e-300))
        sorted_extent = np.sort(extent)
        area = 2.0 * float(sorted_extent[2] * (sorted_extent[1] + sorted_extent[0]))
        cell = _CELL * float(np.sqrt(area / len(positions)))
        self._cell = max(cell, float(np.cbrt(np.prod(extent + 3 * cell) / _MOST_CELLS)))
        self._shape = np.floor(extent / self._cell).astype(np.int64) + 1
        self._only, near = self._find_sole_colors(positions, len(paint.palette))
        self._near: _Vertices | _Triangles
        if triangles is None or not near.any():
            self._near = _Vertices(positions[near], paint.color[near])
        else:
            self._near = _Triangles(positions, paint.color, triangles[near[triangles].any(axis=1)])

    def colors_at(self, points: FloatArray) -> IntArray:
        """Return (k,) the colour nearest to each of (k, 3) points."""
        cell, is_inside = self._cells(points)
        out = np.full(len(points), _NO_VERTEX, np.int32)
        out[is_inside] = self._only[cell[is_inside]]
        for code, look in ((_NO_VERTEX, self._all), (_MANY, self._near)):
            searched = np.flatnonzero(out == code)
            if len(searched):
                out[searched] = look.colors_at(points[searched])
        return out

    def _cells(self, points: FloatArray) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        where = np.floor((points - self._low) / self._cell).astype(np.int64)
        is_inside = ((where >= 0) & (where < self._shape)).all(axis=1)
        return (where[:, 0] * self._shape[1] + where[:, 1]) * self._shape[2] + where[:, 2], is_inside

    def _find_sole_colors(self, positions: FloatArray, count: int) -> tuple[NDArray[np.int8], BoolArray]:
        """Return per cell the only colour near it, or -1, or codes for several and for no vertex in the cell.

        And (n,) which vertices lie near cells of several.
        """
        total = int(np.prod(self._shape))
        if count > _MOST_COLORS or total > 2 * _MOST_CELLS:
            none = np.zeros(len(positions), np.bool_)
            return np.full(total if total <= 2 * _MOST_CELLS else 0, _NO_VERTEX, np.int8), none
        cell, _ = self._cells(positions)
        seen = np.zeros(total, np.uint32)
        np.bitwise_or.at(seen, cell, np.uint32(1) << (self.color + 1).astype(np.uint32))
        near = _spread(seen.reshape(self._shape)).ravel()
        only = np.full(total, _NO_VERTEX, np.int8)
        only[cell] = _MANY
        for color in range(-1, count):
            only[cell[near[cell] == np.uint32(1) << np.uint32(color + 1)]] = color
        return only, _spread((only == _MANY).reshape(self._shape)).ravel()[cell]


class _Vertices:
    """Colours of the nearest of some vertices."""

    def __init__(self, positions: FloatArray, color: IntArray) -> None:
        self._tree, self._color = cKDTree(positions, balanced_tree=False), color

    def colors_at(self, points: FloatArray) -> IntArray:
        """Return (k,) the colours of the vertices nearest to (k, 3) points."""
        found: IntArray = self._color[nearest(self._tree, points)[1]]
        return found


class _Triangles:
    """Nearest colours on some triangles."""

    def __init__(self, positions: FloatArray, color: IntArray, triangles: IntArray) -> None:
        used, local = np.unique(triangles, return_inverse=True)
        self._positions = np.ascontiguousarray(positions[used], np.float64)
        self._local, self._color = local.reshape(-1, 3), color[used]
        self._tree = igl.AABB()
        self._tree.init(self._positions, self._local)

    def colors_at(self, points: FloatArray) -> IntArray:
        """Return (k,) the colours of the nearest corners of the triangles nearest to (k, 3) points."""
        _, which, landed = self._tree.squared_distance(self._positions, self._local, np.ascontiguousarray(points))
        corners = self._local[np.atleast_1d(which)]
        away = ((self._positions[corners] - np.reshape(landed, (-1, 1, 3))) ** 2).sum(axis=2)
        found: IntArray = self._color[corners[np.arange(len(corners)), away.argmin(axis=1)]]
        return found


def _spread(seen: NDArray[Bits]) -> NDArray[Bits]:
    """Return for each cell the bits of all cells up to ``_REACH`` away along each axis."""
    for axis in range(3):
        source, out = np.moveaxis(seen, axis, 0), seen.copy()
        target = np.moveaxis(out, axis, 0)
        for step in range(1, _REACH + 1):
            target[step:] |= source[:-step]
            target[:-step] |= source[step:]
        seen = out
    return seen
