"""Flow lines: what somebody drew on the sculpt becomes chains of edges that the layout follows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from typing import Literal, TypeAlias

import numpy as np
from scipy.spatial import cKDTree

from loopwright.marks.carry_ends import EndCarrier
from loopwright.marks.check_lines import check_lines
from loopwright.marks.close_pockets import close_pockets
from loopwright.marks.draw_line import LineDrawer, line_drawer, whole_drawer
from loopwright.marks.flow_field import FlowField, make_flow_field
from loopwright.marks.local_size import LocalSize
from loopwright.marks.settle_line import move_vertex, settle_line
from loopwright.marks.split_at_mirror import DrawnPart, split_at_mirror
from loopwright.marks.stopped_lines import StoppedLines
from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.marks.told_lines import ToldLines
from loopwright.marks.walk_line import finish_walk, walk_line
from loopwright.shelf import Shelf
from loopwright.surface.half_edges import arc_length
from loopwright.types import BoolArray, Finding, FloatArray, RegionSurface
from loopwright.wishes import FlowLine

EndKind: TypeAlias = Literal["border", "mirror", "loose"]

_ON = 0.5  # nearer than this to a border, in mesh edges, a line is on it
_SNAP = 1.2  # a loose end nearer than this runs to the border
_TAIL = 0.75  # so much of an end is given up to run to a border that it passes
_CROSSING = 2.5  # a stretch on a border shorter than this only crosses it
_SHORTEST = 1.5  # what is shorter than this is no line
_POCKET = 1.0  # an area of less than a square of this side, shut in by a line, is no patch
_SLACK = 0.12  # furthest that smoothing takes a line off what was drawn, in mesh edges


def add_flow_lines(
    surface: RegionSurface,
    lines: Sequence[FlowLine],
    *,
    reach: float | FloatArray,
    exact: bool = False,
    shelf: Shelf | None = None,
) -> tuple[RegionSurface, list[Finding]]:
    """Cut the surface along lines.

    Each line is put on the surface, smoothed there and becomes a chain of
    edges in ``flow_edges``.  What lies behind the mirror plane is reflected.
    Stretches along a border, the mirror plane or an earlier line are left to
    that.  A loose end near one of them runs to it; others are carried on
    until they meet one (see :func:`~loopwright.marks.carry_on.carry_on`).  Lines that cross share a vertex there.

    Parameters
    ----------
    lines : points on the sculpt or near it.
    reach : about the edge length that the mesh will have, everywhere or at each vertex of the surface.
    exact : the lines are dense and just where they shall be: they are not put on the surface.
    shelf : of the surface's sculpt: keeps what draws lines on this surface.

    Raises
    ------
    MarksError : a line lies far from the sculpt, or jumps between parts of it.
    """
    if not lines:
        return surface, []
    shelf = shelf or Shelf(depth=0)
    drawer, cutter = line_drawer(surface, shelf), _cutter(surface, shelf).copy()
    size = LocalSize(surface, reach)
    off = [] if exact else check_lines(surface, drawer, lines, size)

    work = _Lines(cutter, drawer, size, exact, lambda: _flow(surface, size, shelf))
    drawn = tuple(lines) if exact or surface.mirror is None else _draw_whole(surface, lines, size, shelf)
    for part in split_at_mirror(drawn, surface.mirror, lambda points: 0.5 * _ON * size(points)):
        if exact:
            work.add(part, drawer.trace(part.points, part.closed))
        elif surface.mirror is None:
            work.add(part, drawer.draw(part.points, part.closed, part.name, _near(size)))
        else:
            work.add(part, drawer.join(part.points, part.closed))
    work.carry_rest()
    known, nothing = {line.name for line in drawn}, []
    for line in lines:
        if line.name not in work.kept:
            why = work.stopped.tell(line.name) if line.name in known else "lies in one point of the surface"
            text = f"{line.name} {why}: it adds nothing."
            nothing.append(Finding("line_adds_nothing", text, names=(line.name,)))
    cut, line_of = work.cutter.finish(), work.cutter.line_of
    closed = close_pockets(cut, line_of, size.at_vertices(cut), _POCKET**2)
    told = work.told.tell(lines, work.stopped.names, line_of, cut.flow_edges, closed.flow_edges)
    return closed, [*off, *told, *nothing]


def ready_lines(surface: RegionSurface, shelf: Shelf, *, reach: float | FloatArray) -> None:
    """Put on a sculpt's shelf what does not depend on the lines that will be drawn on a surface of it.

    ``reach`` is that of :func:`add_flow_lines`.
    """
    line_drawer(surface, shelf)
    whole_drawer(surface, shelf).ready()
    _cutter(surface, shelf)
    _flow(surface, LocalSize(surface, reach), shelf)


def _flow(surface: RegionSurface, size: LocalSize, shelf: Shelf) -> FlowField:
    return shelf.keep("flow", (surface, size.sizes), lambda: make_flow_field(surface, size.sizes), depth=1)


def _cutter(surface: RegionSurface, shelf: Shelf) -> SurfaceCutter:
    return shelf.keep("line cutter", (surface,), lambda: SurfaceCutter(surface), depth=1)


def _near(size: LocalSize) -> Callable[[FloatArray], FloatArray]:
    """How far smoothing may take a line off what was drawn."""
    return lambda points: _SLACK * size(points)


def _draw_whole(
    surface: RegionSurface, lines: Sequence[FlowLine], size: LocalSize, shelf: Shelf
) -> tuple[FlowLine, ...]:
    """Return the lines dense and smooth on both halves: where they cross the plane is seen on the surface.

    A line that lies mostly behind the plane is reflected first, so that it and its image give the same.
    """
    drawer = whole_drawer(surface, shelf)
    out = []
    for line in lines:
        points = np.array(line.points, np.float64)
        if surface.mirror is not None and float(surface.mirror.signed_distance(points).mean()) < 0.0:
            points = surface.mirror.reflect(points)
        dense = drawer.draw(points, line.closed, line.name, _near(size))
        if len(dense) < 2:
            continue  # all of it lands on one point
        dense = dense[:-1] if line.closed else dense
        out.append(replace(line, points=tuple((float(x), float(y), float(z)) for x, y, z in dense)))
    return tuple(out)


class _Lines:
    """The lines that are in the surface so far."""

    def __init__(
        self, cutter: SurfaceCutter, drawer: LineDrawer, size: LocalSize, exact: bool, flow: Callable[[], FlowField]
    ) -> None:
        self.cutter, self.drawer, self.size = cutter, drawer, size
        self.exact, self.carrier = exact, EndCarrier(cutter, drawer, size, cache(flow), exact)
        self.waiting: list[tuple[str, list[int]]] = []
        self.kept: set[str] = set()
        self.told = ToldLines()
        self.stopped = StoppedLines(cutter)

    def add(self, part: DrawnPart, line: FloatArray) -> None:
        """Cut one drawn part in, but for the stretches that run along something."""
        self._next(part.name)
        off = self._is_off(line)
        if not off.all():
            self.stopped.note_along(part.name, line[~off])
        if part.closed:
            if off.all():
                self._add_closed(part.name, line)
                return
            if not off.any():
                return
            line, off = _turn_to_border(line, off)
        bounds = [0, *(np.flatnonzero(np.diff(off)) + 1).tolist(), len(line)]
        runs = [(a, b) for a, b in zip(bounds[:-1], bounds[1:], strict=True) if off[a]]
        for a, b in runs:
            start: EndKind = "border" if a > 0 else ("mirror" if part.starts_in_plane else "loose")
            end: EndKind = "border" if b < len(line) else ("mirror" if part.ends_in_plane else "loose")
            self._add_open(part.name, line[max(a - 1, 0) : b + 1], start, end)

    def _next(self, name: str) -> None:
        """Let what is cut in from here on be of this line."""
        self.cutter.current += 1
        self.stopped.names[self.cutter.current] = name

    def _is_short(self, name: str, line: FloatArray, least: float) -> bool:
        """Tell, and note, whether a line is shorter than so many edges of the mesh."""
        length, edge = float(arc_length(line)[-1]), self._mean(line)
        is_short = length < least * edge
        if is_short:
            self.stopped.note_short(name, len(line), length / edge, least)
        return is_short

    def _is_off(self, line: FloatArray) -> BoolArray:
        """Tell which points of a line are not on a border; where it only crosses one counts as off."""
        tree, held = self._held()
        if tree is None:
            return np.ones(len(line), bool)
        gap, nearest = tree.query(line)
        off: BoolArray = gap > _ON * self.size(line)
        at_rim = np.array([self.cutter.is_at_rim(v) and not self.cutter.on_mirror[v] for v in held.tolist()])[nearest]
        length = arc_length(line)
        bounds = [0, *(np.flatnonzero(np.diff(off)) + 1).tolist(), len(line)]
        for a, b in zip(bounds[:-1], bounds[1:], strict=True):
            inner = a > 0 and b < len(line) and not at_rim[a:b].any()  # nothing crosses an opening
            if not off[a] and inner and length[b - 1] - length[a] < _CROSSING * self.size.at(line[a]):
                off[a:b] = True
        return off

    def _mean(self, line: FloatArray) -> float:
        return float(self.size(line).mean())

    def _held(self, only_mirror: bool = False) -> tuple[cKDTree | None, np.ndarray]:
        held = np.array([v for v in sorted(self.cutter.held) if not only_mirror or self.cutter.on_mirror[v]], np.int64)
        if len(held) == 0:
            return None, held
        return self.cutter.tree_of(held), held

    def _add_closed(self, name: str, line: FloatArray) -> None:
        if self._is_short(name, line, 2 * _SHORTEST):
            return
        start = self.cutter.put_vertex(line[0])
        path = finish_walk(self.cutter, walk_line(self.cutter, start, line, start), start, line)
        self._note(name, path, line)

    def _add_open(self, name: str, line: FloatArray, start_kind: EndKind, end_kind: EndKind) -> None:
        """Cut an open line in."""
        line, start = self._end(line[::-1], start_kind)
        line, end = self._end(line[::-1], end_kind)
        if self._is_short(name, line, _SHORTEST):
            return
        first = self.cutter.put_vertex(line[0]) if start is None else start
        last = self.cutter.put_vertex(line[-1]) if end is None else end
        path = finish_walk(self.cutter, walk_line(self.cutter, first, line, last), last, line)
        if path[-1] != last:
            self.told.broken(self.cutter.current, name)
        self._note(name, path, line)
        if start is None:
            self.waiting.append((name, path[::-1]))
        if end is None or path[-1] != last:
            self.waiting.append((name, path))

    def carry_rest(self) -> None:
        """Carry on what nothing has come to meet: all that was drawn goes before what it is carried on by."""
        for name, path in self.waiting:
            self._next(name)
            end = path[-1]
            if sum(self.cutter.is_held_edge(end, v) for v in self.cutter.neighbours(end)) == 1:
                self._carry_on(name, path)

    def _end(self, line: FloatArray, kind: EndKind) -> tuple[FloatArray, int | None]:
        """Trim or lengthen a line's end to what is near; return the vertex there, or None for a loose end."""
        tree, held = self._held(kind == "mirror")
        if tree is None:
            return line, None
        length, reach = arc_length(line), self.size.at(line[-1])
        tail = np.flatnonzero(length >= length[-1] - _TAIL * reach)
        gap, nearest = tree.query(line[tail])
        k = int(gap.argmin())
        if self.exact and gap[-1] < _ON * reach:
            vertex = int(held[nearest[-1]])
            if self.cutter.on_mirror[vertex]:
                move_vertex(self.cutter, vertex, line[-1])
            return np.concatenate([line, self.cutter.points[vertex][None]]), vertex
        if gap[k] < _ON * reach:
            return np.concatenate([line[: tail[k] + 1], tree.data[nearest[k]][None]]), int(held[nearest[k]])
        if gap[-1] < _SNAP * reach or kind != "loose":
            return np.concatenate([line, tree.data[nearest[-1]][None]]), int(held[nearest[-1]])
        return line, None

    def _carry_on(self, name: str, path: list[int]) -> None:
        """Lengthen a chain that is in the surface beyond its last vertex."""
        carried = self.carrier.carry(path)
        if carried is None:
            self.told.loose(self.cutter.current, name)
            return
        self._note(name, carried.path, carried.line)
        length = float(arc_length(carried.way)[-1])
        if length > 2.0 * self._mean(carried.way):
            self.told.carried(self.cutter.current, name, carried.way, length)

    def _note(self, name: str, path: list[int], line: FloatArray) -> None:
        self.kept.add(name)
        settle_line(self.cutter, path, line, None if self.exact else self.drawer)
        for a, b in zip(path[:-1], path[1:], strict=True):
            self.cutter.mark_line(a, b)


def _turn_to_border(line: FloatArray, off: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Let a closed line (its first point repeated) start on a border."""
    start = int(np.flatnonzero(~off)[0])
    order = (np.arange(len(line)) + start) % (len(line) - 1)
    return line[order], off[order]
