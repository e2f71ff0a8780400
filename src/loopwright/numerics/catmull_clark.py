"""Catmull-Clark subdivision of quad meshes as sparse operators on the control points.

Boundaries follow the cubic B-spline curve of their own control points; semi-sharp creases are those of DeRose,
Kass and Truong.

References
----------
E. Catmull, J. Clark, "Recursively generated B-spline surfaces on arbitrary topological meshes", CAD 10(6), 1978.
T. DeRose, M. Kass, T. Truong, "Subdivision surfaces in character animation", SIGGRAPH 1998: semi-sharp creases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from loopwright.errors import InternalError
from loopwright.types import FloatArray, IntArray

Ids = NDArray[np.int64]
SMOOTH, CREASE, CORNER = 0, 1, 2


@dataclass(frozen=True)
class Sharpness:
    """What is sharp on a mesh beyond its boundary.

    Attributes
    ----------
    edges : (k, 2) vertex pairs, either way round.
    values : (k,) their sharpness; ``numpy.inf`` stays sharp in the limit.
    corners : ids of vertices that keep their place at every level.
    """

    edges: NDArray[np.integer]
    values: FloatArray
    corners: NDArray[np.integer]


NO_SHARPNESS = Sharpness(np.zeros((0, 2), np.int64), np.zeros(0), np.zeros(0, np.int64))


@dataclass(frozen=True)
class Refinement:
    """One level of subdivision.

    Attributes
    ----------
    matrix : sparse (n + e + m, n), old points to new: vertex points, then edge points in the order of
        ``unique_edges``, then face points.
    quads : (4 m, 4) int32; quads 4 f to 4 f + 3 are those of face f, each starting at its old corner.
    sharpness : of the new edges.
    """

    matrix: csr_matrix
    quads: IntArray
    sharpness: Sharpness


def unique_edges(quads: NDArray[np.integer]) -> Ids:
    """Return (e, 2) edges of (m, 4) quads, each once, lower id first, in ascending order."""
    pairs = np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2).astype(np.int64)
    if len(pairs) == 0:
        return pairs
    pairs.sort(axis=1)
    base = int(pairs.max()) + 1
    keys = np.sort(pairs[:, 0] * base + pairs[:, 1])
    keys = keys[np.diff(keys, prepend=-1) > 0]
    return np.stack([keys // base, keys % base], axis=1)


@dataclass(frozen=True)
class Links:
    """Edges, and the corners in order round each vertex."""

    count: int
    edges: Ids
    face_edges: Ids  # (m, 4): edge from corner k to k + 1
    edge_sharpness: FloatArray  # (e,), infinite on the boundary
    valence: Ids
    faces: Ids  # (n,) quads round each vertex
    is_corner: NDArray[np.bool_]


def link_mesh(quads: IntArray, count: int, sharpness: Sharpness) -> Links:
    """Return the links of (m, 4) quads over ``count`` vertices, or refuse what subdivision cannot take."""
    edges = unique_edges(quads)
    keys = edges[:, 0] * count + edges[:, 1]
    after = np.roll(quads, -1, axis=1).astype(np.int64)
    own = np.minimum(quads, after) * count + np.maximum(quads, after)
    face_edges = np.searchsorted(keys, own)
    uses = np.bincount(face_edges.ravel(), minlength=len(edges))
    if (uses > 2).any():
        raise InternalError("More than two quads share an edge.", places=edges[uses > 2].tolist()[:10])
    value = np.where(uses == 1, np.inf, 0.0)
    if len(sharpness.edges):
        pairs = np.sort(np.asarray(sharpness.edges, np.int64), axis=1)
        wanted = pairs[:, 0] * count + pairs[:, 1]
        at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
        if (keys[at] != wanted).any():
            raise InternalError("A sharp edge is no edge of the mesh.", places=pairs[keys[at] != wanted].tolist()[:10])
        np.maximum.at(value, at, sharpness.values)
    is_corner = np.zeros(count, bool)
    is_corner[np.asarray(sharpness.corners, np.int64)] = True
    return Links(
        count,
        edges,
        face_edges,
        value,
        np.bincount(edges.ravel(), minlength=count),
        np.bincount(quads.ravel(), minlength=count),
        is_corner,
    )


def vertex_rules(links: Links, sharpness: FloatArray) -> Ids:
    """Return (n,) the vertex rule that the given edge sharpness asks for."""
    sharp = np.bincount(links.edges[sharpness > 0.0].ravel(), minlength=links.count)
    rule = np.where(sharp >= 3, CORNER, np.where(sharp == 2, CREASE, SMOOTH))
    rule[links.is_corner | (links.faces == 0)] = CORNER
    return rule


class Entries:
    """Collects (row, column, weight) triplets of a sparse matrix."""

    def __init__(self) -> None:
        self.rows: list[Ids] = []
        self.columns: list[Ids] = []
        self.weights: list[FloatArray] = []

    def add(self, rows: NDArray[np.integer], columns: NDArray[np.integer], weights: FloatArray | float) -> None:
        """Add entries; those at the same place sum up."""
        self.rows.append(np.asarray(rows, np.int64))
        self.columns.append(np.asarray(columns, np.int64))
        self.weights.append(np.broadcast_to(np.asarray(weights, np.float64), rows.shape))

    def matrix(self, shape: tuple[int, int]) -> csr_matrix:
        """Return the sparse matrix of all entries so far."""
        rows, columns = np.concatenate(self.rows), np.concatenate(self.columns)
        entries = csr_matrix((np.concatenate(self.weights), (rows, columns)), shape=shape)
        entries.eliminate_zeros()
        return entries


def refine(quads: IntArray, count: int, sharpness: Sharpness = NO_SHARPNESS) -> Refinement:
    """Return one level of subdivision of (m, 4) quads over ``count`` vertices.

    Raises
    ------
    InternalError
        If more than two quads share an edge, or a sharp edge is no edge of the mesh.
    """
    links = link_mesh(quads, count, sharpness)
    m, e = len(quads), len(links.edges)
    face_point = count + e + np.arange(m)
    entries = Entries()
    _add_vertex_points(entries, quads, links)
    blend = np.clip(links.edge_sharpness, 0.0, 1.0)
    edge_point = count + np.arange(e)
    for side in range(2):
        entries.add(edge_point, links.edges[:, side], 0.25 + 0.25 * blend)
    for corner in range(4):
        entries.add(face_point, quads[:, corner], 0.25)
        for side in range(4):
            edge = links.face_edges[:, side]
            entries.add(count + edge, quads[:, corner], (1.0 - blend[edge]) / 16.0)
    matrix = entries.matrix((count + e + m, count))
    previous = np.roll(links.face_edges, 1, axis=1)
    children = np.stack(
        [quads, count + links.face_edges, np.broadcast_to(face_point[:, None], (m, 4)), count + previous], axis=2
    )
    left = np.maximum(links.edge_sharpness - 1.0, 0.0)
    sharp = np.flatnonzero(left > 0.0)
    halves = np.vstack([np.stack([links.edges[sharp, side], count + sharp], axis=1) for side in range(2)])
    new = Sharpness(halves, np.tile(left[sharp], 2), np.asarray(sharpness.corners, np.int64))
    return Refinement(matrix, np.ascontiguousarray(children.reshape(-1, 4).astype(np.int32)), new)


def _add_vertex_points(entries: Entries, quads: IntArray, links: Links) -> None:
    """Add the vertex rows: the rule of this level blended with that of the next while edges lose their sharpness."""
    before = links.edge_sharpness
    after = np.maximum(before - 1.0, 0.0)
    rule, next_rule = vertex_rules(links, before), vertex_rules(links, after)
    fading = (before > 0.0) & (after <= 0.0)
    fades = np.bincount(links.edges[fading].ravel(), minlength=links.count)
    total = np.bincount(links.edges[fading].ravel(), weights=np.repeat(before[fading], 2), minlength=links.count)
    share = np.where(rule == next_rule, 1.0, np.minimum(total / np.maximum(fades, 1), 1.0))
    _add_rule(entries, quads, links, before > 0.0, rule, share)
    _add_rule(entries, quads, links, after > 0.0, next_rule, 1.0 - share)


def _add_rule(
    entries: Entries, quads: IntArray, links: Links, sharp: NDArray[np.bool_], kinds: Ids, weight: FloatArray
) -> None:
    ids = np.arange(links.count)
    n = np.maximum(links.valence, 1).astype(np.float64)
    smooth, crease = kinds == SMOOTH, kinds == CREASE
    own = np.where(smooth, (n - 2.0) / n, np.where(crease, 0.75, 1.0))
    entries.add(ids, ids, own * weight)
    for side in range(2):
        end, other = links.edges[:, side], links.edges[:, 1 - side]
        entries.add(end, other, np.where(smooth[end], weight[end] / n[end] ** 2, 0.0))
        entries.add(end, other, np.where(crease[end] & sharp, weight[end] / 8.0, 0.0))
    for corner in range(4):
        vertex = quads[:, corner]
        share = np.where(smooth[vertex], weight[vertex] / n[vertex] ** 2 / 4.0, 0.0)
        for column in range(4):
            entries.add(vertex, quads[:, column], share)


def subdivide(
    positions: FloatArray, quads: IntArray, levels: int, sharpness: Sharpness | None = None
) -> tuple[FloatArray, IntArray]:
    """Return positions and quads after so many levels; the old vertices come first at each.

    Examples
    --------
    >>> import numpy as np
    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> points, quads = subdivide(square, np.array([[0, 1, 2, 3]], np.int32), 1)
    >>> points[8].tolist(), len(quads)
    ([0.5, 0.5, 0.0], 4)
    """
    current = sharpness or NO_SHARPNESS
    for _ in range(levels):
        level = refine(quads, len(positions), current)
        positions, quads, current = level.matrix @ positions, level.quads, level.sharpness
    return positions, quads
