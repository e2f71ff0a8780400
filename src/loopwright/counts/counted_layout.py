"""A layout with its segment counts: what a plan shows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from loopwright.counts.added_poles import patch_middle, patch_poles
from loopwright.counts.count_borders import BorderCount, count_borders, count_openings
from loopwright.counts.measure_faces import filled_faces, side_counts
from loopwright.layout.border_graph import ArcKind
from loopwright.layout.types import Layout
from loopwright.types import FloatArray, IntArray


@dataclass(frozen=True)
class CountedArc:
    """An arc: its (k, 3) points, what it is, and its number of segments."""

    points: FloatArray
    kind: ArcKind
    count: int


@dataclass(frozen=True)
class CountedPatch:
    """A patch: its region, the segments on each side, and the quads that fill it."""

    region: int
    side_counts: tuple[int, ...]
    faces: int


@dataclass(frozen=True)
class CountedLayout:
    """A layout and the (arcs,) segment counts that solve it."""

    layout: Layout
    counts: IntArray

    @property
    def nodes(self) -> FloatArray:
        """(n, 3) positions of the nodes."""
        return self.layout.positions[self.layout.nodes]

    @property
    def arcs(self) -> tuple[CountedArc, ...]:
        """All arcs with their counts."""
        pairs = zip(self.layout.arcs, self.counts.tolist(), strict=True)
        return tuple(CountedArc(arc.points, arc.kind, count) for arc, count in pairs)

    @cached_property
    def patches(self) -> tuple[CountedPatch, ...]:
        """All patches with the counts of their sides and their quads."""
        sides, faces = side_counts(self.layout, self.counts), filled_faces(self.layout, self.counts).tolist()
        rows = zip(self.layout.patches, sides, faces, strict=True)
        return tuple(CountedPatch(patch.region, tuple(each), quads) for patch, each, quads in rows)

    @property
    def borders(self) -> tuple[BorderCount, ...]:
        """The borders between regions with their segments in the whole mesh."""
        return count_borders(self.layout, self.counts)

    @property
    def openings(self) -> tuple[int, ...]:
        """The segments round each opening of the whole mesh."""
        return count_openings(self.layout, self.counts)

    @property
    def poles(self) -> tuple[tuple[FloatArray, int], ...]:
        """Position and valence of the poles that the mesh gets on the surface (a half, where there is a mirror plane).

        Those at nodes lie there; those inside a patch are given at its middle, also where a fill adds some because
        the counts of the patch's sides do not fit its one pole, or none.
        """
        layout = self.layout
        on_rim = np.zeros(len(layout.positions), bool)
        for arc in layout.arcs:
            if arc.kind in ("rim", "mirror"):
                on_rim[arc.vertices] = True
        found = []
        for vertex, quads in zip(layout.nodes.tolist(), layout.node_quads.tolist(), strict=True):
            if not on_rim[vertex] and quads != 4:
                found.append((layout.positions[vertex], int(quads)))
        for patch, sides in zip(layout.patches, side_counts(layout, self.counts), strict=True):
            valences = patch_poles(sides)
            if valences:
                place = patch_middle(layout, patch)
                found += [(place, valence) for valence in valences]
        return tuple(found)
