"""The edges of a mesh that lie on borders between two colours: where along their curve, and what is to either side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.slide_curves import CurveSet
from loopwright.surface.edges import row_lengths
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh

_NEAR_CURVE = 1.0  # of an edge: an end further from a curve does not belong to it, even if that was drawn elsewhere
_LONGER = 1.6  # times an edge: a longer way along the curve is not the edge's
SAME_COLOR, NO_QUAD = -2, -3  # stand for what lies beyond a side of a quad


@dataclass(frozen=True)
class BorderSides:
    """Edges on borders between two colours.

    Attributes
    ----------
    curve : (e,) each edge's curve.
    ends : (e, 2) vertices, the first where the edge begins along the curve.
    along : (e, 2) where on the curve it begins and ends, ascending; on closed curves it may run past the end.
    colors : (e, 2) colours of the quads to the left and to the right of the curve's direction.
    depths : (e, 2) of those quads, away from the border.
    rooms : (e, 2) the same, but at least the edge's length where more quads of the colour lie behind.
    """

    curve: NDArray[np.int64]
    ends: NDArray[np.int64]
    along: FloatArray
    colors: NDArray[np.int64]
    depths: FloatArray
    rooms: FloatArray

    def take(self, chosen: NDArray[np.bool_]) -> BorderSides:
        """Return the chosen edges."""
        return BorderSides(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


def colors_beyond(quads: IntArray, own: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return (m, 4) the colour beyond each side of the quads, from corner to corner, or what stands for none."""
    size = int(quads.max(initial=0)) + 1
    start, end = quads.astype(np.int64).ravel(), np.roll(quads, -1, axis=1).astype(np.int64).ravel()
    forth, back = start * size + end, end * size + start
    order = np.argsort(forth)
    at = order[np.minimum(np.searchsorted(forth, back, sorter=order), len(order) - 1)]
    beyond = np.where(forth[at] == back, own[at // 4], NO_QUAD).reshape(-1, 4)
    return np.where(beyond == own[:, None], SAME_COLOR, beyond)


def find_border_sides(
    mesh: QuadMesh,
    near: BoolArray,
    own: NDArray[np.int64],
    beyond: NDArray[np.int64],
    curves: CurveSet,
    *,
    rim: int = NO_QUAD,
) -> BorderSides:
    """Return the border edges of which both ends are near.

    Parameters
    ----------
    near : (n,) the vertices looked at.
    own : (m,) the quads' colours. beyond : as :func:`colors_beyond` gives it.
    curves : the mesh's curves.
    rim : stands for the colour beyond edges that have one quad only, in ``beyond`` too; without it those are left out.
    """
    quad, side = np.nonzero((beyond >= 0) & (own[:, None] >= 0))
    start, end = (mesh.quads[quad, (side + k) % 4].astype(np.int64) for k in range(2))
    curve, fits = _curve_of_edges(mesh, start, end)
    fits &= near[start] & near[end]
    quad, side, start, end, curve = quad[fits], side[fits], start[fits], end[fits], curve[fits]
    points = mesh.positions
    across = points[mesh.quads[quad, (side + 2) % 4]] + points[mesh.quads[quad, (side + 3) % 4]]
    depth = 0.5 * row_lengths(across - points[start] - points[end])
    is_backed = beyond[quad, (side + 2) % 4] == SAME_COLOR
    room = np.where(is_backed, np.maximum(depth, row_lengths(points[end] - points[start])), depth)
    pairs, first, edge = np.unique(
        np.sort(np.stack([start, end], axis=1), axis=1), axis=0, return_index=True, return_inverse=True
    )
    edge = edge.ravel()
    along, gap, is_off = _locate(points, pairs, curve[first], curves)
    # the quad whose side runs along the curve's direction lies to the left of it
    column = ((start == pairs[edge, 0]) == (gap[edge] < 0)).astype(np.int64)
    colors = np.full((len(pairs), 2), rim, np.int64)
    length = row_lengths(points[pairs[:, 1]] - points[pairs[:, 0]])
    depths, rooms = np.stack([length, length], axis=1), np.stack([length, length], axis=1)
    colors[edge, column], depths[edge, column], rooms[edge, column] = own[quad], depth, room
    ends = np.where((gap < 0)[:, None], pairs[:, ::-1], pairs)
    begin = np.where(gap < 0, along[:, 1], along[:, 0])
    spans = np.stack([begin, begin + np.abs(gap)], axis=1)
    return BorderSides(curve[first], ends, spans, colors, depths, rooms).take(
        (colors >= 0).all(axis=1) & (gap != 0) & ~is_off
    )


def _curve_of_edges(
    mesh: QuadMesh, start: NDArray[np.int64], end: NDArray[np.int64]
) -> tuple[NDArray[np.int64], BoolArray]:
    """Return the curve that each border edge may lie on, and whether there is one.

    What stops on a curve, such as a junction, can have the number of another one that ends there.
    """
    on = np.stack([mesh.vertex_curve[start], mesh.vertex_curve[end]], axis=1).astype(np.int64)
    stops = (mesh.is_fixed | mesh.on_mirror)[np.stack([start, end], axis=1)] | (on < 0)
    curve = np.where(stops[:, 0] & (on[:, 1] >= 0), on[:, 1], on[:, 0])
    fits = ((on == curve[:, None]) | stops).all(axis=1) & (curve >= 0)
    return curve, np.asarray(fits & (~stops.all(axis=1) | (on[:, 0] == on[:, 1]) | (on < 0).any(axis=1)), np.bool_)


def _locate(
    points: FloatArray, pairs: NDArray[np.int64], curve: NDArray[np.int64], curves: CurveSet
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return where edges' ends are along their curves, the way from first to second, and which edges do not lie there.

    (e, 2), (e,) and (e,) bool.
    """
    along, off = np.zeros((len(pairs), 2)), np.zeros((len(pairs), 2))
    for index in np.unique(curve):
        rows = curve == index
        for k in range(2):
            along[rows, k], off[rows, k] = curves.locate(int(index), points[pairs[rows, k]])
    gap, length = along[:, 1] - along[:, 0], curves.length[curve]
    gap = np.where(curves.closed[curve], gap - length * np.round(gap / length), gap)
    edge = row_lengths(points[pairs[:, 0]] - points[pairs[:, 1]])
    return along, gap, (off.max(axis=1) > _NEAR_CURVE * edge) | (np.abs(gap) > _LONGER * edge)
