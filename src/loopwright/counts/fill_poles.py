"""Where the poles of fills that add some are in the mesh that is built of a layout."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from loopwright.counts.measure_faces import is_simple, patch_faces, side_counts, side_lengths
from loopwright.layout.types import Layout
from loopwright.patterns.fill_patch import PatchFill, fill_patch
from loopwright.types import IntArray

FillPoles = Mapping[int, tuple[tuple[int, int], ...]]
"""Patch -> vertex and valence of each pole inside it."""


def fill_poles(layout: Layout, counts: IntArray) -> FillPoles:
    """Return the poles inside the patches whose sides do not fit one pole, or none.

    Vertices are those of the mesh that :func:`loopwright.quads.build_mesh.build_mesh` makes: nodes first, then the
    inner vertices of arcs, then those of the fills, each in their order.
    """
    ends = {int(v) for arc in layout.arcs for v in arc.vertices[[0, -1]]}
    following = len(ends) + int((counts - 1).sum())
    found = {}
    for index, (patch, sides) in enumerate(zip(layout.patches, side_counts(layout, counts), strict=True)):
        if is_simple(tuple(sides)):
            following += round(patch_faces(sides)) + 1 - sum(sides) // 2  # by Euler's formula of a disc of quads
            continue
        fill = fill_patch(sides, side_lengths=side_lengths(layout, patch))
        found[index] = tuple((following + vertex, valence) for vertex, valence in _inner_poles(fill))
        following += fill.vertex_count - sum(sides)
    return found


def _inner_poles(fill: PatchFill) -> list[tuple[int, int]]:
    """Return place among the inner vertices, and valence, of each pole of a fill."""
    inner = np.ones(fill.vertex_count, bool)
    inner[fill.boundary] = False
    valence = np.bincount(fill.quads.ravel(), minlength=fill.vertex_count)[inner]
    return [(int(place), int(valence[place])) for place in np.flatnonzero(valence != 4)]
