"""Lengthen a chain that is cut into the surface beyond its last vertex, smoothly, until it meets something."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from loopwright.marks.carry_on import carry_on
from loopwright.marks.draw_line import LineDrawer, resample
from loopwright.marks.flow_field import FlowField
from loopwright.marks.local_size import LocalSize
from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.marks.walk_line import finish_walk, walk_line
from loopwright.surface.half_edges import arc_length
from loopwright.types import FloatArray

_SPACING = 0.7  # of a dense line's points, in triangle edges
_DRAWN = 1e5  # how much more what was drawn is held than what it is carried on by
_LIMIT = 2.0  # longest way, in diagonals of the surface


@dataclass(frozen=True)
class Carried:
    """The vertices from a chain's end on, the dense line that they follow, and the way as it was found."""

    path: list[int]
    line: FloatArray
    way: FloatArray


@dataclass(frozen=True)
class EndCarrier:
    """Carries ends on: ``exact`` ones are not smoothed; ``flow`` makes the flow of the edges when it is needed."""

    cutter: SurfaceCutter
    drawer: LineDrawer
    size: LocalSize
    flow: Callable[[], FlowField]
    exact: bool

    def carry(self, path: list[int]) -> Carried | None:
        """Cut the surface from the last vertex of a chain on; None where nothing lies ahead that it gets to."""
        drawn = np.array([self.cutter.points[v] for v in path])
        length, reach = arc_length(drawn), self.size.at(drawn[-1])
        back = drawn[max(int(np.searchsorted(length, length[-1] - reach, side="right")) - 1, 0)]
        limit = _LIMIT * float(np.linalg.norm(np.ptp(self.drawer.surface.positions, axis=0)))
        way = carry_on(self.cutter, path[-1], drawn[-1] - back, reach, limit, self.flow)
        if way is None:
            return None
        end = self.cutter.put_vertex(way.points[-1]) if way.joins is None else way.joins
        line = self._smooth(drawn, way.points)
        new = walk_line(self.cutter, path[-1], line, end, stops_at_lines=True)
        if not self._arrived(new):
            new = finish_walk(self.cutter, new, end, line)
        return Carried(new, line, way.points) if self._arrived(new) else None

    def _arrived(self, path: list[int]) -> bool:
        return len(path) > 1 and path[-1] in self.cutter.held

    def _smooth(self, drawn: FloatArray, way: FloatArray) -> FloatArray:
        """Return a way dense and smooth, so that it goes on from what was drawn without a kink."""
        edge = self.drawer.edge
        dense = resample(way, _SPACING * edge)
        if self.exact:
            return dense
        reach, length = self.size.at(way[0]), arc_length(drawn)
        tail = resample(drawn[length >= length[-1] - 2.0 * reach], _SPACING * edge)
        hold = np.where(np.arange(len(tail) + len(dense) - 1) < len(tail), _DRAWN, 1.0)
        smooth = self.drawer.smooth(np.concatenate([tail, dense[1:]]), False, max(3.0, reach / edge), hold)
        ahead = smooth[arc_length(smooth) > arc_length(tail)[-1] + 0.1 * edge]
        return np.concatenate([way[:1], ahead if len(ahead) else way[-1:]])  # a wavy end gets shorter than a short way
