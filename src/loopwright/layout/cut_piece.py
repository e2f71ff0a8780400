"""Cut a piece into patches by what the piece itself holds, so that it is found again where only others changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from loopwright.layout.cut_uneven import cut_uneven
from loopwright.layout.judge_cuts import SplitOptions
from loopwright.layout.make_cut import Growing
from loopwright.layout.measure_uneven import UnevenOptions, weigh_patch
from loopwright.layout.piece import Piece
from loopwright.layout.split_patches import split_piece
from loopwright.shelf import Shelf
from loopwright.surface.measure_bending import measure_bending
from loopwright.types import FloatArray, IntArray

_KEPT = 64  # pieces per round that are kept


@dataclass(frozen=True)
class CutOptions:
    """How pieces are cut into patches, which patches are cut further, and over what share of an edge bending counts."""

    splits: SplitOptions
    uneven: UnevenOptions
    reach: float = 0.3


@dataclass(frozen=True)
class Weight:
    """How uneven a patch is, its area in faces, and whether it is a strip or ring that is none (see weigh_patch)."""

    uneven: float
    faces: float
    is_stuck: bool


@dataclass(frozen=True)
class _Cut:
    """The patches of a piece, the points that cuts added behind its own, their chains, and the nodes they made."""

    parts: list[Piece]
    weights: list[Weight]
    fresh: FloatArray
    chains: list[IntArray]
    nodes: IntArray


def cut_piece(
    piece: Piece, surface: Growing, size: float, scale: FloatArray, *, options: CutOptions, shelf: Shelf
) -> list[tuple[Piece, Weight]]:
    """Cut a piece until each part is a patch that suits a grid, and return the patches with their weights.

    Parameters
    ----------
    surface : takes the points, chains and nodes of the cuts. Nothing else of it counts than what is in the piece.
    size : the wished edge length near the piece.
    scale : (n,) how many times finer than ``size`` is wished at each of the piece's vertices.
    shelf : of the surface's sculpt.
    """
    own, first, local = np.unique(piece.origin, return_index=True, return_inverse=True)
    alone = replace(piece, origin=local.reshape(-1).astype(np.int32))
    points = surface.positions[own]
    nodes = np.array([k for k, v in enumerate(own.tolist()) if v in surface.nodes], np.int32)
    reads = (alone, points, nodes, size, scale[first], options)

    def cut_alone() -> _Cut:
        return _cut(alone, points, set(nodes.tolist()), size, scale[first], options)

    cut = shelf.keep("pieces", reads, cut_alone, parts=_KEPT)
    return _place(cut, own, surface)


def _cut(
    piece: Piece, points: FloatArray, nodes: set[int], size: float, scale: FloatArray, options: CutOptions
) -> _Cut:
    reach = np.full(len(points), options.reach * size)
    bending = cache(lambda: measure_bending(points, piece.origin[piece.triangles], reach))  # many need no cut
    surface = Growing(points, set(nodes), bending=bending, scale=scale)
    parts: list[Piece] = []
    for patch in split_piece(piece, surface, size, options=options.splits):
        parts.extend(cut_uneven(patch, surface, size, options=options.uneven))
    fresh, made = surface.positions[len(points) :], sorted(surface.nodes - nodes)
    weights = []
    for part in parts:
        place = surface.positions[part.origin]
        weights.append(Weight(*weigh_patch(part, place, size, surface.scale_of(part), options.uneven)))
    return _Cut(parts, weights, fresh, surface.cut_chains, np.array(made, np.int64))


def _place(cut: _Cut, own: IntArray, surface: Growing) -> list[tuple[Piece, Weight]]:
    """Add a cut piece to the surface, of which it has the vertices ``own``."""
    ids = np.concatenate([own, surface.add(cut.fresh)]).astype(np.int32)
    surface.cut_chains.extend(ids[chain] for chain in cut.chains)
    surface.nodes.update(ids[cut.nodes].tolist())
    placed = [replace(part, origin=ids[part.origin]) for part in cut.parts]
    return list(zip(placed, cut.weights, strict=True))
