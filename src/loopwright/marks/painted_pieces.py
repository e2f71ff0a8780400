"""The painted pieces of a sculpt, and how much a coarser net's vertices hold of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix

from loopwright.marks.clean_labels import connected_parts, fill_nearest
from loopwright.types import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class PaintedPieces:
    """The painted pieces of a sculpt, as a coarser net holds them.

    Attributes
    ----------
    weights : sparse (p, n), how much each piece holds of each vertex of the net.
    colors : (p,) int32, the label of each piece.
    touch : (p, p) bool, which pieces touch on the sculpt.
    is_open : (p,) bool, pieces that are left open.
    """

    weights: csr_matrix
    colors: IntArray
    touch: BoolArray
    is_open: BoolArray


def painted_pieces(
    edges: IntArray,
    label: IntArray,
    area: FloatArray,
    cluster: IntArray,
    net_label: IntArray,
    net_part: IntArray,
    *,
    is_open: BoolArray,
    min_area: float,
) -> tuple[PaintedPieces, IntArray]:
    """Return the painted pieces of a sculpt's vertices that a net has, and (n,) which one each of its vertices is of.

    Pieces that the net has no vertex of, and smaller ones than ``min_area``, are as good as unpainted.

    Parameters
    ----------
    edges : (e, 2) int32 of the sculpt.
    label, area, cluster : (k,) of its vertices: the label, the area, and the vertex of the net; label -1 is unpainted.
    net_label, net_part : (n,) int32 of the net's vertices: the label, and the connected part of it.
    is_open : (c,) bool, labels that are left open.
    min_area : of a piece, in the unit of the areas.
    """
    k, n = len(label), len(net_label)
    part = connected_parts(coo_matrix((np.ones(len(edges)), edges.T), shape=(k, k)), label)
    is_kept = (np.bincount(part, area) >= min_area) & (np.bincount(part, label < 0) == 0)
    while True:
        piece = np.where(is_kept, np.cumsum(is_kept) - 1, -1)[part].astype(np.int32)
        held, count = piece >= 0, int(is_kept.sum())
        weights = coo_matrix((area[held], (piece[held], cluster[held])), shape=(count, n)).tocsr()
        colors = np.zeros(count, np.int32)
        colors[piece[held]] = label[held]
        at = most_held(weights, colors, net_label, net_part)
        is_had = np.bincount(at[at >= 0], minlength=count) > 0
        if is_had.all():
            return PaintedPieces(weights, colors, touching(edges, spread(edges, piece), count), is_open[colors]), at
        is_kept[np.flatnonzero(is_kept)[~is_had]] = False


def touching(pairs: IntArray, piece: IntArray, count: int) -> BoolArray:
    """Return (count, count) bool, which pieces touch along edges.

    Parameters
    ----------
    pairs : (e, 2) int32 vertices at edges. piece : (n,) int32 of the vertices, below 0 for none.
    count : of the pieces.
    """
    ends = piece[pairs]
    ends = ends[(ends >= 0).all(axis=1)]
    out = np.zeros((count, count), np.bool_)
    out[ends[:, 0], ends[:, 1]] = True
    return out | out.T


def spread(pairs: IntArray, piece: IntArray) -> IntArray:
    """Return (n,) pieces in which vertices that are in none have that of the nearest that are, by number of edges.

    Parameters
    ----------
    pairs : (e, 2) int32 vertices at edges. piece : (n,) int32, below 0 for none.
    """
    used, local = np.unique(pairs[(piece[pairs] < 0).any(axis=1)], return_inverse=True)
    ends = local.reshape(-1, 2)
    half = coo_matrix((np.ones(len(ends)), ends.T), shape=(len(used), len(used))).tocsr()
    out = piece.copy()
    out[used] = fill_nearest(half + half.T, piece[used])
    return out


def most_held(shares: csr_matrix, colors: IntArray, label: IntArray, part: IntArray) -> IntArray:
    """Return (n,) the piece of its own label that each vertex's part is mostly of, -1 if none.

    Parameters
    ----------
    shares : sparse (p, n). colors : (p,) int32. label : (n,) int32.
    part : (n,) int32, which part of the net each vertex is in.
    """
    entries = shares.tocoo()
    own = colors[entries.row] == label[entries.col]
    count = int(part.max(initial=-1)) + 1
    key = part[entries.col[own]].astype(np.int64) * len(colors) + entries.row[own]
    keys, at = np.unique(key, return_inverse=True)
    held = np.bincount(at, entries.data[own])
    piece = np.full(count, -1, np.int32)
    order = np.argsort(held, kind="stable")
    piece[keys[order] // len(colors)] = keys[order] % len(colors)
    return piece[part]
