"""Bends that are no corners: the ends of slits, and what is left straight."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.layout.border_graph import ConstrainedEdges
from loopwright.layout.open_surface import OpenSurface, open_surface
from loopwright.layout.piece import Piece, chain_rim
from loopwright.layout.ring_pieces import find_rings
from loopwright.surface.half_edges import directed_edges
from loopwright.types import BoolArray, IntArray, RegionSurface


def corner_bends(surface: RegionSurface, constrained: ConstrainedEdges, bends: Sequence[int]) -> list[int]:
    """Return the bends but for those of borders at the ends of slits (see :func:`slit_ends`)."""
    count = len(surface.positions)
    at_rim = _rim_vertices(constrained)
    if at_rim.issuperset(bends):
        return list(bends)
    opened = open_surface(surface)
    is_bend, at_mirror = np.zeros(count, bool), np.zeros(count, bool)
    is_bend[list(bends)] = True
    at_mirror[constrained.edges[constrained.kind == 2].reshape(-1)] = True
    slits = set(slit_ends(opened, is_bend, at_mirror, find_rings(surface)).tolist())
    return [bend for bend in bends if bend in at_rim or bend not in slits]


def slit_ends(opened: OpenSurface, is_bend: BoolArray, at_mirror: BoolArray, ring: Sequence[bool]) -> IntArray:
    """Return the bends of those loops of rings that have two at most: the ends of a slit, such as a mouth.

    The bends of a half loop count twice.
    """
    found: set[int] = set()
    edges = directed_edges(opened.wedges)
    for c in np.flatnonzero(ring).tolist():
        for loop in chain_rim(edges[opened.at_rim & np.repeat(opened.component == c, 3)]):
            vertices = opened.origin[loop]
            in_plane = np.flatnonzero(at_mirror[vertices])
            first = int(in_plane[0]) if len(in_plane) else 0
            for run in np.split(np.roll(vertices, -first), in_plane - first):
                bent = run[is_bend[run]]
                if len(bent) * (2 if len(in_plane) else 1) <= 2:
                    found.update(bent.tolist())
    return np.array(sorted(found), np.int32)


def straight_bends(bends: Sequence[int], constrained: ConstrainedEdges, pieces: list[Piece]) -> set[int]:
    """Return the bends of borders at which no piece has a corner after all."""
    at_rim = _rim_vertices(constrained)
    turned = {int(v) for piece in pieces for v in piece.origin[(piece.quadrants > 0) & (piece.quadrants != 2)]}
    return set(bends) - at_rim - turned


def _rim_vertices(constrained: ConstrainedEdges) -> set[int]:
    return set(constrained.edges[constrained.kind == 1].reshape(-1).tolist())
