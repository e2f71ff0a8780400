"""Bend a deform graph so that what follows it comes over a sculpt, as rigidly as can be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import block_array, csc_matrix, csr_matrix, diags
from scipy.sparse.linalg import splu

from loopwright.reuse.deform_graph import DeformGraph
from loopwright.types import FloatArray

_CALM = 1e-10
_HELD = 0.1  # weight of each node's map being a similarity, against nodes moving as their neighbours expect


@dataclass(frozen=True)
class Pull:
    """Where vertices are drawn to.

    Attributes
    ----------
    goals : (n, 3). normals : (n, 3) of the sculpt there; only distance along them counts.
    weights : (n,), zero where there is no goal.
    marks : sparse (l, n), landmarks as mixtures of vertices. mark_goals : (l, 3).
    """

    goals: FloatArray
    normals: FloatArray
    weights: FloatArray
    marks: csr_matrix
    mark_goals: FloatArray


def bend_graph(
    graph: DeformGraph, maps: FloatArray, pull: Pull, *, stiffness: float, mark_weight: float, extent: float
) -> FloatArray:
    """Return the maps after one step: least squares with each node's map held near its nearest similarity.

    Parameters
    ----------
    maps : (4 K, 3) as in :class:`DeformGraph`.
    stiffness : weight of nodes that move as their neighbours expect, against the mean distance to the goals.
    mark_weight : weight of the mean distance of the landmarks.
    extent : the unit of length, so that weights mean the same at every scale.
    """
    count = len(graph.nodes)
    follow = graph.follow
    weight = pull.weights / max(float(pull.weights.sum()), 1e-300)
    off = np.einsum("ij,ij->i", pull.normals, pull.goals - graph.rest)
    blocks = [[_square(follow, weight * pull.normals[:, a] * pull.normals[:, b]) for b in range(3)] for a in range(3)]
    right = [follow.T @ (weight * off * pull.normals[:, a]) for a in range(3)]
    stiff, stiff_right = _stiffness(graph, maps, extent)
    common = stiffness * stiff
    if pull.marks.shape[0]:
        own = pull.marks @ follow
        share = mark_weight / pull.marks.shape[0]
        common = common + share * (own.T @ own)
        wanted = share * (own.T @ (pull.mark_goals - pull.marks @ graph.rest))
    else:
        wanted = np.zeros((4 * count, 3))
    for a in range(3):
        blocks[a][a] = blocks[a][a] + common
        right[a] = right[a] + wanted[:, a] + stiffness * stiff_right[:, a]
    matrix = csc_matrix(block_array(blocks))
    hold = _CALM * matrix.diagonal()  # what nothing decides, such as the place as a whole without goals, stays
    matrix = matrix + diags(hold, format="csc")
    solved = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return np.ascontiguousarray(solved.solve(np.concatenate(right) + hold * maps.T.ravel()).reshape(3, 4 * count).T)


def _square(matrix: csr_matrix, weight: FloatArray) -> csr_matrix:
    return csr_matrix(matrix.T @ diags(weight) @ matrix)


def _stiffness(graph: DeformGraph, maps: FloatArray, extent: float) -> tuple[csr_matrix, FloatArray]:
    """Return the square matrix and right side of both terms that keep the graph's shape."""
    count = len(graph.nodes)
    both = np.vstack([graph.links, graph.links[:, ::-1]])
    if len(both) == 0:
        both = np.zeros((1, 2), np.int64)
    own, other = both[:, 0], both[:, 1]
    arm = graph.nodes[other] - graph.nodes[own]
    columns = np.concatenate([4 * own[:, None] + np.arange(4), 4 * other[:, None] + 3], axis=1)
    values = np.concatenate([arm, np.ones((len(both), 1)), -np.ones((len(both), 1))], axis=1)
    rows = np.repeat(np.arange(len(both)), 5)
    expect = csr_matrix((values.ravel(), (rows, columns.ravel())), shape=(len(both), 4 * count))
    scale = 1.0 / len(both)
    spacing = float((arm**2).sum(axis=1).mean()) or extent**2
    held = np.tile([1.0, 1.0, 1.0, 0.0], count) * _HELD * spacing / count
    square = scale * (expect.T @ expect) + diags(held)
    target = _nearest_similarities(maps.reshape(count, 4, 3))
    right = scale * (expect.T @ arm) + held[:, None] * target.reshape(4 * count, 3)
    return csr_matrix(square), right


def _nearest_similarities(maps: FloatArray) -> FloatArray:
    """Return (K, 4, 3) maps whose linear part is a turn times a scale, nearest to the ones given."""
    linear = maps[:, :3]
    u, s, vt = np.linalg.svd(linear)
    sign = np.sign(np.linalg.det(u @ vt))
    u[:, :, 2] *= sign[:, None]
    s[:, 2] *= sign
    nearest = maps.copy()
    nearest[:, :3] = s.mean(axis=1)[:, None, None] * (u @ vt)
    return nearest
