"""Catmull-Clark subdivision of quad meshes as sparse operators on the control points, limit included.

Boundaries follow the cubic B-spline curve of their own control points; semi-sharp creases are those of DeRose,
Kass and Truong.

References
----------
E. Catmull, J. Clark, "Recursively generated B-spline surfaces on arbitrary topological meshes", CAD 10(6), 1978.
M. Halstead, M. Kass, T. DeRose, "Efficient, fair interpolation using Catmull-Clark surfaces", SIGGRAPH 1993:
limit positions and tangents.
T. DeRose, M. Kass, T. Truong, "Subdivision surfaces in character animation", SIGGRAPH 1998: semi-sharp creases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, identity

from loopwright.errors import InternalError
from loopwright.types import FloatArray, IntArray

Ids = NDArray[np.int64]
_SMOOTH, _CREASE, _CORNER = 0, 1, 2


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
    keys = np.unique(pairs[:, 0] * base + pairs[:, 1])
    return np.stack([keys // base, keys % base], axis=1)


@dataclass(frozen=True)
class _Links:
    """Edges, and the corners in order round each vertex."""

    count: int
    edges: Ids
    face_edges: Ids  # (m, 4): edge from corner k to k + 1
    edge_sharpness: FloatArray  # (e,), infinite on the boundary
    valence: Ids
    faces: Ids  # (n,) quads round each vertex
    is_corner: NDArray[np.bool_]


def _link(quads: IntArray, count: int, sharpness: Sharpness) -> _Links:
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
    return _Links(
        count,
        edges,
        face_edges,
        value,
        np.bincount(edges.ravel(), minlength=count),
        np.bincount(quads.ravel(), minlength=count),
        is_corner,
    )


def _rules(links: _Links, sharpness: FloatArray) -> Ids:
    """Return (n,) the vertex rule that the given edge sharpness asks for."""
    sharp = np.bincount(links.edges[sharpness > 0.0].ravel(), minlength=links.count)
    rule = np.where(sharp >= 3, _CORNER, np.where(sharp == 2, _CREASE, _SMOOTH))
    rule[links.is_corner | (links.faces == 0)] = _CORNER
    return rule


class _Entries:
    """Collects (row, column, weight) triplets of a sparse matrix."""

    def __init__(self) -> None:
        self.rows: list[Ids] = []
        self.columns: list[Ids] = []
        self.weights: list[FloatArray] = []

    def add(self, rows: NDArray[np.integer], columns: NDArray[np.integer], weights: FloatArray | float) -> None:
        self.rows.append(np.asarray(rows, np.int64))
        self.columns.append(np.asarray(columns, np.int64))
        self.weights.append(np.broadcast_to(np.asarray(weights, np.float64), rows.shape))

    def matrix(self, shape: tuple[int, int]) -> csr_matrix:
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
    links = _link(quads, count, sharpness)
    m, e = len(quads), len(links.edges)
    face_point = count + e + np.arange(m)
    entries = _Entries()
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


def _add_vertex_points(entries: _Entries, quads: IntArray, links: _Links) -> None:
    """Add the vertex rows: the rule of this level blended with that of the next while edges lose their sharpness."""
    before = links.edge_sharpness
    after = np.maximum(before - 1.0, 0.0)
    rule, next_rule = _rules(links, before), _rules(links, after)
    fading = (before > 0.0) & (after <= 0.0)
    fades = np.bincount(links.edges[fading].ravel(), minlength=links.count)
    total = np.bincount(links.edges[fading].ravel(), weights=np.repeat(before[fading], 2), minlength=links.count)
    share = np.where(rule == next_rule, 1.0, np.minimum(total / np.maximum(fades, 1), 1.0))
    _add_rule(entries, quads, links, before > 0.0, rule, share)
    _add_rule(entries, quads, links, after > 0.0, next_rule, 1.0 - share)


def _add_rule(
    entries: _Entries, quads: IntArray, links: _Links, sharp: NDArray[np.bool_], kinds: Ids, weight: FloatArray
) -> None:
    ids = np.arange(links.count)
    n = np.maximum(links.valence, 1).astype(np.float64)
    smooth, crease = kinds == _SMOOTH, kinds == _CREASE
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


def limit_matrix(quads: IntArray, count: int, sharpness: Sharpness | None = None) -> csr_matrix:
    """Return the sparse (n, n) operator from control points to their limit positions, exact for any valence."""
    local = _past_creases(quads, count, sharpness or NO_SHARPNESS)
    return _limit_rows(local, count) @ local.matrix


def limit_tangent_matrices(
    quads: IntArray, count: int, sharpness: Sharpness | None = None
) -> tuple[csr_matrix, csr_matrix]:
    """Return two sparse (n, n) operators from control points to limit tangents.

    Their cross product points along the surface's normal, outward for quads
    counter-clockwise seen from outside; the lengths mean nothing. On an edge that
    is sharp without end the surface has two normals: there the tangents
    are those of the smooth rule, which lie between.
    """
    local = _past_creases(quads, count, sharpness or NO_SHARPNESS)
    first, second = _tangent_rows(local, count)
    return first @ local.matrix, second @ local.matrix


def limit_normals(positions: FloatArray, quads: IntArray, sharpness: Sharpness | None = None) -> FloatArray:
    """Return (n, 3) unit normals of the limit surface at the vertices; zero where a vertex has no quad."""
    first, second = limit_tangent_matrices(quads, len(positions), sharpness)
    normal = np.cross(first @ positions, second @ positions)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    scaled: FloatArray = normal / np.where(length > 0.0, length, 1.0)
    return scaled


def _past_creases(quads: IntArray, count: int, sharpness: Sharpness) -> Refinement:
    """Return the mesh near each of the first ``count`` vertices at a level where no finite sharpness is left.

    The limit at a vertex depends on the quads round it alone, so only those are carried along; the outer
    points of that ring go wrong, but nothing uses them.
    """
    matrix: csr_matrix = identity(count, format="csr")
    finite = sharpness.values[np.isfinite(sharpness.values)]
    levels = int(np.ceil(finite.max())) if len(finite) else 0
    for _ in range(levels):
        level = refine(quads, matrix.shape[0], sharpness)
        matrix, sharpness = level.matrix @ matrix, level.sharpness
        near = level.quads[level.quads[:, 0] < count]
        edges = unique_edges(near)
        size = matrix.shape[0]
        pairs = np.sort(sharpness.edges, axis=1)
        kept = np.isin(pairs[:, 0] * size + pairs[:, 1], edges[:, 0] * size + edges[:, 1])
        sharpness = Sharpness(sharpness.edges[kept], sharpness.values[kept], sharpness.corners)
        quads = near
    return Refinement(matrix, quads, sharpness)


def _limit_rows(local: Refinement, count: int) -> csr_matrix:
    quads, size = local.quads, local.matrix.shape[0]
    links = _link(quads, size, local.sharpness)
    rule = _rules(links, links.edge_sharpness)
    n = np.maximum(links.valence, 1).astype(np.float64)
    smooth, crease = rule == _SMOOTH, rule == _CREASE
    ids, total = np.arange(count), n * (n + 5.0)
    entries = _Entries()
    entries.add(ids, ids, np.where(smooth, n / (n + 5.0), np.where(crease, 2.0 / 3.0, 1.0))[:count])
    sharp = links.edge_sharpness > 0.0
    for side in range(2):
        end, other = links.edges[:, side], links.edges[:, 1 - side]
        weight = np.where(smooth[end], 4.0 / total[end], np.where(crease[end] & sharp, 1.0 / 6.0, 0.0))
        entries.add(end[end < count], other[end < count], weight[end < count])
    for corner in range(4):
        vertex, across = quads[:, corner], quads[:, (corner + 2) % 4]
        own = vertex < count
        weight = np.where(smooth[vertex], 1.0 / total[vertex], 0.0)
        entries.add(vertex[own], across[own], weight[own])
    return entries.matrix((count, size))


def _tangent_rows(local: Refinement, count: int) -> tuple[csr_matrix, csr_matrix]:
    quads, size = local.quads, local.matrix.shape[0]
    links = _link(quads, size, Sharpness(np.zeros((0, 2), np.int64), np.zeros(0), local.sharpness.corners))
    corner, place = _order_rings(quads, size)
    ring = quads.ravel()[corner].astype(np.int64)
    own = ring < count
    corner, place, ring = corner[own], place[own], ring[own]
    after = np.roll(quads, -1, axis=1).ravel()[corner]
    across = np.roll(quads, -2, axis=1).ravel()[corner]
    before = np.roll(quads, 1, axis=1).ravel()[corner]
    on_rim = links.valence > links.faces
    last = on_rim[ring] & (place == links.faces[ring] - 1)
    first, second = _Entries(), _Entries()
    n = links.valence[ring].astype(np.float64)
    inner = ~on_rim[ring]
    _add_inner_tangents(first, second, ring[inner], after[inner], across[inner], place[inner], n[inner])
    rim = on_rim[ring] & ~links.is_corner[ring] & (links.faces[ring] >= 2)
    _add_rim_tangents(
        first, second, (ring[rim], after[rim], across[rim], before[rim]), place[rim], links.faces[ring[rim]], last[rim]
    )
    tip = on_rim[ring] & (links.is_corner[ring] | (links.faces[ring] == 1))
    for entries, other, chosen in ((first, after, tip & (place == 0)), (second, before, tip & last)):
        entries.add(ring[chosen], other[chosen], 1.0)
        entries.add(ring[chosen], ring[chosen], -1.0)
    return first.matrix((count, size)), second.matrix((count, size))


def _add_inner_tangents(
    first: _Entries,
    second: _Entries,
    ring: Ids,
    after: NDArray[np.integer],
    across: NDArray[np.integer],
    place: Ids,
    n: FloatArray,
) -> None:
    """Add the tangent weights of inner vertices (Halstead, Kass, DeRose 1993)."""
    step = 2.0 * np.pi / n
    scale = 1.0 + np.cos(step) + np.cos(np.pi / n) * np.sqrt(2.0 * (9.0 + np.cos(step)))
    for entries, wave in ((first, np.cos), (second, np.sin)):
        entries.add(ring, after, scale * wave(step * place))
        entries.add(ring, across, wave(step * place) + wave(step * (place + 1)))


def _add_rim_tangents(
    first: _Entries,
    second: _Entries,
    around: tuple[Ids, NDArray[np.integer], NDArray[np.integer], NDArray[np.integer]],
    place: Ids,
    faces: Ids,
    last: NDArray[np.bool_],
) -> None:
    """Add the tangent weights of boundary vertices with k >= 2 quads.

    The first runs along the rim, from the last neighbour to the first (eigenvalue 1/2). The second points into
    the surface: the left eigenvector whose inner part is the sine wave of an inner vertex of valence 2 k, and
    whose weights at the vertex and at both rim neighbours follow from the two rim rules.
    """
    ring, after, across, before = around
    step = np.pi / faces
    scale = 1.0 + np.cos(step) + np.cos(step / 2.0) * np.sqrt(2.0 * (9.0 + np.cos(step)))
    eigenvalue = (scale + 4.0) / 16.0
    wave_sum = 1.0 / np.tan(step / 2.0)  # of sin(i step), i = 1 .. k - 1
    near_rim = scale * np.sin(step) / 16.0 + np.sin(step) / 4.0
    within = 0.375 * scale * wave_sum + 0.5 * wave_sum
    determinant = (eigenvalue - 1.0) * (eigenvalue - 0.25)
    rim_weight = (near_rim * (eigenvalue - 0.75) + within / 8.0) / determinant
    own_weight = ((eigenvalue - 0.5) * within + near_rim) / determinant
    start = place == 0
    first.add(ring[start], after[start], 1.0)
    first.add(ring[last], before[last], -1.0)
    for chosen, other in ((start, after), (last, before)):
        second.add(ring[chosen], other[chosen], rim_weight[chosen])
    second.add(ring[start], ring[start], own_weight[start])
    second.add(ring[~start], after[~start], (scale * np.sin(step * place))[~start])
    second.add(ring, across, np.sin(step * place) + np.sin(step * (place + 1)))


def _order_rings(quads: IntArray, count: int) -> tuple[Ids, Ids]:
    """Return every corner (4 f + k) and its place in counter-clockwise order round its vertex.

    On the boundary the order starts at the rim; inside it starts at the lowest corner.
    """
    vertex = quads.ravel().astype(np.int64)
    after = np.roll(quads, -1, axis=1).ravel()
    before = np.roll(quads, 1, axis=1).ravel()
    key = vertex * count + after
    order = np.argsort(key, kind="stable")
    at = np.minimum(np.searchsorted(key[order], vertex * count + before), max(len(key) - 1, 0))
    follows = key[order[at]] == vertex * count + before
    onward = np.where(follows, order[at], -1)
    has_prior = np.zeros(len(vertex), bool)
    has_prior[onward[onward >= 0]] = True
    corners = np.arange(len(vertex))
    start = np.full(count, len(vertex), np.int64)
    np.minimum.at(start, vertex, corners)
    opens = corners[~has_prior]
    start[vertex[opens]] = opens
    place = np.full(len(vertex), -1, np.int64)
    current, step = start[start < len(vertex)], 0
    while len(current):
        place[current] = step
        current = onward[current]
        current = current[current >= 0]
        current, step = current[place[current] < 0], step + 1
    if (place < 0).any():
        stray = np.unique(vertex[place < 0])
        raise InternalError("The quads round a vertex are no single fan.", places=stray[:10].tolist())
    return corners, place
