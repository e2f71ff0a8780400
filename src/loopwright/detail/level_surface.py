"""The smooth surface of a cage at a level: limit points with a frame at each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.reflect import put_in_plane
from loopwright.numerics.catmull_clark import NO_SHARPNESS, Sharpness, refine, unique_edges
from loopwright.numerics.limit_surface import limit_matrix, limit_tangent_matrices
from loopwright.surface.project import unit
from loopwright.types import FloatArray, QuadMesh


@dataclass(frozen=True)
class LevelSurface:
    """A cage's limit surface, sampled at the vertices of one level of subdivision.

    Attributes
    ----------
    mesh : the level: its positions are limit points. Vertices of coarser levels come first, in their order.
    frames : (n, 3, 3) rows tangent, bitangent, normal: right-handed unit vectors, the normal outward. A vertex has the
        same frame at every level.
    reach : (n,) length of the cage's edges near by.
    """

    mesh: QuadMesh
    frames: FloatArray
    reach: FloatArray


@dataclass(frozen=True)
class _Net:
    """A level's control net: a mesh (half or whole), what is sharp on it, and the cage's edge length near by."""

    mesh: QuadMesh
    sharpness: Sharpness
    reach: FloatArray


def level_surface(mesh: QuadMesh, level: int, sharpness: Sharpness = NO_SHARPNESS) -> LevelSurface:
    """Return the limit surface of a cage at one level; a half stays a half, and is smooth across its mirror plane.

    Parameters
    ----------
    level : 0 for the cage's own vertices; each level more has four times the faces.
    """
    *_, last = level_surfaces(mesh, level, sharpness, first=level)
    return last


def level_surfaces(
    mesh: QuadMesh, levels: int, sharpness: Sharpness = NO_SHARPNESS, *, first: int = 0
) -> Iterator[LevelSurface]:
    """Yield the limit surface at the levels ``first`` to ``levels``."""
    net = _Net(mesh, sharpness, _edge_length(mesh))
    for level in range(levels + 1):
        if level >= first:
            yield _sample(net)
        if level < levels:
            net = _refine(net)


def _edge_length(mesh: QuadMesh) -> FloatArray:
    """Return (n,) the mean length of the edges at each vertex."""
    edges = unique_edges(mesh.quads)
    length = np.linalg.norm(mesh.positions[edges[:, 0]] - mesh.positions[edges[:, 1]], axis=1)
    total = np.bincount(edges.ravel(), weights=np.repeat(length, 2), minlength=len(mesh.positions))
    mean: FloatArray = total / np.maximum(np.bincount(edges.ravel(), minlength=len(mesh.positions)), 1)
    return mean


def _sample(net: _Net) -> LevelSurface:
    mesh = net.mesh
    fold = fold_mirror(mesh)
    sharpness = fold.unfold_sharpness(net.sharpness)
    whole, n = fold.unfold_points(mesh.positions), len(mesh.positions)
    points = limit_matrix(fold.quads, fold.whole_count, sharpness)[:n] @ whole
    if mesh.mirror is not None:
        points = put_in_plane(points, mesh.on_mirror, mesh.mirror)
    first, second = (t[:n] @ whole for t in limit_tangent_matrices(fold.quads, fold.whole_count, sharpness))
    normal = unit(np.cross(first, second))
    if fold.mirror is not None:
        flat = mesh.on_mirror
        normal[flat] -= np.outer(normal[flat] @ fold.mirror.normal, fold.mirror.normal)
        normal = unit(normal)
    tangent = unit(first - np.einsum("ij,ij->i", first, normal)[:, None] * normal)
    frames = np.stack([tangent, np.cross(normal, tangent), normal], axis=1)
    frames[(np.abs(normal).sum(axis=1) == 0.0) | (np.abs(tangent).sum(axis=1) == 0.0)] = np.eye(3)
    return LevelSurface(replace(mesh, positions=points), frames, net.reach)


def _refine(net: _Net) -> _Net:
    """Return the net one level down; of a half, its own part of the whole's."""
    mesh = net.mesh
    fold = fold_mirror(mesh)
    level = refine(fold.quads, fold.whole_count, fold.unfold_sharpness(net.sharpness))
    n, m, size = len(mesh.positions), len(mesh.quads), level.matrix.shape[0]
    quads = level.quads[: 4 * m]
    kept = np.union1d(np.arange(n), quads)
    place = np.full(size, -1, np.int64)
    place[kept] = np.arange(len(kept))
    source = np.concatenate([np.arange(n), fold.source])
    rows = level.matrix[kept]
    positions = rows @ fold.unfold_points(mesh.positions)
    on_mirror = _children_on_mirror(mesh, fold.quads, fold.whole_count, kept)
    if mesh.mirror is not None:
        positions = put_in_plane(positions, on_mirror, mesh.mirror)
    child = QuadMesh(
        positions=np.ascontiguousarray(positions),
        quads=np.ascontiguousarray(place[quads], np.int32),
        quad_region=np.repeat(mesh.quad_region, 4).astype(np.int32),
        regions=mesh.regions,
        vertex_curve=np.full(len(kept), -1, np.int32),
        curves=(),
        is_fixed=np.zeros(len(kept), bool),
        on_mirror=on_mirror,
        mirror=mesh.mirror,
    )
    edges = place[level.sharpness.edges]
    own = (edges >= 0).all(axis=1)
    corners = place[level.sharpness.corners]
    sharpness = Sharpness(edges[own], level.sharpness.values[own], corners[corners >= 0])
    return _Net(child, sharpness, rows @ net.reach[source])


def _children_on_mirror(
    mesh: QuadMesh, quads: NDArray[np.int32], count: int, kept: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Return which kept children lie in the mirror plane: those of its vertices and of edges between them."""
    edges = unique_edges(quads)
    parent = np.zeros(count, bool)
    parent[: len(mesh.positions)] = mesh.on_mirror
    flags = np.concatenate([parent, parent[edges].all(axis=1), np.zeros(len(quads), bool)])
    found: NDArray[np.bool_] = flags[kept]
    return found


def keep_in_plane(surface: LevelSurface, way: FloatArray, ids: NDArray[np.int64] | None = None) -> FloatArray:
    """Return the ways of all or some of a level's vertices with none that leads out of the mirror plane."""
    if surface.mesh.mirror is None:
        return way
    flat, across = surface.mesh.on_mirror, surface.mesh.mirror.normal
    flat = flat if ids is None else flat[ids]
    way = way.copy()
    way[flat] -= np.outer(way[flat] @ across, across)
    return way


def neighbour_sum(mesh: QuadMesh) -> csr_matrix:
    """Return the sparse (n, n) matrix that sums each vertex's neighbours."""
    edges, count = unique_edges(mesh.quads), len(mesh.positions)
    both = np.vstack([edges, edges[:, ::-1]])
    return csr_matrix((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=(count, count))
