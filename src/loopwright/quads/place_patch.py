"""Place the fill of a patch in the surface by a one-to-one map through a convex polygon."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from loopwright.errors import InternalError
from loopwright.numerics.norms import norms
from loopwright.patterns.embed_fill import convex_corners, default_bulge, embed_tutte, points_on_sides, quad_edges
from loopwright.patterns.fill_patch import PatchFill
from loopwright.types import FloatArray, IntArray

_THIN = 1e-12


@dataclass(frozen=True)
class FlatPatch:
    """A patch and its fill in the same convex polygon.

    Attributes
    ----------
    patch_points : (n, 2) place of every patch vertex.
    fill_points : (v, 2) place of every fill vertex.
    """

    patch_points: FloatArray
    fill_points: FloatArray


def place_patch(
    fill: PatchFill,
    boundary_positions: FloatArray,
    patch_positions: FloatArray,
    patch_triangles: IntArray,
    patch_boundary: IntArray,
    patch_corners: IntArray,
) -> FloatArray:
    """Return (vertex_count, 3) positions of a fill on its patch.

    Parameters
    ----------
    fill : the quads.
    boundary_positions : (b, 3) where the fill's boundary vertices lie, in the order of ``fill.boundary``; kept exactly.
    patch_positions : (n, 3) the patch, a triangulated disc.
    patch_triangles : (m, 3) counter-clockwise.
    patch_boundary : (k,) boundary vertices counter-clockwise from corner 0.
    patch_corners : (c,) places in ``patch_boundary`` of the corners, the first is 0.

    Raises
    ------
    InternalError
        The patch is no disc with that boundary, or the corners of fill and patch differ in number.
    """
    flat = flatten_patch(fill, boundary_positions, patch_positions, patch_triangles, patch_boundary, patch_corners)
    triangles = np.asarray(patch_triangles, dtype=np.int32)
    positions = np.empty((fill.vertex_count, 3))
    positions[fill.boundary] = boundary_positions
    is_inner = np.ones(fill.vertex_count, dtype=bool)
    is_inner[fill.boundary] = False
    if is_inner.any():
        face, weight = locate_points(flat.patch_points, triangles, flat.fill_points[is_inner])
        positions[is_inner] = np.einsum("ij,ijk->ik", weight, np.asarray(patch_positions)[triangles[face]])
    return positions


def flatten_patch(
    fill: PatchFill,
    boundary_positions: FloatArray,
    patch_positions: FloatArray,
    patch_triangles: IntArray,
    patch_boundary: IntArray,
    patch_corners: IntArray,
) -> FlatPatch:
    """Return patch and fill in one convex polygon; parameters as for :func:`place_patch`."""
    ring = np.asarray(patch_positions, dtype=np.float64)[np.asarray(patch_boundary)]
    stops = [*np.asarray(patch_corners).tolist(), len(ring)]
    closed = np.concatenate([ring, ring[:1]])
    chains = [closed[low : high + 1] for low, high in zip(stops[:-1], stops[1:], strict=True)]
    arcs = [np.concatenate([[0.0], np.cumsum(norms(np.diff(c, axis=0)))]) for c in chains]
    if any(arc.size < 2 or arc[-1] <= 0.0 for arc in arcs):
        raise InternalError(
            "a patch has a side without length", places=[int(v) for v in np.asarray(patch_boundary)[:1]]
        )
    corners = convex_corners([float(arc[-1]) for arc in arcs])
    bulge = default_bulge(len(chains))
    patch_rim = points_on_sides(corners, [arc[:-1] / arc[-1] for arc in arcs], bulge=bulge)
    patch_points = _flatten_mean_value(np.asarray(patch_positions), patch_triangles, patch_boundary, patch_rim)
    fractions = _fractions_on_sides(fill, np.asarray(boundary_positions, dtype=np.float64), chains, arcs)
    fill_rim = points_on_sides(corners, fractions, bulge=bulge)
    fill_points = embed_tutte(quad_edges(fill.quads), fill.vertex_count, fill.boundary, fill_rim)
    return FlatPatch(patch_points, fill_points)


def _fractions_on_sides(
    fill: PatchFill, boundary_positions: FloatArray, chains: list[FloatArray], arcs: list[FloatArray]
) -> list[FloatArray]:
    """Return where on its side (share of the length) every boundary vertex of the fill lies, side by side."""
    quads_at = np.bincount(fill.quads.ravel(), minlength=fill.vertex_count)
    starts = np.flatnonzero(quads_at[fill.boundary] == 1)
    if starts.size != len(chains) or starts[0] != 0:
        raise InternalError(f"a fill with {starts.size} corners does not fit a patch with {len(chains)}")
    stops = [*starts.tolist(), fill.boundary.size]
    return [
        _project_on_chain(boundary_positions[low:high], chain, arc)
        for low, high, chain, arc in zip(stops[:-1], stops[1:], chains, arcs, strict=True)
    ]


def _project_on_chain(points: FloatArray, chain: FloatArray, arc: FloatArray) -> FloatArray:
    """Return increasing shares of the length of ``chain`` nearest to ``points``; the first is its start."""
    count = points.shape[0]
    own = np.concatenate([[0.0], np.cumsum(norms(np.diff(points, axis=0)))])
    guess: FloatArray = own / (own[-1] + np.linalg.norm(chain[-1] - points[-1]))
    step = np.diff(chain, axis=0)
    square = np.maximum((step**2).sum(axis=1), 1e-300)
    offset = points[:, None] - chain[None, :-1]
    t = np.clip((offset * step).sum(axis=2) / square, 0.0, 1.0)
    distance = ((offset - t[..., None] * step) ** 2).sum(axis=2)
    share = (arc[:-1] + t * np.diff(arc)) / arc[-1]
    # a chain that comes near itself: stay near the share that the vertices' own spacing tells
    best = np.argmin(distance + (0.2 * arc[-1] * (share - guess[:, None])) ** 2 * 0.01, axis=1)
    found = share[np.arange(count), best]
    found[0] = 0.0
    gap = 1e-3 / (count + 1)
    rising: FloatArray = np.maximum.accumulate(found - gap * np.arange(count)) + gap * np.arange(count)
    if rising[-1] > 1.0 - gap:
        return guess
    return rising


def _flatten_mean_value(
    positions: FloatArray, triangles: IntArray, boundary: IntArray, boundary_points: FloatArray
) -> FloatArray:
    """Return (n, 2): every interior vertex is a positive mean of its neighbours, so no triangle turns over.

    References
    ----------
    Floater, "Mean value coordinates", Computer Aided Geometric Design 20, 2003, DOI 10.1016/S0167-8396(03)00002-5.
    """
    count = positions.shape[0]
    points = np.zeros((count, 2))
    points[boundary] = boundary_points
    is_inner = np.ones(count, dtype=bool)
    is_inner[boundary] = False
    inner = np.flatnonzero(is_inner)
    if inner.size == 0:
        return points
    tail, head, weight = _mean_value_weights(positions, np.asarray(triangles, dtype=np.int32))
    keep = is_inner[tail]
    tail, head, weight = tail[keep], head[keep], weight[keep]
    weight = weight / np.bincount(tail, weights=weight, minlength=count)[tail]
    local = np.cumsum(is_inner) - 1
    known = ~is_inner[head]
    right = np.stack(
        [np.bincount(local[tail[known]], weight[known] * points[head[known], k], inner.size) for k in (0, 1)], axis=1
    )
    rows = np.concatenate([local[tail[~known]], np.arange(inner.size)])
    columns = np.concatenate([local[head[~known]], np.arange(inner.size)])
    values = np.concatenate([-weight[~known], np.ones(inner.size)])
    system = csc_matrix((values, (rows, columns)), shape=(inner.size, inner.size))
    points[inner] = splu(system, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(right)
    if not np.all(np.isfinite(points)):
        raise InternalError("a patch is not one connected disc with the boundary given")
    return points


def _mean_value_weights(positions: FloatArray, triangles: IntArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Return (tail, head, weight) of directed edges: tan(angle / 2) / length for each triangle at the edge's tail."""
    corner = positions[triangles]
    forward = np.roll(corner, -1, axis=1) - corner
    back = np.roll(corner, 1, axis=1) - corner
    length = norms(forward)
    length = np.maximum(length, 1e-9 * max(float(length.mean()), 1e-300))
    sine = norms(np.cross(forward, back))
    cosine = (forward * back).sum(axis=2)
    product = length * np.roll(length, 1, axis=1)
    tangent = np.clip(sine / np.maximum(product + cosine, 1e-12 * product), 1e-4, 1e4)
    tail = np.concatenate([triangles.ravel(), triangles.ravel()])
    head = np.concatenate([np.roll(triangles, -1, axis=1).ravel(), np.roll(triangles, 1, axis=1).ravel()])
    weight = np.concatenate([(tangent / length).ravel(), (tangent / np.roll(length, 1, axis=1)).ravel()])
    return tail, head, weight


def locate_points(points: FloatArray, triangles: IntArray, queries: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the nearest triangle (q,) of (q, 2) queries and barycentric weights (q, 3); thin triangles are skipped."""
    corner = points[triangles]
    first, second = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    usable = np.flatnonzero(np.abs(area) > _THIN * max(float(np.abs(area).sum()), 1e-300))
    if usable.size == 0:
        raise InternalError("a patch lies flat on a line in its polygon")
    spatial = _lift(points)
    _, face, nearest = igl.point_mesh_squared_distance(
        _lift(queries), spatial, np.ascontiguousarray(triangles[usable], dtype=np.int64)
    )
    chosen = usable[np.asarray(face).ravel()]
    local = np.asarray(nearest)[:, :2] - corner[chosen, 0]
    u = (local[:, 0] * second[chosen, 1] - local[:, 1] * second[chosen, 0]) / area[chosen]
    v = (first[chosen, 0] * local[:, 1] - first[chosen, 1] * local[:, 0]) / area[chosen]
    weight = np.clip(np.stack([1.0 - u - v, u, v], axis=1), 0.0, 1.0)
    return chosen.astype(np.int32), weight / weight.sum(axis=1, keepdims=True)


def _lift(points: ArrayLike) -> FloatArray:
    flat = np.asarray(points, dtype=np.float64)
    return np.column_stack([flat, np.zeros(flat.shape[0])])
