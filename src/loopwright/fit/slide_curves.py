"""Vertices that slide on their curves: where each is along it, and steps that keep their order."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.link_edges import unique_edges
from loopwright.numerics.norms import norms
from loopwright.types import Curve, FloatArray, QuadMesh

_KEEP_GAP = 0.3  # share of the gap to a neighbour that one step must leave
_LEAST_GAP = 0.25  # of the curve's mean gap
_SHORTENINGS = 20
_SPREAD_GAP = 0.35  # share of a curve's mean gap to which crowded neighbours are pushed apart
_SPREADINGS = 60
_ON_CURVE = 0.05  # of an edge: a fixed vertex this near to a curve stands on it
_CHUNK = 4_000_000


@dataclass(frozen=True)
class CurveSet:
    """All curves laid end to end in one parameter, the arc length; gaps keep them apart.

    Attributes
    ----------
    knots : (K,) ascending parameters of the polyline points.
    points : (K, 3) polyline points, a closed curve's first repeated at its end.
    base, length : (c,) where each curve starts, and its arc length.
    closed : (c,) bool.
    """

    knots: FloatArray
    points: FloatArray
    base: FloatArray
    length: FloatArray
    closed: NDArray[np.bool_]

    def position(self, curve: NDArray[np.integer], along: FloatArray) -> FloatArray:
        """Return (k, 3) points at arc length ``along`` of the curves named."""
        if len(curve) == 0:
            return np.zeros((0, 3))
        length = self.length[curve]
        wrapped = np.where(self.closed[curve], np.mod(along, length), np.clip(along, 0.0, length))
        parameter = self.base[curve] + wrapped
        return np.stack([np.interp(parameter, self.knots, self.points[:, k]) for k in range(3)], axis=1)

    def tangent(self, curve: NDArray[np.integer], along: FloatArray, reach: FloatArray) -> FloatArray:
        """Return (k, 3) unit tangents, each measured over ``reach`` to both sides."""
        chord = self.position(curve, along + reach) - self.position(curve, along - reach)
        length = norms(chord)[..., None]
        direction: FloatArray = chord / np.where(length > 0.0, length, 1.0)
        return direction

    def locate(self, curve: int, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return (k,) arc lengths of the points of one curve closest to (k, 3) points, and the distances."""
        first = int(np.searchsorted(self.knots, self.base[curve]))
        last = int(np.searchsorted(self.knots, self.base[curve] + self.length[curve], side="right"))
        start, end = self.points[first : last - 1], self.points[first + 1 : last]
        step = np.diff(self.knots[first:last])
        chunk = max(1, _CHUNK // max(1, len(start)))
        parts = [_locate(points[k : k + chunk], start, end, step) for k in range(0, len(points), chunk)]
        if not parts:
            return np.zeros(0), np.zeros(0)
        return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def lay_curves(curves: tuple[Curve, ...]) -> CurveSet:
    """Return the curves as one set; repeated points are dropped, a curve without length stays a point."""
    knots, points, base, length = [], [], [], []
    start = 0.0
    for curve in curves:
        line = np.asarray(curve.points, np.float64)
        line = np.vstack([line, line[:1]]) if curve.closed else line
        step = norms(np.diff(line, axis=0))
        keep = np.concatenate([[True], step > 0.0])
        line, step = line[keep], step[step > 0.0]
        if len(line) < 2:
            line, step = np.vstack([line[:1], line[:1]]), np.array([1e-300])
        total = float(step.sum())
        knots.append(start + np.concatenate([[0.0], np.cumsum(step)]))
        points.append(line)
        base.append(start)
        length.append(total)
        start = float(knots[-1][-1]) + max(1.0, total)
    closed = np.array([c.closed for c in curves], bool)
    if not curves:
        return CurveSet(np.zeros(0), np.zeros((0, 3)), np.zeros(0), np.zeros(0), closed)
    return CurveSet(np.concatenate(knots), np.vstack(points), np.array(base), np.array(length), closed)


def _locate(points: FloatArray, start: FloatArray, end: FloatArray, step: FloatArray) -> tuple[FloatArray, FloatArray]:
    along = (end - start) / np.where(step > 0.0, step, 1.0)[:, None]
    t = np.clip(points @ along.T - np.einsum("ij,ij->i", start, along), 0.0, step)
    gap = points[:, None] - start[None] - t[:, :, None] * along[None]
    distance = np.einsum("ijk,ijk->ij", gap, gap)
    best = distance.argmin(axis=1)
    rows = np.arange(len(points))
    before = np.concatenate([[0.0], np.cumsum(step)])
    return before[best] + t[rows, best], np.sqrt(distance[rows, best])


class CurveSlide:
    """Where the sliding vertices of one mesh are along their curves.

    Parameters
    ----------
    mesh : gives curves, roles and edges. Vertices that are fixed do not slide.
    slides : (n,) bool, the vertices that slide.

    Attributes
    ----------
    vertices : (k,) ids of the sliding vertices; ``curve`` and ``along`` (k,) say where they are.
    """

    def __init__(self, mesh: QuadMesh, slides: NDArray[np.bool_]) -> None:
        self.curves = lay_curves(mesh.curves)
        self.vertices = np.flatnonzero(slides)
        self.curve = mesh.vertex_curve[self.vertices].astype(np.int64)
        self.along = np.zeros(len(self.vertices))
        for index in np.unique(self.curve):
            chosen = self.curve == index
            self.along[chosen] = self.curves.locate(int(index), mesh.positions[self.vertices[chosen]])[0]
        self._link(mesh)
        self._sort()
        self.spread()

    def _link(self, mesh: QuadMesh) -> None:
        """Find the pairs of neighbours along each curve: slider to slider, and slider to fixed vertex."""
        row = np.full(len(mesh.positions), -1, np.int64)
        row[self.vertices] = np.arange(len(self.vertices))
        edges = unique_edges(mesh.quads)
        first, second = row[edges[:, 0]], row[edges[:, 1]]
        both = (first >= 0) & (second >= 0)
        both[both] = self.curve[first[both]] == self.curve[second[both]]
        self._pairs = np.stack([first[both], second[both]], axis=1)
        mixed = edges[(first >= 0) != (second >= 0)]
        slider = np.where(row[mixed[:, 0]] >= 0, mixed[:, 0], mixed[:, 1])
        other = np.where(row[mixed[:, 0]] >= 0, mixed[:, 1], mixed[:, 0])
        may_stop = mesh.is_fixed[other] | mesh.on_mirror[other] | (mesh.vertex_curve[other] >= 0)
        slider, other = row[slider[may_stop]], other[may_stop]
        stop, distance = np.zeros(len(slider)), np.full(len(slider), np.inf)
        for index in np.unique(self.curve[slider]):
            chosen = self.curve[slider] == index
            stop[chosen], distance[chosen] = self.curves.locate(int(index), mesh.positions[other[chosen]])
        edge = norms(mesh.positions[self.vertices[slider]] - mesh.positions[other])
        on = distance <= _ON_CURVE * edge
        self._stop_row, self._stop = slider[on], stop[on]

    def _gap(self, curve: NDArray[np.int64], start: FloatArray, end: FloatArray) -> FloatArray:
        gap = end - start
        length = self.curves.length[curve]
        wrapped: FloatArray = np.where(self.curves.closed[curve], gap - length * np.round(gap / length), gap)
        return wrapped

    def _sort(self) -> None:
        """Put vertices that were placed out of order along their curve back in order."""
        neighbours: dict[int, list[int]] = {}
        for a, b in self._pairs.tolist():
            neighbours.setdefault(a, []).append(b)
            neighbours.setdefault(b, []).append(a)
        stops: dict[int, list[float]] = {}
        for a, stop in zip(self._stop_row.tolist(), self._stop.tolist(), strict=True):
            stops.setdefault(a, []).append(stop)
        seen: set[int] = set()
        ends_first = sorted(range(len(self.vertices)), key=lambda v: (len(neighbours.get(v, [])) >= 2, v))
        for begin in ends_first:
            if begin in seen:
                continue
            run = [begin]
            seen.add(begin)
            while True:
                onward = [v for v in neighbours.get(run[-1], []) if v not in seen]
                if not onward:
                    break
                run.append(onward[0])
                seen.add(onward[0])
            self._sort_run(np.array(run), stops)

    def _sort_run(self, run: NDArray[np.int64], stops: dict[int, list[float]]) -> None:
        curve = self.curve[run]
        gaps = self._gap(curve[1:], self.along[run[:-1]], self.along[run[1:]])
        lead, tail = stops.get(int(run[0]), []), stops.get(int(run[-1]), [])
        if len(run) == 1:
            lead, tail = lead[:1], lead[1:2]
        values = self.along[run[0]] + np.concatenate([[0.0], np.cumsum(gaps)])
        low = self._gap(curve[:1], self.along[run[:1]], np.array(lead[:1])) if lead else np.zeros(0)
        high = self._gap(curve[-1:], self.along[run[-1:]], np.array(tail[:1])) if tail else np.zeros(0)
        values = np.concatenate([values[0] + low, values, values[-1] + high])
        step = np.diff(values)
        if len(step) == 0 or (step > 0.0).all() or (step < 0.0).all():
            return
        span = values[-1] - values[0]
        direction = np.sign(span) if len(low) and len(high) and span != 0.0 else np.sign(np.median(step)) or 1.0
        begin, end = len(low), len(values) - len(high)
        inner = np.sort(values[begin:end] * direction)
        least = values[0] * direction if len(low) else inner[0]
        most = values[-1] * direction if len(high) else inner[-1]
        inner = np.clip(inner, least, max(least, most))
        even = np.linspace(least, max(least, most), len(values))[begin:end]
        self.along[run] = (0.8 * inner + 0.2 * even) * direction

    def spread(self) -> None:
        """Push neighbours apart that crowd: no gap stays below a share of its curve's mean gap."""
        a, b = self._pairs[:, 0], self._pairs[:, 1]
        row = self._stop_row
        for _ in range(_SPREADINGS):
            gap = self._gap(self.curve[a], self.along[a], self.along[b])
            stop_gap = self._gap(self.curve[row], self.along[row], self._stop)
            lack = np.maximum(_SPREAD_GAP * self._usual(a) - np.abs(gap), 0.0)
            stop_lack = np.maximum(_SPREAD_GAP * self._usual(row) - np.abs(stop_gap), 0.0)
            if not (lack.any() or stop_lack.any()):
                return
            push = 0.5 * lack * np.where(gap < 0, -1.0, 1.0)
            np.add.at(self.along, a, -push)
            np.add.at(self.along, b, push)
            np.add.at(self.along, row, -stop_lack * np.where(stop_gap < 0, -1.0, 1.0))

    def _usual(self, row: NDArray[np.int64]) -> FloatArray:
        """Return the mean gap of each slider's curve."""
        count = np.bincount(self.curve, minlength=len(self.curves.length))
        usual: FloatArray = self.curves.length[self.curve[row]] / (count[self.curve[row]] + 1.0)
        return usual

    def positions(self) -> FloatArray:
        """Return (k, 3) points of the sliding vertices."""
        return self.curves.position(self.curve, self.along)

    def take(self, positions: FloatArray) -> None:
        """Take the places on the curves that (k, 3) points of the sliding vertices lie nearest to."""
        moved = np.abs(positions - self.positions()).max(axis=1, initial=0.0) > 0.0
        for index in np.unique(self.curve[moved]):
            chosen = moved & (self.curve == index)
            self.along[chosen] = self.curves.locate(int(index), positions[chosen])[0]

    def tangents(self, reach: FloatArray) -> FloatArray:
        """Return (k, 3) unit tangents in the direction of growing arc length."""
        return self.curves.tangent(self.curve, self.along, reach)

    def limit_steps(self, steps: FloatArray, along: FloatArray) -> FloatArray:
        """Return the (k,) steps from ``along`` shortened so that no vertex passes or crowds a neighbour."""
        steps = steps.copy()
        a, b = self._pairs[:, 0], self._pairs[:, 1]
        gap = self._gap(self.curve[a], along[a], along[b])
        stop_gap = self._gap(self.curve[self._stop_row], along[self._stop_row], self._stop)
        room, stop_room = self._room(a, np.abs(gap)), self._room(self._stop_row, np.abs(stop_gap))
        for _ in range(_SHORTENINGS):
            closing = (steps[a] - steps[b]) * np.sign(gap) > room
            stopped = steps[self._stop_row] * np.sign(stop_gap) > stop_room
            scale = np.ones(len(steps))
            scale[a[closing]] = scale[b[closing]] = scale[self._stop_row[stopped]] = 0.6
            if (scale == 1.0).all():
                return steps
            steps *= scale
        crowded = (steps[a] - steps[b]) * np.sign(gap) > room
        steps[a[crowded]] = steps[b[crowded]] = 0.0
        return steps

    def _room(self, row: NDArray[np.int64], gap: FloatArray) -> FloatArray:
        """Return by how much each gap may close: to no less than a share of its curve's mean gap."""
        room: FloatArray = np.minimum((1.0 - _KEEP_GAP) * gap, np.maximum(gap - _LEAST_GAP * self._usual(row), 0.0))
        return room
