"""The wished edge length at every vertex of the region surface."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra

from loopwright.numerics.factorize import factorize
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import surface_edges, surface_twins
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface

_ROUNDS = 8  # of scaling what is not asked for, which also changes with what it blends into


@dataclass(frozen=True)
class SizeOptions:
    """How the default size follows the shape.

    width_exponent : how strongly the size follows the width of the regions (0: not at all).
    bend_exponent : how strongly the size follows the radius of curvature; 0.5 would even out the distance
        between sculpt and mesh.
    least, most : bounds of a region's factor on the mean size.
    rows : a region gets at least about this many rows across its width.
    spread : how far sizes blend into one another, in mean edge lengths.
    """

    width_exponent: float = 0.3
    bend_exponent: float = 0.45
    least: float = 0.3
    most: float = 1.35
    rows: float = 2.6
    spread: float = 1.5


def size_field(
    surface: RegionSurface,
    faces: float,
    *,
    sizes: Mapping[int, float] | None = None,
    painted: FloatArray | None = None,
    options: SizeOptions | None = None,
) -> FloatArray:
    """Return (n,) wished edge lengths such that about ``faces`` quads cover the surface.

    Parameters
    ----------
    faces : wished number of quads on this surface (half the budget for a half).
    sizes : region index -> edge length asked for by the artist; those stay as asked.
    painted : (n,) edge lengths painted on the surface, 0 where none is; they win over ``sizes``.
    """
    opt = options or SizeOptions()
    area = triangle_areas(surface)
    mean = float(np.sqrt(area.sum() / faces))
    component, width = region_widths(surface)
    reference = float(np.average(width, weights=np.bincount(component, weights=area)))
    by_width = (width / reference) ** opt.width_exponent
    bend = np.maximum(bending(surface, area), 0.2 / np.sqrt(area.sum()))
    by_bend = (bend * np.sqrt(area.sum() / (4 * np.pi))) ** -opt.bend_exponent
    factor = np.clip(by_width[component] * by_bend, opt.least, opt.most)
    wished = np.minimum(mean * factor, width[component] / opt.rows)
    wished = np.maximum(wished, 0.2 * mean)
    asked = asked_lengths(surface, sizes or {}, painted)
    is_asked = asked > 0
    if is_asked.any():  # so that what blends into asked lengths is about as long as it comes out
        load = area / np.where(is_asked, asked, wished) ** 2
        wished = np.where(is_asked, asked, wished * _free_scale(load, is_asked, faces))
    held = np.zeros(len(surface.positions), bool)
    held[surface.triangles[is_asked].reshape(-1)] = True
    size = np.exp(_blend(surface, np.log(wished), area, opt.spread * mean, is_asked))
    for _ in range(_ROUNDS if held.any() else 2):
        load = area / size[surface.triangles].mean(axis=1) ** 2
        size = np.where(held, size, size * _free_scale(load, is_asked, faces))
    return size


def _free_scale(load: FloatArray, is_asked: BoolArray, faces: float) -> float:
    """Return the factor on lengths that nobody asked for: the faces that the others leave, a tenth at the least."""
    rest = max(faces - load[is_asked].sum(), 0.1 * faces)
    return 1.0 if is_asked.all() else float(np.sqrt(load[~is_asked].sum() / rest))


def asked_lengths(surface: RegionSurface, sizes: Mapping[int, float], painted: FloatArray | None) -> FloatArray:
    """Return (m,) the edge length asked for on each triangle, 0 where none is; see :func:`size_field`."""
    asked = np.zeros(len(surface.triangles))
    for region, length in sizes.items():
        asked[surface.triangle_region == region] = length
    if painted is not None:
        corners = painted[surface.triangles]
        has_paint = (corners > 0).all(axis=1)
        asked[has_paint] = corners[has_paint].mean(axis=1)
    return asked


def mean_size(surface: RegionSurface, faces: float) -> float:
    """Return the edge length at which ``faces`` squares cover the surface."""
    return float(np.sqrt(triangle_areas(surface).sum() / faces))


def triangle_areas(surface: RegionSurface) -> FloatArray:
    """Return (m,) the areas of the surface's triangles."""
    p = surface.positions[surface.triangles]
    area: FloatArray = 0.5 * norms(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]))
    return area


def bending(surface: RegionSurface, area: FloatArray) -> FloatArray:
    """Return (m,) curvature per triangle, 1 / length: the turn of the normal over its three edges, rms."""
    p = surface.positions[surface.triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    normal /= norms(normal)[..., None] + 1e-300
    edges = surface_edges(surface)
    twin = surface_twins(surface)
    length = norms(surface.positions[edges[:, 0]] - surface.positions[edges[:, 1]])
    here = np.arange(len(twin)) // 3
    there = np.where(twin >= 0, np.maximum(twin, 0) // 3, here)
    turn = norms(normal[here] - normal[there])
    # sum over edges of (angle * length)^2 / area^2 is a squared curvature per triangle pair
    height = (area[here] + area[there]) / np.maximum(length, 1e-300)
    square = (turn / np.maximum(height, 1e-300)) ** 2
    total: FloatArray = np.sqrt(square.reshape(-1, 3).sum(axis=1))
    return total


def region_widths(surface: RegionSurface) -> tuple[IntArray, FloatArray]:
    """Return each triangle's connected region component, and each component's width.

    The width is twice the largest distance (along edges) from its borders, rims excluded from the mirror plane.
    """
    edges = surface_edges(surface)
    twin = surface_twins(surface)
    region = np.repeat(surface.triangle_region, 3)
    other = np.where(twin >= 0, region[np.maximum(twin, 0)], -1)
    inside = np.flatnonzero((twin >= 0) & (region == other))
    dual = coo_matrix(
        (np.ones(len(inside), np.int8), (inside // 3, twin[inside] // 3)), shape=(len(surface.triangles),) * 2
    )
    count, component = connected_components(dual, directed=False)
    in_plane = surface.on_mirror[edges].all(axis=1)
    barrier = edges[((twin < 0) & ~in_plane) | ((twin >= 0) & (region != other))]
    length = norms(surface.positions[edges[:, 0]] - surface.positions[edges[:, 1]])
    graph = csr_matrix((length, (edges[:, 0], edges[:, 1])), shape=(len(surface.positions),) * 2)
    graph = graph.maximum(graph.T)
    sources = np.unique(barrier)
    width = np.full(count, np.inf)
    if len(sources):
        distance = dijkstra(graph, directed=False, indices=sources, min_only=True)
        top = np.zeros(count)
        np.maximum.at(top, np.repeat(component, 3), distance[surface.triangles].reshape(-1))
        width = 2 * top
    area = triangle_areas(surface)
    round_width = 2 * np.sqrt(np.bincount(component, weights=area) / np.pi)
    return component.astype(np.int32), np.where(np.isfinite(width), np.minimum(width, round_width), round_width)


def _blend(
    surface: RegionSurface, values: FloatArray, area: FloatArray, reach: float, is_asked: BoolArray
) -> FloatArray:
    """Average triangle values to vertices and diffuse them over ``reach`` (one implicit step).

    The vertices of triangles whose values were asked for keep the mean of these.
    """
    count = len(surface.positions)
    weight = _gather(surface.triangles, area / 3, count)
    total = _gather(surface.triangles, area / 3 * values, count)
    p = surface.positions[surface.triangles]
    rows, cols, vals = [], [], []
    for i in range(3):
        u, v = p[:, (i + 1) % 3] - p[:, i], p[:, (i + 2) % 3] - p[:, i]
        cot = (u * v).sum(axis=1) / (norms(np.cross(u, v)) + 1e-300)
        a, b = surface.triangles[:, (i + 1) % 3], surface.triangles[:, (i + 2) % 3]
        w = 0.5 * np.clip(cot, 0.0, 20.0)
        rows += [a, b, a, b]
        cols += [a, b, b, a]
        vals += [w, w, -w, -w]
    shape = (count, count)
    stiffness = coo_matrix((np.concatenate(vals), (np.concatenate(rows), np.concatenate(cols))), shape=shape)
    mass = coo_matrix((weight, (np.arange(count),) * 2), shape=shape)
    matrix = csr_matrix(mass + reach**2 * stiffness)
    if not is_asked.any():
        blended: FloatArray = factorize(matrix).solve(total)
        return blended
    asked = surface.triangles[is_asked]
    sure = _gather(asked, area[is_asked], count)
    fixed = _gather(asked, area[is_asked] * values[is_asked], count) / np.maximum(sure, 1e-300)
    is_free = sure == 0.0
    if is_free.any():
        rows = matrix[is_free]
        fixed[is_free] = factorize(rows[:, is_free]).solve(total[is_free] - rows[:, ~is_free] @ fixed[~is_free])
    return fixed


def _gather(triangles: IntArray, values: FloatArray, count: int) -> FloatArray:
    """Return (count,) the sums of triangles' values at their vertices."""
    sums = np.bincount(triangles.reshape(-1), weights=np.repeat(values, 3), minlength=count)
    return sums.astype(np.float64)
