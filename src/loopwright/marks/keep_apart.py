"""Keep painted pieces apart that do not touch: the thin ring between them stays closed on a coarser net."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.marks.painted_pieces import PaintedPieces
from loopwright.types import BoolArray, IntArray

_ROUNDS = 6


def keep_apart(
    edges: IntArray, label: IntArray, piece: IntArray, painted: PaintedPieces, is_between: BoolArray
) -> IntArray:
    """Return labels by which only such pieces touch as do, as far as the pieces between have shares of vertices.

    Of an edge between two pieces that do not touch, the end of which a piece that touches both has most gets its label.
    At openings any piece may be the one between; elsewhere such as are narrow all over, as rings and strips are: where
    a wide one runs out thin between two others, these may as well meet.

    Parameters
    ----------
    edges : (e, 2) int32 of the net.
    label, piece : (n,) int32, each vertex's label and painted piece; a piece below 0 is none.
    is_between : (p,) bool, pieces that keep others apart anywhere.
    """
    touch = painted.touch
    label, piece = label.copy(), piece.copy()
    by_vertex = painted.weights.T.tocsr()
    for _ in range(_ROUNDS):
        one, other = piece[edges[:, 0]], piece[edges[:, 1]]
        wrong = (one >= 0) & (other >= 0) & (one != other)
        wrong[wrong] = ~touch[one[wrong], other[wrong]]
        if not wrong.any():
            break
        given = _between(edges[wrong], one[wrong], other[wrong], by_vertex, painted, is_between)
        if len(given) == 0:
            break
        piece[given[:, 0]] = given[:, 1]
        label[given[:, 0]] = painted.colors[given[:, 1]]
    return label


def _between(
    edges: IntArray,
    one: IntArray,
    other: IntArray,
    by_vertex: csr_matrix,
    painted: PaintedPieces,
    is_between: BoolArray,
) -> IntArray:
    """Return (k, 2) vertices and the pieces between that get them: one vertex at most of each edge."""
    touch, is_open = painted.touch, painted.is_open
    found: list[tuple[float, int, int, int]] = []
    for edge, (a, b) in enumerate(zip(one.tolist(), other.tolist(), strict=True)):
        for vertex in edges[edge].tolist():
            row = slice(by_vertex.indptr[vertex], by_vertex.indptr[vertex + 1])
            holders, held = by_vertex.indices[row], by_vertex.data[row]
            fits = touch[a, holders] & touch[b, holders] & (holders != a) & (holders != b) & (held > 0.0)
            fits &= is_open[a] | is_open[b] | is_between[holders]
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
