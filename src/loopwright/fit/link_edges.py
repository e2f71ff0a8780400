"""Edges, lines and stars of a quad mesh, all vectorised."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.numerics.catmull_clark import unique_edges
from loopwright.numerics.norms import norms
from loopwright.types import BoolArray, FloatArray, IntArray

__all__ = [
    "Ids",
    "Stars",
    "groups_apart",
    "grow_rows",
    "link_stars",
    "mean_edges",
    "on_rim",
    "unique_edges",
    "vertices_around",
]

Ids = NDArray[np.int64]


@dataclass(frozen=True)
class Stars:
    """What meets at the vertices of a quad mesh.

    Attributes
    ----------
    valence : (n,) edges per vertex.
    is_boundary : (n,) bool.
    lines : (k, 3) vertices (before, middle, after) of straight passes: both lines through each regular
        inner vertex, and the line along the boundary through each boundary vertex.
    star_center, star_neighbour : (p,) each, the neighbours of every inner vertex that is not regular.
    """

    valence: Ids
    is_boundary: NDArray[np.bool_]
    lines: Ids
    star_center: Ids
    star_neighbour: Ids


def link_stars(quads: IntArray, count: int) -> Stars:
    """Return the stars of (m, 4) quads over ``count`` vertices."""
    edges = unique_edges(quads)
    valence = np.bincount(edges.ravel(), minlength=count)
    center = quads.ravel().astype(np.int64)
    after = np.roll(quads, -1, axis=1).ravel().astype(np.int64)
    before = np.roll(quads, 1, axis=1).ravel().astype(np.int64)
    key = center * count + after
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]

    def prior_of(next_neighbour: Ids) -> Ids:
        """Return the neighbour on the far side of the quad that follows at ``center``, or -1."""
        wanted = center * count + next_neighbour
        at = np.minimum(np.searchsorted(sorted_key, wanted), len(sorted_key) - 1)
        found = sorted_key[at] == wanted
        return np.where(found, before[order[at]], -1)

    opposite = prior_of(before)
    edge_key, uses = np.unique(np.sort(np.stack([center, after], axis=1), axis=1), axis=0, return_counts=True)
    rim = edge_key[uses == 1]
    is_boundary = np.zeros(count, bool)
    is_boundary[rim.ravel()] = True
    straight = (valence[center] == 4) & ~is_boundary[center] & (opposite > after)
    inner = np.stack([after[straight], center[straight], opposite[straight]], axis=1)
    uneven = (valence != 4) & ~is_boundary
    both = np.vstack([edges, edges[:, ::-1]])
    both = both[uneven[both[:, 0]]]
    return Stars(valence, is_boundary, np.vstack([inner, _rim_lines(rim, count)]), both[:, 0], both[:, 1])


def _rim_lines(rim: Ids, count: int) -> Ids:
    """Return (k, 3) lines along the boundary through each vertex that has just two rim edges."""
    both = np.vstack([rim, rim[:, ::-1]])
    both = both[np.lexsort((both[:, 1], both[:, 0]))]
    degree = np.bincount(both[:, 0], minlength=count)
    both = both[degree[both[:, 0]] == 2]
    return np.stack([both[0::2, 1], both[0::2, 0], both[1::2, 1]], axis=1)


def mean_edges(positions: FloatArray, quads: IntArray) -> FloatArray:
    """Return (n,) the mean length of the edges at each vertex, 0 where there is none."""
    edges = unique_edges(quads)
    length = norms(positions[edges[:, 0]] - positions[edges[:, 1]])
    count = np.bincount(edges.ravel(), minlength=len(positions))
    total = np.bincount(edges.ravel(), weights=np.repeat(length, 2), minlength=len(positions))
    return np.asarray(total / np.maximum(count, 1), np.float64)


def on_rim(quads: IntArray, count: int) -> BoolArray:
    """Return (n,) which of ``count`` vertices lie at an edge with one quad."""
    pairs = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2).astype(np.int64), axis=1)
    keys, uses = np.unique(pairs[:, 0] * count + pairs[:, 1], return_counts=True)
    alone = keys[uses == 1]
    rim = np.zeros(count, bool)
    rim[np.concatenate([alone // count, alone % count])] = True
    return rim


def groups_apart(quads: IntArray, faces: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Return the faces in groups that share no vertex."""
    corners = quads[faces].astype(np.int64)
    count = int(quads.max()) + 1
    links = coo_matrix(
        (np.ones(3 * len(faces)), (np.repeat(corners[:, 0], 3), corners[:, 1:].reshape(-1))), shape=(count, count)
    )
    _, label = connected_components(links, directed=False)
    mine = label[corners[:, 0]]
    return [faces[mine == group] for group in np.unique(mine)]


def vertices_around(quads: IntArray, chosen: BoolArray, rows: int, *, count: int | None = None) -> BoolArray:
    """Return (n,) which vertices the chosen quads have, and so many rows of quads round them.

    Parameters
    ----------
    count : n; without it there are no vertices beyond the last that a quad has.
    """
    near = np.zeros(int(quads.max()) + 1 if count is None else count, bool)
    near[quads[chosen]] = True
    return grow_rows(quads, near, rows)


def grow_rows(quads: IntArray, vertices: BoolArray, rows: int) -> BoolArray:
    """Return (n,) these vertices and those of so many rows of quads round them."""
    near = vertices.copy()
    for _ in range(rows):
        near[quads[near[quads].any(axis=1)]] = True
    return near
