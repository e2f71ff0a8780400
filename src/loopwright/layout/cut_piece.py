"""Cut a piece into patches by what the piece itself holds, so that it is found again where only others changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from loopwright.layout.cut_uneven import UnevenOptions, cut_uneven
from loopwright.layout.follow_bending import Bending
from loopwright.layout.judge_cuts import SplitOptions
from loopwright.layout.make_cut import Growing
from loopwright.layout.piece import Piece
from loopwright.layout.split_patches import split_piece
from loopwright.shelf import Shelf
from loopwright.types import FloatArray, IntArray

_KEPT = 64  # pieces per round that are kept


@dataclass(frozen=True)
class CutOptions:
    """How pieces are cut into patches, and which patches are cut further."""

    splits: SplitOptions
    uneven: UnevenOptions


@dataclass(frozen=True)
class _Cut:
    """The patches of a piece, the points that cuts added behind its own, their chains, and the nodes they made."""

    parts: list[Piece]
    fresh: FloatArray
    chains: list[IntArray]
    nodes: IntArray


def cut_piece(piece: Piece, surface: Growing, size: float, *, options: CutOptions, shelf: Shelf) -> list[Piece]:
    """Cut a piece until each part is a patch that suits a grid, and return the patches.

    Parameters
    ----------
    surface : takes the points, chains and nodes of the cuts. Nothing else of it counts than what is in the piece.
    size : the wished edge length near the piece.
    shelf : of the surface's sculpt.
    """
    own, local = np.unique(piece.origin, return_inverse=True)
    alone = replace(piece, origin=local.reshape(-1).astype(np.int32))
    points = surface.positions[own]
    nodes = np.array([k for k, v in enumerate(own.tolist()) if v in surface.nodes], np.int32)
    bending = None
    if surface.bending is not None:
        bending = Bending(surface.bending.direction[own], surface.bending.excess[own])
    cut = shelf.keep(
        "pieces",
        (alone, points, nodes, bending, size, options),
        lambda: _cut(alone, Growing(points, set(nodes.tolist()), bending=bending), size, options),
        parts=_KEPT,
    )
    return _place(cut, own, surface)


def _cut(piece: Piece, surface: Growing, size: float, options: CutOptions) -> _Cut:
    count, before = len(surface.positions), set(surface.nodes)
    parts: list[Piece] = []
    for patch in split_piece(piece, surface, size, options=options.splits):
        parts.extend(cut_uneven(patch, surface, size, options=options.uneven))
    nodes = np.array(sorted(surface.nodes - before), np.int64)
    return _Cut(parts, surface.positions[count:], surface.cut_chains, nodes)


def _place(cut: _Cut, own: IntArray, surface: Growing) -> list[Piece]:
    """Add a cut piece to the surface, of which it has the vertices ``own``."""
    ids = np.concatenate([own, surface.add(cut.fresh)]).astype(np.int32)
    surface.cut_chains.extend(ids[chain] for chain in cut.chains)
    surface.nodes.update(ids[cut.nodes].tolist())
    return [replace(part, origin=ids[part.origin]) for part in cut.parts]


def piece_sizes(
    pieces: Sequence[Piece], vertex_size: FloatArray, rounded: Callable[[float], float]
) -> tuple[list[float], FloatArray]:
    """Return each piece's rounded median size, and (n,) at each vertex the least of those of its pieces."""
    sizes = [rounded(float(np.median(vertex_size[piece.origin]))) for piece in pieces]
    least = np.full(len(vertex_size), np.inf)
    for piece, size in zip(pieces, sizes, strict=True):
        least[piece.origin] = np.minimum(least[piece.origin], size)
    return sizes, np.where(np.isfinite(least), least, vertex_size)
