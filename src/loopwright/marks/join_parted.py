"""Keep painted pieces whole where a coarser net parts them: a lip that gets thin at the corner of the mouth."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from loopwright.marks.clean_labels import connected_parts
from loopwright.marks.painted_pieces import most_held
from loopwright.types import FloatArray, IntArray

_LEAST_PART = 0.03  # of all that a piece holds: smaller parts of it are no parts of it worth a bridge
_TOLL = 4.0  # of a vertex of which the piece has next to nothing, in lengths of the way to it
_MOST_CRUMBS = 3  # vertices of another label that a bridge may cut off and take along
_MOST_BRIDGES = 8  # for one piece


def join_parted(graph: csr_matrix, label: IntArray, weights: csr_matrix, colors: IntArray, longest: float) -> IntArray:
    """Return labels in which what was one painted piece is one piece again.

    Parts of a piece are joined by the shortest way along edges through vertices that it has a share of, rather through
    those of which it has much.  A way that would part another label's piece in its turn, or that is too long, is left
    out.

    Parameters
    ----------
    graph : symmetric (n, n) matrix of edge lengths.
    label : (n,) int32, each vertex's label.
    weights : sparse (p, n), how much each painted piece holds of each vertex.
    colors : (p,) int32, the label of each piece.
    longest : most of a way that may lead through vertices of other labels, in units of the edge lengths.
    """
    out = label.copy()
    total = np.maximum(np.asarray(weights.sum(axis=0)).ravel(), 1e-300)
    part = connected_parts(graph, out)
    owner = most_held(weights, colors, out, part)
    for piece in range(weights.shape[0]):
        row = weights.getrow(piece)
        color, members = int(colors[piece]), np.sort(row.indices[row.data > 0])
        held = np.zeros(len(label))
        held[row.indices] = row.data
        toll = 1.0 + _TOLL * (1.0 - held / total)
        for _ in range(_MOST_BRIDGES):
            own = members[owner[members] == piece]
            way = _find_way(graph, own, part[own], members, held, toll)
            if way is None or _length_outside(graph, out, way, color) > longest:
                break
            joined = _bridge(graph, out, way, color)
            if joined is None:
                break
            out, part = joined, connected_parts(graph, joined)
            owner = most_held(weights, colors, out, part)
    return out


def _find_way(
    graph: csr_matrix, own: IntArray, part: IntArray, members: IntArray, held: FloatArray, toll: FloatArray
) -> IntArray | None:
    """Return the vertices of a way between the largest part of a piece and the nearest other; None if it is whole.

    Parameters
    ----------
    own, part : (k,) ascending vertices that are the piece's, and which part of it each is in.
    members : (l,) ascending vertices that it has a share of, those among them.
    held, toll : (n,) how much it holds of each vertex, and the factor on the length of steps to it.
    """
    if len(own) < 2 or part.min() == part.max():
        return None
    _, at_name = np.unique(part, return_inverse=True)
    total = np.bincount(at_name, held[own])
    real = np.flatnonzero(total >= _LEAST_PART * held.sum())
    if len(real) < 2:
        return None
    largest = real[total[real].argmax()]
    at = np.searchsorted(members, own)
    is_own = np.zeros(len(members), bool)
    is_own[at] = True
    local = graph[members][:, members].tocoo()
    # steps within the piece cost next to nothing, so that a way leaves it as briefly as may be
    cost = np.where(is_own[local.row] & is_own[local.col], 1e-6, toll[members][local.col]) * local.data
    paths = csr_matrix((cost, (local.row, local.col)), shape=local.shape)
    away, before, _ = dijkstra(paths, indices=at[at_name == largest], min_only=True, return_predecessors=True)
    others = at[np.isin(at_name, real) & (at_name != largest)]
    end = others[away[others].argmin()]
    if not np.isfinite(away[end]):
        return None
    way = [int(end)]
    while before[way[-1]] >= 0:
        way.append(int(before[way[-1]]))
    return members[way]


def _length_outside(graph: csr_matrix, label: IntArray, way: IntArray, color: int) -> float:
    steps = np.asarray(graph[way[1:], way[:-1]]).ravel()
    leaves = (label[way[1:]] != color) | (label[way[:-1]] != color)
    return float(steps[leaves].sum())


def _bridge(graph: csr_matrix, label: IntArray, way: IntArray, color: int) -> IntArray | None:
    """Return labels in which the way has this one, and the crumbs beside it that it cuts off; None if it parts more."""
    out = label.copy()
    out[way] = color
    before, after = connected_parts(graph, label), connected_parts(graph, out)
    for other in np.unique(label[way]).tolist():
        if other == color:
            continue
        left = np.flatnonzero(out == other)
        pairs = np.unique(np.stack([before[left], after[left]], axis=1), axis=0)
        size = np.bincount(after[left], minlength=len(label))
        for had in np.unique(before[way[label[way] == other]]).tolist():
            parts = pairs[pairs[:, 0] == had, 1]
            crumbs = parts[size[parts] <= _MOST_CRUMBS]
            if len(parts) - len(crumbs) != 1:
                return None
            out[left[np.isin(after[left], crumbs)]] = color
    return out
