"""A surface cut open along its constrained edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.layout.border_graph import constrained_edges, opened_twins
from loopwright.layout.open_along import open_fans_at
from loopwright.layout.piece import connected_triangles
from loopwright.surface.half_edges import edge_keys, surface_edges
from loopwright.surface.remember import remembered
from loopwright.types import BoolArray, IntArray, RegionSurface


@dataclass(frozen=True)
class OpenSurface:
    """A surface cut open along its rims, borders, lines and guides, as :func:`~loopwright.layout.piece.cut_open` does.

    Attributes
    ----------
    wedges : (m, 3) int32, the triangles in terms of wedge ids.
    origin : (w,) int32, the vertex of each wedge.
    component : (m,) int32, the part that each triangle falls into.
    twin : (3m,) int32, the directed edge on the other side of each, -1 where the surface is cut.
    """

    wedges: IntArray
    origin: IntArray
    component: IntArray
    twin: IntArray

    @property
    def part_count(self) -> int:
        """The number of parts."""
        return int(self.component.max()) + 1

    @property
    def at_rim(self) -> BoolArray:
        """(3m,) whether a directed edge has nothing on its other side."""
        rim: BoolArray = self.twin < 0
        return rim


@remembered
def open_surface(surface: RegionSurface) -> OpenSurface:
    """Cut a surface, on which each vertex is one fan of triangles, open along its constrained edges."""
    count, triangles = len(surface.positions), surface.triangles
    keys = edge_keys(constrained_edges(surface).edges, count)
    twin = opened_twins(surface)
    cut = np.zeros(count, bool)
    cut[surface_edges(surface)[twin < 0]] = True
    fans = open_fans_at(triangles, keys, cut)
    return OpenSurface(fans.wedges, fans.origin, connected_triangles(twin), twin)
