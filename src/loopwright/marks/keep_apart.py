"""Keep painted pieces apart that do not touch: the thin ring between them stays closed on a coarser net."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix

from loopwright.types import BoolArray, IntArray

_ROUNDS = 6


def keep_apart(
    edges: IntArray, label: IntArray, piece: IntArray, shares: csr_matrix, colors: IntArray, touch: BoolArray
) -> IntArray:
    """Return labels by which only such pieces touch as do, as far as the pieces between have shares of vertices.

    Of an edge between two pieces that do not touch, the end of which a piece that touches both has most gets its label.

    Parameters
    ----------
    edges : (e, 2) int32 of the net.
    label, piece : (n,) int32, each vertex's label and painted piece; a piece below 0 is none.
    shares : sparse (p, n), how much each painted piece holds of each vertex.
    colors : (p,) int32, the label of each piece.
    touch : (p, p) bool, which pieces touch, symmetric.
    """
    label, piece = label.copy(), piece.copy()
    by_vertex = shares.T.tocsr()
    for _ in range(_ROUNDS):
        one, other = piece[edges[:, 0]], piece[edges[:, 1]]
        wrong = (one >= 0) & (other >= 0) & (one != other)
        wrong[wrong] = ~touch[one[wrong], other[wrong]]
        if not wrong.any():
            break
        given = _between(edges[wrong], one[wrong], other[wrong], by_vertex, touch)
        if len(given) == 0:
            break
        piece[given[:, 0]] = given[:, 1]
        label[given[:, 0]] = colors[given[:, 1]]
    return label


def _between(edges: IntArray, one: IntArray, other: IntArray, by_vertex: csr_matrix, touch: BoolArray) -> IntArray:
    """Return (k, 2) vertices and the pieces between that get them: one vertex at most of each edge."""
    found: list[tuple[float, int, int, int]] = []
    for edge, (a, b) in enumerate(zip(one.tolist(), other.tolist(), strict=True)):
        for vertex in edges[edge].tolist():
            row = slice(by_vertex.indptr[vertex], by_vertex.indptr[vertex + 1])
            holders, held = by_vertex.indices[row], by_vertex.data[row]
            fits = touch[a, holders] & touch[b, holders] & (holders != a) & (holders != b) & (held > 0.0)
            if fits.any():
                best = np.where(fits, held, 0.0).argmax()
                found.append((float(held[best] / held.sum()), edge, vertex, int(holders[best])))
    taken: dict[int, int] = {}
    done: set[int] = set()
    for _, edge, vertex, holder in sorted(found, key=lambda each: (-each[0], *each[1:])):
        if edge not in done and not any(end in taken for end in edges[edge].tolist()):
            taken[vertex] = holder
        done.add(edge)
    return np.array(sorted(taken.items()), np.int32).reshape(-1, 2)


def touching(pairs: IntArray, piece: IntArray, count: int) -> BoolArray:
    """Return (count, count) which pieces touch along edges.

    Parameters
    ----------
    pairs : (e, 2) int32 vertices at edges. piece : (n,) int32 of the vertices, below 0 for none.
    """
    ends = piece[pairs]
    ends = ends[(ends >= 0).all(axis=1)]
    out: BoolArray = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count)).toarray() > 0
    return out | out.T


def spread(pairs: IntArray, piece: IntArray) -> IntArray:
    """Return (n,) pieces in which vertices that are in none have that of the nearest that are, by number of edges.

    Parameters
    ----------
    pairs : (e, 2) int32 vertices at edges. piece : (n,) int32, below 0 for none.
    """
    out = piece.copy()
    while True:
        is_blank = out[pairs] < 0
        pairs, is_blank = pairs[is_blank.any(axis=1)], is_blank[is_blank.any(axis=1)]
        half = ~is_blank.all(axis=1)
        if not half.any():
            return out
        ends, first = pairs[half], is_blank[half, 0]
        out[np.where(first, ends[:, 0], ends[:, 1])] = out[np.where(first, ends[:, 1], ends[:, 0])]


def most_held(shares: csr_matrix, colors: IntArray, label: IntArray, part: IntArray) -> IntArray:
    """Return (n,) the piece of its own label that each vertex's part is mostly of, -1 if none.

    Parameters
    ----------
    shares : sparse (p, n). colors : (p,) int32. label : (n,) int32.
    part : (n,) int32, which part of the net each vertex is in.
    """
    entries = shares.tocoo()
    own = colors[entries.row] == label[entries.col]
    count = int(part.max()) + 1
    key = part[entries.col[own]].astype(np.int64) * len(colors) + entries.row[own]
    keys, at = np.unique(key, return_inverse=True)
    held = np.bincount(at, entries.data[own])
    piece = np.full(count, -1, np.int32)
    order = np.argsort(held, kind="stable")
    piece[keys[order] // len(colors)] = keys[order] % len(colors)
    return piece[part]
