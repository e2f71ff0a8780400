"""Draw borders nearer to the paint where they lie so far off it that quads beside them are mostly of other paint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from loopwright.fit.border_sides import BorderSides
from loopwright.fit.slide_curves import CurveSet
from loopwright.surface.edges import cross_rows
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import Curve, FloatArray, IntArray, QuadMesh

Colors = Callable[[FloatArray], list[IntArray]]
"""Takes (k, 3) points to the colours there, one (k,) array for each side of the mirror plane."""

_PER_EDGE = 5.0  # stations along a border per edge
_ACROSS = 6  # samples to either side
_REACH = 1.1  # of the room on that side, and ...
_FARTHEST = 1.2  # ... of the border's mean edge: how far the paint is looked for
_MOST = 0.7  # of that reach: how far a border moves
_SLACK = 0.02  # of the mean edge, and ...
_FLAT_SLACK = 0.03  # ... of the depth of the quads beside it: so far off the paint a border may stay
_NEARER = 0.1  # of a sample: what each step away from the border costs
_OTHER = 0.3  # share of the samples that may be of other colours where a border of two is looked for
_STIFFNESS = 10.0  # of the shifts, in stations: they bend within two edges, so that no vertex follows one bristle
_NEAR_ENOUGH = 0.1  # of an edge: where smoothing misses the paint by more, as in a corner, ...
_FIRMEST = 10.0  # ... the paint counts for more, up to so much
_WRAPPED = 20
_NO_SHIFT = 0.01  # of an edge
_LEAST_EDGE = 1e-3  # of the curve's length


def draw_to_paint(
    mesh: QuadMesh, sides: BorderSides, curves: CurveSet, colors: Colors, projector: SurfaceProjector
) -> tuple[Curve, ...]:
    """Return the curves of the mesh, those of these border edges drawn nearer to the paint along them.

    At stations along such an edge the place is found, square to the border, that parts the samples of its two colours
    best. What that is off the border by more than a part of an edge, or of a flat quad beside it, is smoothed along
    the border and added. Ends of curves stay, and so does what lies at vertices that are fixed on them.

    Parameters
    ----------
    curves : the mesh's curves.
    colors : looks up the paint.
    """
    drawn = list(mesh.curves)
    for index in np.unique(sides.curve):
        part = sides.take(sides.curve == index)
        stops = np.unique(part.along[mesh.is_fixed[part.ends]])
        drawn[index] = _draw(int(index), mesh.curves[index], curves, part, stops, colors, projector)
    return tuple(drawn)


def _draw(
    index: int,
    curve: Curve,
    curves: CurveSet,
    sides: BorderSides,
    stops: FloatArray,
    colors: Colors,
    projector: SurfaceProjector,
) -> Curve:
    """Return one curve drawn to the paint along the border edges of these sides, and less so near the stops on it."""
    length = float(curves.length[index])
    edge = max(float((sides.along[:, 1] - sides.along[:, 0]).mean()), _LEAST_EDGE * length)
    count = max(4, int(np.ceil(_PER_EDGE * length / edge)))
    station = (np.arange(count) + 0.5) * length / count
    asked, of = stations_on(sides, station, length if curve.closed else np.inf)
    if len(asked) == 0:
        return curve
    points, along = curves.position(np.full(count, index), station), np.full(len(asked), index)
    tangent = curves.tangent(along, station[asked], np.full(len(asked), 0.3 * edge))
    left = unit(cross_rows(projector.project(points[asked]).normals, tangent))
    reach = np.minimum(_REACH * sides.rooms[of], _FARTHEST * edge)
    offset, _ = find_paint(points[asked], left, reach, sides.colors[of], colors)
    slack = np.minimum(_SLACK * edge, _FLAT_SLACK * sides.depths[of].min(axis=1))
    target = np.zeros(count)
    target[asked] = np.sign(offset) * np.maximum(np.abs(offset) - slack, 0.0)
    if not target.any():
        return curve
    misses = np.abs(_smooth(target, curve.closed) - target) / (_NEAR_ENOUGH * edge)
    smooth = _smooth(target, curve.closed, np.clip(misses**2, 1.0, _FIRMEST))
    shift = np.clip(smooth[asked], -_MOST * reach[:, 1], _MOST * reach[:, 0])
    if len(stops):
        gap = np.abs(station[asked][:, None] - stops)
        gap = np.minimum(gap, np.abs(length - gap)) if curve.closed else gap
        shift *= np.clip(gap.min(axis=1) / edge, 0.0, 1.0)
    moves = np.abs(shift) > _NO_SHIFT * edge
    points[asked[moves]] = projector.project(points[asked[moves]] + shift[moves, None] * left[moves]).points
    near = np.zeros(count, np.bool_)
    for step in (-1, 0, 1):  # those next to them hold the rest of the curve where it is
        beside = asked[moves] + step
        near[beside % count if curve.closed else np.clip(beside, 0, count - 1)] = True
    return _put_in(index, curve, curves, station[near], points[near], length / count)


def stations_on(sides: BorderSides, station: FloatArray, period: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return which stations along a curve lie on these of its edges, and on which edge each does.

    Parameters
    ----------
    station : (k,) arc lengths. period : the length of a closed curve, else inf.
    """
    since = station[:, None] - sides.along[:, 0]
    since = np.where(since < 0, since + period, since)
    within = since < sides.along[:, 1] - sides.along[:, 0]
    asked = np.flatnonzero(within.any(axis=1))
    return asked, within[asked].argmax(axis=1)


def _put_in(index: int, curve: Curve, curves: CurveSet, along: FloatArray, points: FloatArray, step: float) -> Curve:
    """Return the curve with its own points near these places replaced by the given ones."""
    first = int(np.searchsorted(curves.knots, curves.base[index]))
    last = int(np.searchsorted(curves.knots, curves.base[index] + curves.length[index], side="right"))
    knots, own = curves.knots[first:last] - curves.base[index], curves.points[first:last]
    gap = np.abs(knots[:, None] - along)
    if curve.closed:
        knots, own, gap = knots[:-1], own[:-1], gap[:-1]
        gap = np.minimum(gap, curves.length[index] - gap)
    stays = gap.min(axis=1, initial=np.inf) > 0.6 * step
    if not curve.closed:
        stays[[0, -1]] = True
    order = np.argsort(np.concatenate([knots[stays], along]), kind="stable")
    return replace(curve, points=np.ascontiguousarray(np.vstack([own[stays], points])[order]))


def find_paint(
    spots: FloatArray, left: FloatArray, reach: FloatArray, pair: NDArray[np.int64], colors: Colors
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return (k,) how far to the left of (k, 3) spots the paint's border is, square to the curve, and if that is sure.

    It is not, and 0 is returned, where much paint near is of neither colour.

    Parameters
    ----------
    left : (k, 3) unit vectors.
    reach : (k, 2) how far to the left and to the right it is looked for.
    pair : (k, 2) the colours to the left and to the right.
    colors : looks up the paint.
    """
    at = (np.arange(_ACROSS) + 0.5) / _ACROSS
    places = np.concatenate([-at[::-1] * reach[:, 1:], at * reach[:, :1]], axis=1)
    step = np.repeat(reach[:, ::-1] / _ACROSS, _ACROSS, axis=1)
    bounds = np.concatenate([places[:, :1] - 0.5 * step[:, :1], places + 0.5 * step], axis=1)
    samples = spots[:, None] + places[:, :, None] * left[:, None]
    cost = _NEARER * np.abs(np.arange(2 * _ACROSS + 1) - _ACROSS) * step.mean(axis=1)[:, None]
    paint = [color.reshape(places.shape) for color in colors(samples.reshape(-1, 3))]
    other = np.zeros(len(spots))
    for color in paint:
        other += ((color != pair[:, :1]) & (color != pair[:, 1:])).sum(axis=1)
        wrong_right = np.where(color == pair[:, :1], step, 0.0)  # of the left colour, if the border lay beyond
        wrong_left = np.where(color == pair[:, 1:], step, 0.0)
        cost[:, 1:] += np.cumsum(wrong_right, axis=1)
        cost[:, :-1] += np.cumsum(wrong_left[:, ::-1], axis=1)[:, ::-1]
    offset: FloatArray = bounds[np.arange(len(spots)), cost.argmin(axis=1)]
    is_sure = other <= _OTHER * len(paint) * 2 * _ACROSS
    return np.where(is_sure, offset, 0.0), is_sure


def _smooth(target: FloatArray, is_closed: bool, weight: FloatArray | None = None) -> FloatArray:
    """Return the minimiser of weight |s - target|^2 + stiffness |second differences|^2, zero beyond the ends."""
    wrapped = _WRAPPED if is_closed else 0  # stations beyond which shifts no longer tell on each other
    padded = np.pad(target, wrapped, mode="wrap")
    data = np.ones(len(padded)) if weight is None else np.pad(weight, wrapped, mode="wrap")
    bands = np.repeat(_STIFFNESS * np.array([[1.0], [-4.0], [6.0]]), len(padded), axis=1)
    bands[2] += data
    bands[2, [0, -1]] -= _STIFFNESS
    out: FloatArray = solveh_banded(bands, data * padded)
    return out[wrapped : wrapped + len(target)]
