"""Edges on the borders between regions and round the openings of a finished mesh."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from loopwright.counts.count_borders import BorderCount
from loopwright.counts.read_pins import OPENING, is_opening
from loopwright.types import FloatArray, IntArray, MirrorPlane, QuadMesh
from loopwright.wishes import Point

_SAME = 0.05  # of the mesh's extent: how far a border's middle may be from its image's; sides of their own are unlike


def border_edges(mesh: QuadMesh) -> tuple[IntArray, IntArray]:
    """Return (k, 2) edges between two regions or on the boundary, and (k, 2) their regions, ascending; -1 for none."""
    ends = np.stack([mesh.quads, np.roll(mesh.quads, -1, axis=1)], axis=2).reshape(-1, 2)
    edges, place, times = np.unique(np.sort(ends, axis=1), axis=0, return_inverse=True, return_counts=True)
    region = np.repeat(mesh.quad_region, 4)
    low, high = np.full(len(edges), np.iinfo(np.int32).max, np.int32), np.full(len(edges), -1, np.int32)
    np.minimum.at(low, place.reshape(-1), region)
    np.maximum.at(high, place.reshape(-1), region)
    low[times == 1] = -1
    return edges[low != high].astype(np.int32), np.stack([low, high], axis=1)[low != high]


def connected_edges(edges: IntArray, count: int) -> list[IntArray]:
    """Return the connected parts of (k, 2) edges among ``count`` vertices, as ascending places in the list."""
    if not len(edges):
        return []
    graph = coo_matrix((np.ones(len(edges), np.int8), (edges[:, 0], edges[:, 1])), shape=(count, count))
    part = connected_components(graph, directed=False)[1][edges[:, 0]]
    return [np.flatnonzero(part == each).astype(np.int32) for each in np.unique(part)]


def count_mesh_borders(mesh: QuadMesh, mirror: MirrorPlane | None = None) -> tuple[BorderCount, ...]:
    """Return all borders of a whole mesh as :func:`~loopwright.counts.count_borders.count_borders` does of a layout.

    Parameters
    ----------
    mirror : the plane across which borders are images of each other, also where each side has its own shape.
    """
    reach = _SAME * float(np.ptp(mesh.positions, axis=0).max())
    edges, sides = border_edges(mesh)
    has_rims = is_opening(mesh.regions, OPENING)
    found = []
    for low, high in np.unique(sides, axis=0).tolist():
        if low < 0 and not has_rims:
            continue
        mine = edges[(sides == (low, high)).all(axis=1)]
        names = sorted(mesh.regions[side].name for side in (low, high) if side >= 0)
        first, second = [*names, OPENING][:2]
        groups = connected_edges(mine, len(mesh.positions))
        middles = 0.5 * (mesh.positions[mine[:, 0]] + mesh.positions[mine[:, 1]])
        for k, has_image in _without_images([middles[group] for group in groups], mirror, reach):
            near = _place_on(mesh, middles, groups[k]) if len(groups) > 1 else None
            found.append(BorderCount((first, second), len(groups[k]), 2 if has_image else 1, near))
    return tuple(sorted(found, key=lambda border: (border.between, border.segments, border.near or ())))


def count_mesh_openings(mesh: QuadMesh) -> tuple[int, ...]:
    """Return the number of edges round each opening of a whole mesh, the largest first."""
    edges, sides = border_edges(mesh)
    return tuple(sorted((len(g) for g in connected_edges(edges[sides[:, 0] < 0], len(mesh.positions))), reverse=True))


def _without_images(groups: list[FloatArray], plane: MirrorPlane | None, reach: float) -> list[tuple[int, bool]]:
    """Return each border but those whose mirror image is returned, and whether it has such an image."""
    if plane is None:
        return [(k, False) for k in range(len(groups))]
    centers = np.array([group.mean(axis=0) for group in groups])
    found, done = [], set[int]()
    for k, reflected in enumerate(plane.reflect(centers)):
        if k in done:
            continue
        alike = [j for j in range(len(groups)) if len(groups[j]) == len(groups[k])]
        off, image = min((float(np.linalg.norm(centers[j] - reflected)), j) for j in alike)
        image = image if off < reach else k
        done.update((k, image))
        is_behind = float(plane.signed_distance(centers[k][None])[0]) < 0.0
        found.append((image if is_behind else k, image != k))
    return found


def _place_on(mesh: QuadMesh, middles: FloatArray, group: IntArray) -> Point:
    """Return the middle, rounded, of the border's edge that is furthest from other borders of the same regions."""
    digits = 3 - int(np.floor(np.log10(max(float(np.ptp(mesh.positions, axis=0).max()), 1e-300))))
    others = np.delete(middles, group, axis=0)
    far = int(cKDTree(others, balanced_tree=False).query(middles[group])[0].argmax())
    x, y, z = (round(float(v), digits) + 0.0 for v in middles[group[far]])
    return x, y, z
