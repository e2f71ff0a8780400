"""The limit surface of Catmull-Clark subdivision: exact positions and tangents as sparse operators.

References
----------
M. Halstead, M. Kass, T. DeRose, "Efficient, fair interpolation using Catmull-Clark surfaces", SIGGRAPH 1993:
limit positions and tangents.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags, identity

from loopwright.errors import InternalError
from loopwright.numerics.catmull_clark import (
    CREASE,
    NO_SHARPNESS,
    SMOOTH,
    Entries,
    Ids,
    Refinement,
    Sharpness,
    link_mesh,
    refine,
    unique_edges,
    vertex_rules,
)
from loopwright.numerics.norms import norms
from loopwright.types import FloatArray, IntArray


def limit_matrix(quads: IntArray, count: int, sharpness: Sharpness | None = None) -> csr_matrix:
    """Return the sparse (n, n) operator from control points to their limit positions, exact for any valence."""
    sharpness = sharpness or NO_SHARPNESS
    lasting, creased = _part_creases(sharpness, count)
    rows = _limit_rows(Refinement(identity(count, format="csr"), quads, lasting), count)
    if not creased.any():
        return rows
    local = _past_creases(quads, count, sharpness, creased)
    return _put_rows(rows, _limit_rows(local, count) @ local.matrix, creased)


def limit_tangent_matrices(
    quads: IntArray, count: int, sharpness: Sharpness | None = None
) -> tuple[csr_matrix, csr_matrix]:
    """Return two sparse (n, n) operators from control points to limit tangents.

    Their cross product points along the surface's normal, outward for quads
    counter-clockwise seen from outside; the lengths mean nothing. On an edge that
    is sharp without end the surface has two normals: there the tangents
    are those of the smooth rule, which lie between.
    """
    sharpness = sharpness or NO_SHARPNESS
    lasting, creased = _part_creases(sharpness, count)
    first, second = _tangent_rows(Refinement(identity(count, format="csr"), quads, lasting), count)
    if not creased.any():
        return first, second
    local = _past_creases(quads, count, sharpness, creased)
    near_first, near_second = (rows @ local.matrix for rows in _tangent_rows(local, count))
    return _put_rows(first, near_first, creased), _put_rows(second, near_second, creased)


def limit_normals(positions: FloatArray, quads: IntArray, sharpness: Sharpness | None = None) -> FloatArray:
    """Return (n, 3) unit normals of the limit surface at the vertices; zero where a vertex has no quad."""
    first, second = limit_tangent_matrices(quads, len(positions), sharpness)
    normal = np.cross(first @ positions, second @ positions)
    length = norms(normal)[..., None]
    scaled: FloatArray = normal / np.where(length > 0.0, length, 1.0)
    return scaled


def _part_creases(sharpness: Sharpness, count: int) -> tuple[Sharpness, NDArray[np.bool_]]:
    """Return what stays sharp for ever, and (n,) which vertices have an edge that does not.

    The limit at a vertex depends on the sharpness of its own edges alone.
    """
    ends = np.isinf(sharpness.values)
    creased = np.zeros(count, bool)
    creased[sharpness.edges[~ends & (sharpness.values > 0.0)].ravel()] = True
    return Sharpness(sharpness.edges[ends], sharpness.values[ends], sharpness.corners), creased


def _put_rows(rows: csr_matrix, other: csr_matrix, chosen: NDArray[np.bool_]) -> csr_matrix:
    """Return the rows with the chosen ones taken from the other matrix."""
    return (diags((~chosen).astype(np.float64)) @ rows + diags(chosen.astype(np.float64)) @ other).tocsr()


def _past_creases(quads: IntArray, count: int, sharpness: Sharpness, creased: NDArray[np.bool_]) -> Refinement:
    """Return the mesh near each creased vertex at a level where no finite sharpness is left.

    The limit at a vertex depends on the quads round it alone, so only those are carried along; the outer
    points of that ring go wrong, but nothing uses them.
    """
    matrix: csr_matrix = identity(count, format="csr")
    finite = sharpness.values[np.isfinite(sharpness.values)]
    quads = quads[creased[quads].any(axis=1)]
    sharpness = _sharp_near(sharpness, quads, count)
    for _ in range(int(np.ceil(finite.max()))):
        level = refine(quads, matrix.shape[0], sharpness)
        matrix, quads = level.matrix @ matrix, level.quads
        first = quads[:, 0]
        quads = quads[(first < count) & creased[np.minimum(first, count - 1)]]
        sharpness = _sharp_near(level.sharpness, quads, matrix.shape[0])
    return Refinement(matrix, quads, sharpness)


def _sharp_near(sharpness: Sharpness, quads: IntArray, count: int) -> Sharpness:
    """Return the sharpness of the quads' own edges."""
    edges = unique_edges(quads)
    pairs = np.sort(sharpness.edges, axis=1).astype(np.int64)
    kept = np.isin(pairs[:, 0] * count + pairs[:, 1], edges[:, 0] * count + edges[:, 1])
    return Sharpness(sharpness.edges[kept], sharpness.values[kept], sharpness.corners)


def _limit_rows(local: Refinement, count: int) -> csr_matrix:
    quads, size = local.quads, local.matrix.shape[0]
    links = link_mesh(quads, size, local.sharpness)
    rule = vertex_rules(links, links.edge_sharpness)
    n = np.maximum(links.valence, 1).astype(np.float64)
    smooth, crease = rule == SMOOTH, rule == CREASE
    ids, total = np.arange(count), n * (n + 5.0)
    entries = Entries()
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
    links = link_mesh(quads, size, Sharpness(np.zeros((0, 2), np.int64), np.zeros(0), local.sharpness.corners))
    corner, place = _order_rings(quads, size)
    ring = quads.ravel()[corner].astype(np.int64)
    own = ring < count
    corner, place, ring = corner[own], place[own], ring[own]
    after = np.roll(quads, -1, axis=1).ravel()[corner]
    across = np.roll(quads, -2, axis=1).ravel()[corner]
    before = np.roll(quads, 1, axis=1).ravel()[corner]
    on_rim = links.valence > links.faces
    last = on_rim[ring] & (place == links.faces[ring] - 1)
    first, second = Entries(), Entries()
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
    first: Entries,
    second: Entries,
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
    first: Entries,
    second: Entries,
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
