"""Give painted pieces that are smaller than a face to their surroundings: no mesh of this size can show them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.counts.size_field import triangle_areas
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import surface_edges, surface_twins
from loopwright.types import FloatArray, IntArray, RegionSurface

_LEAST_FACES = 1.0  # faces of the wished size that a piece must hold
_ROUNDS = 8


def merge_unresolved(surface: RegionSurface, vertex_size: FloatArray) -> tuple[RegionSurface, int]:
    """Return the surface without pieces too small for its sizes, and how many there were.

    A piece goes to the region with which it shares the longest border.  A
    piece alone on its part of the surface stays.
    """
    faces = _faces(surface, vertex_size)
    edges = surface_edges(surface)
    twin = surface_twins(surface)
    length = norms(surface.positions[edges[:, 0]] - surface.positions[edges[:, 1]])
    region = surface.triangle_region
    merged = 0
    for _ in range(_ROUNDS):
        piece = _pieces(region, twin)
        held = np.bincount(piece, faces)
        small = held < _LEAST_FACES
        here = np.flatnonzero(twin >= 0)
        mine, other = piece[here // 3], piece[twin[here] // 3]
        use = here[(mine != other) & small[mine] & (held[other] >= held[mine])]
        contact = np.zeros((len(held), len(surface.regions)))
        np.add.at(contact, (piece[use // 3], region[twin[use] // 3]), length[use])
        moves = contact.sum(axis=1) > 0
        if not moves.any():
            break
        merged += int(moves.sum())
        region = np.where(moves[piece], contact.argmax(axis=1)[piece], region).astype(np.int32)
    if merged == 0:
        return surface, 0
    used, compact = np.unique(region, return_inverse=True)
    regions = tuple(surface.regions[k] for k in used.tolist())
    return replace(surface, triangle_region=compact.astype(np.int32).ravel(), regions=regions), merged


def held_faces(surface: RegionSurface, vertex_size: FloatArray, region: int) -> float:
    """Return how many faces of the wished size the largest piece of a region holds."""
    piece = _pieces(surface.triangle_region, surface_twins(surface))
    mine = surface.triangle_region == region
    return float(np.bincount(piece[mine], _faces(surface, vertex_size)[mine]).max())


def _faces(surface: RegionSurface, vertex_size: FloatArray) -> FloatArray:
    faces: FloatArray = triangle_areas(surface) / vertex_size[surface.triangles].mean(axis=1) ** 2
    return faces


def _pieces(region: IntArray, twin: IntArray) -> IntArray:
    """Return (m,) the connected piece of one region that each triangle is in."""
    here = np.flatnonzero(twin >= 0)
    joined = here[region[here // 3] == region[twin[here] // 3]]
    size = len(region)
    graph = coo_matrix((np.ones(len(joined), np.int8), (joined // 3, twin[joined] // 3)), shape=(size, size))
    piece: IntArray = connected_components(graph, directed=False)[1].astype(np.int32)
    return piece
