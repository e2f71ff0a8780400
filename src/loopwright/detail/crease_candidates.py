"""Chains of edges along which the sculpt turns sharply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.link_edges import link_stars
from loopwright.numerics.catmull_clark import unique_edges
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh

Ids = NDArray[np.int64]


@dataclass(frozen=True)
class EdgeTurns:
    """How the sculpt turns at the edges of a cage, in radians; not a number where an edge has one face.

    Attributes
    ----------
    edges : (e, 2) of the cage.
    across : (e,) between the middles of the two faces.
    inner : (e,) between half way there on both sides: half of ``across`` on a round form, all of it on a ridge.
    along : (e,) between the edge's ends.
    """

    edges: Ids
    across: FloatArray
    inner: FloatArray
    along: FloatArray


def measure_turns(mesh: QuadMesh, fine: IntArray, normals: FloatArray) -> EdgeTurns:
    """Return how the sculpt turns at the edges of a cage whose limit surface lies on it.

    Parameters
    ----------
    fine : (16 m, 4) quads of the cage's second level. normals : (k, 3) of the sculpt where its vertices lie.
    """
    edges, m, n = unique_edges(mesh.quads), len(mesh.quads), len(mesh.positions)
    keys = edges[:, 0] * n + edges[:, 1]
    ends = np.stack([mesh.quads, np.roll(mesh.quads, -1, axis=1)], axis=2).astype(np.int64).reshape(-1, 2)
    ends.sort(axis=1)
    edge = np.searchsorted(keys, ends[:, 0] * n + ends[:, 1])
    # Corner k of face f became quad 4 f + k one level on, [corner, edge point, face point, edge point before].
    corner = 4 * np.arange(4 * m)
    near, far = fine[corner + 1, 1], fine[corner + 2, 0]
    order = np.argsort(edge, kind="stable")
    first = np.searchsorted(edge[order], np.arange(len(edges)))
    count = np.bincount(edge, minlength=len(edges))
    one, two = order[first], order[np.minimum(first + 1, len(order) - 1)]
    across = _angle(normals[far[one]], normals[far[two]])
    inner = _angle(normals[near[one]], normals[near[two]])
    across[count < 2], inner[count < 2] = np.nan, np.nan
    if fold_mirror(mesh).mirror is not None and mesh.mirror is not None:
        seam = np.flatnonzero((count < 2) & mesh.on_mirror[edges].all(axis=1))
        for angle, side in ((across, far), (inner, near)):
            normal = normals[side[one[seam]]]
            angle[seam] = _angle(normal, normal - 2.0 * (normal @ mesh.mirror.normal)[:, None] * mesh.mirror.normal)
    along = _angle(normals[edges[:, 0]], normals[edges[:, 1]])
    return EdgeTurns(edges, across, inner, along)


def _angle(one: FloatArray, two: FloatArray) -> FloatArray:
    angle: FloatArray = np.arccos(np.clip(np.einsum("ij,ij->i", one, two), -1.0, 1.0))
    return angle


def link_chains(mesh: QuadMesh, edges: Ids, chosen: BoolArray) -> list[Ids]:
    """Return the chosen edges as chains of indices: those that follow each other straight through a vertex."""
    n = len(mesh.positions)
    keys = edges[:, 0] * n + edges[:, 1]
    fold = fold_mirror(mesh)
    lines = link_stars(fold.quads, fold.whole_count).lines
    lines = lines[(lines < n).all(axis=1)]
    pairs = [np.sort(lines[:, k : k + 2], axis=1) for k in range(2)]
    before, after = (_find(keys, pair[:, 0] * n + pair[:, 1]) for pair in pairs)
    linked = (before >= 0) & (after >= 0)
    before, after = before[linked], after[linked]
    linked = chosen[before] & chosen[after]
    graph = csr_matrix((np.ones(linked.sum()), (before[linked], after[linked])), shape=(len(edges), len(edges)))
    _, label = connected_components(graph, directed=False)
    ids = np.flatnonzero(chosen)
    return [ids[label[ids] == name] for name in np.unique(label[ids])]


def _find(keys: Ids, wanted: Ids) -> Ids:
    """Return the place of each wanted key among the ascending keys, or -1."""
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.where(keys[at] == wanted, at, -1)
