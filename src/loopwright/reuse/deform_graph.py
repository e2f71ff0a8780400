"""A coarse graph of nodes that bends a shape: each vertex follows the affine maps of its nearest nodes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from loopwright.types import FloatArray, IntArray

_FOLLOWED = 5  # nodes that a vertex follows
_REACH = 4.0  # of the nodes' spacing: how far along the surface a node is felt


@dataclass(frozen=True)
class DeformGraph:
    """Nodes and how the vertices follow them.

    With X of shape (4 K, 3), the transposed affine maps of the K nodes under each other (three rows of the linear
    part, one of the shift), vertices go to ``follow @ X + rest``.

    Attributes
    ----------
    nodes : (K, 3) positions.
    follow : sparse (n, 4 K). rest : (n, 3).
    links : (e, 2) pairs of nodes that share vertices.
    """

    nodes: FloatArray
    follow: csr_matrix
    rest: FloatArray
    links: NDArray[np.int64]

    def identity(self) -> FloatArray:
        """Return the X that moves nothing."""
        return np.tile(np.vstack([np.eye(3), np.zeros((1, 3))]), (len(self.nodes), 1))

    def apply(self, maps: FloatArray) -> FloatArray:
        """Return where the vertices go."""
        moved: FloatArray = self.follow @ maps + self.rest
        return moved


def build_deform_graph(positions: FloatArray, edges: IntArray, count: int) -> DeformGraph:
    """Spread about ``count`` nodes over (n, 3) positions and tie each vertex to those nearest along (e, 2) edges.

    References
    ----------
    R. W. Sumner, J. Schmid, M. Pauly, "Embedded deformation for shape manipulation", SIGGRAPH 2007. Distances
    along the surface instead of through space, so that the lips do not follow each other, are our own.
    """
    chosen, spacing = spread_nodes(positions, min(count, len(positions)))
    nodes = positions[chosen]
    near, distance = _nearest_nodes(positions, edges, chosen, spacing)
    outer = distance[:, -1:]
    weight = np.maximum(1.0 - distance[:, :-1] / np.maximum(outer, 1e-300), 0.0) ** 2
    weight[weight.sum(axis=1) <= 0.0, 0] = 1.0
    weight /= weight.sum(axis=1, keepdims=True)
    near = near[:, :-1]
    follow, rest = _follow(positions, nodes, near, weight)
    return DeformGraph(nodes, follow, rest, _link_nodes(nodes, near, weight))


def spread_nodes(positions: FloatArray, count: int) -> tuple[NDArray[np.int64], float]:
    """Return ``count`` vertices, each the farthest from those before it, and how far the farthest vertex is left."""
    start = int(np.argmax(((positions - positions.mean(axis=0)) ** 2).sum(axis=1)))
    chosen = [start]
    distance = ((positions - positions[start]) ** 2).sum(axis=1)
    while len(chosen) < count and distance.max() > 0.0:
        chosen.append(int(distance.argmax()))
        distance = np.minimum(distance, ((positions - positions[chosen[-1]]) ** 2).sum(axis=1))
    return np.array(chosen), float(np.sqrt(distance.max()))


def _nearest_nodes(
    positions: FloatArray, edges: IntArray, chosen: NDArray[np.int64], spacing: float
) -> tuple[NDArray[np.int64], FloatArray]:
    """Return (n, k + 1) nearest nodes and their distances along the surface; where too few are, through space."""
    length = np.linalg.norm(positions[edges[:, 0]] - positions[edges[:, 1]], axis=1)
    n, k = len(positions), min(_FOLLOWED + 1, len(chosen))
    graph = csr_matrix((np.maximum(length, 1e-300), (edges[:, 0], edges[:, 1])), shape=(n, n))
    limit = _REACH * max(spacing, float(length.max(initial=0.0)))
    along = dijkstra(graph, directed=False, indices=chosen, limit=limit).T
    near = np.argpartition(along, k - 1, axis=1)[:, :k]
    order = np.argsort(np.take_along_axis(along, near, axis=1), axis=1, kind="stable")
    near = np.take_along_axis(near, order, axis=1)
    distance = np.take_along_axis(along, near, axis=1)
    lost = np.flatnonzero(~np.isfinite(distance).all(axis=1))
    if len(lost):
        through, nodes = cKDTree(positions[chosen], balanced_tree=False, compact_nodes=False).query(
            positions[lost], k=k
        )
        near[lost], distance[lost] = np.reshape(nodes, (-1, k)), np.reshape(through, (-1, k))
    return near, distance


def _follow(
    positions: FloatArray, nodes: FloatArray, near: NDArray[np.int64], weight: FloatArray
) -> tuple[csr_matrix, FloatArray]:
    n, k = near.shape
    arm = positions[:, None] - nodes[near]
    values = np.concatenate([weight[:, :, None] * arm, weight[:, :, None]], axis=2)
    columns = 4 * near[:, :, None] + np.arange(4)
    rows = np.broadcast_to(np.arange(n)[:, None, None], columns.shape)
    follow = csr_matrix((values.ravel(), (rows.ravel(), columns.ravel())), shape=(n, 4 * len(nodes)))
    return follow, np.einsum("nk,nkc->nc", weight, nodes[near])


def _link_nodes(nodes: FloatArray, near: NDArray[np.int64], weight: FloatArray) -> NDArray[np.int64]:
    """Return the pairs of nodes that share vertices; pieces that share none are tied at their nearest nodes."""
    shares = csr_matrix(
        (weight.ravel() > 1e-3, (np.repeat(np.arange(len(near)), near.shape[1]), near.ravel())),
        shape=(len(near), len(nodes)),
    ).astype(np.float64)
    pairs = (shares.T @ shares).tocoo()
    both = np.stack([pairs.row, pairs.col], axis=1).astype(np.int64)
    links: NDArray[np.int64] = both[both[:, 0] < both[:, 1]]
    while True:
        joined = csr_matrix((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=(len(nodes), len(nodes)))
        pieces, piece = connected_components(joined, directed=False)
        if pieces == 1:
            return links
        one, others = np.flatnonzero(piece == piece[0]), np.flatnonzero(piece != piece[0])
        distance, at = cKDTree(nodes[one], balanced_tree=False, compact_nodes=False).query(nodes[others], k=1)
        ties = np.argsort(distance, kind="stable")[:3]
        links = np.vstack([links, np.stack([one[at[ties]], others[ties]], axis=1)])
