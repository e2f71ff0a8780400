"""Keep painted pieces off openings that they do not touch: the thin ring between stays closed on a coarser net."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.marks.painted_pieces import PaintedPieces
from loopwright.types import BoolArray, IntArray

_ROUNDS = 6


def keep_apart(edges: IntArray, label: IntArray, piece: IntArray, painted: PaintedPieces) -> IntArray:
    """Return labels by which only such pieces touch an opening as do, if what lies between has shares of vertices.

    Of an edge between a piece and an opening that do not touch, the end of which a piece that touches both has most
    gets its label. Elsewhere, where a piece runs out thin between two others, these may as well meet.

    Parameters
    ----------
    edges : (e, 2) int32 of the net.
    label, piece : (n,) int32, each vertex's label and painted piece; a piece below 0 is none.
    """
    touch, is_open = painted.touch, painted.is_open
    label, piece = label.copy(), piece.copy()
    by_vertex = painted.weights.T.tocsr()
    for _ in range(_ROUNDS):
        one, other = piece[edges[:, 0]], piece[edges[:, 1]]
        wrong = (one >= 0) & (other >= 0) & (one != other)
        wrong[wrong] = ~touch[one[wrong], other[wrong]] & (is_open[one[wrong]] | is_open[other[wrong]])
        if not wrong.any():
            break
        given = _between(edges[wrong], one[wrong], other[wrong], by_vertex, touch)
        if len(given) == 0:
            break
        piece[given[:, 0]] = given[:, 1]
        label[given[:, 0]] = painted.colors[given[:, 1]]
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
