"""Guides: lines of the program's own where a part has no border to start from, or stands out from its border."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

from loopwright.layout.border_graph import constrained_edges
from loopwright.layout.piece import boundary_loops, cut_open, directed_edges, edge_keys
from loopwright.layout.split_patches import split_edges
from loopwright.types import FloatArray, IntArray, RegionSurface

STANDS_OUT = 1.5
SNAP = 0.2


def add_guides(surface: RegionSurface, vertex_size: FloatArray) -> tuple[RegionSurface, FloatArray]:
    """Return the surface with guides where the layout needs them, and the sizes at its vertices.

    A closed part without any border gets the line half way along its longest
    axis.  A disc whose area is more than ``STANDS_OUT`` times what its border
    spans (an ear, a horn, a finger) gets a ring round it: a level line of the
    torsion function (the solution of -laplace u = 1, zero on the border).
    """
    count = len(surface.positions)
    constrained = constrained_edges(surface)
    keys = edge_keys(constrained.edges, count)
    wedges, origin, component = cut_open(surface.triangles, keys, count)
    work = _Work(surface, vertex_size)
    parts, regions = [], []
    for c in range(int(component.max()) + 1):
        mine = np.flatnonzero(component == c)
        loops = boundary_loops(wedges[mine])
        triangles = surface.triangles[mine]
        if not loops:
            triangles = work.cut_level(triangles, *_along_axis(surface.positions, triangles))
        elif len(loops) == 1 and _is_disc(wedges[mine]):
            rim = origin[loops[0]]
            if not surface.on_mirror[rim].any() and _standing_out(surface.positions, triangles, rim) > STANDS_OUT:
                triangles = work.cut_level(triangles, *_torsion(surface.positions, triangles, rim))
        parts.append(triangles)
        regions.append(np.full(len(triangles), surface.triangle_region[mine[0]], np.int32))
    if not work.flow:
        return surface, vertex_size
    changed = replace(
        surface,
        positions=work.positions,
        triangles=np.ascontiguousarray(np.concatenate(parts), np.int32),
        triangle_region=np.concatenate(regions),
        on_mirror=work.on_mirror,
        guide_edges=np.concatenate([surface.guide_edges, *work.flow]).astype(np.int32),
    )
    return changed, work.vertex_size


def _is_disc(triangles: IntArray) -> bool:
    edges = np.unique(np.sort(directed_edges(triangles), axis=1), axis=0)
    return len(np.unique(triangles)) - len(edges) + len(triangles) == 1


def _triangle_areas(positions: FloatArray, triangles: IntArray) -> FloatArray:
    p = positions[triangles]
    area: FloatArray = 0.5 * np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1)
    return area


def _standing_out(positions: FloatArray, triangles: IntArray, rim: IntArray) -> float:
    """Area of a disc over the area that its rim spans (the length of its vector area)."""
    line = positions[rim] - positions[rim].mean(axis=0)
    spanned = 0.5 * float(np.linalg.norm(np.cross(line, np.roll(line, -1, axis=0)).sum(axis=0)))
    return float(_triangle_areas(positions, triangles).sum()) / max(spanned, 1e-300)


def _along_axis(positions: FloatArray, triangles: IntArray) -> tuple[FloatArray, float]:
    """The place along the longest axis, and its middle."""
    used = np.unique(triangles)
    centred = positions[used] - positions[used].mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    axis = axes[0] * np.sign(axes[0][np.abs(axes[0]).argmax()])
    values = positions @ axis
    return values, float(0.5 * (values[used].min() + values[used].max()))


def _torsion(positions: FloatArray, triangles: IntArray, loop: IntArray) -> tuple[FloatArray, float]:
    """The torsion function of a disc (zero on ``loop``, no slope across other boundary), and the level that encloses half of the area."""
    used, local = np.unique(triangles, return_inverse=True)
    local = local.reshape(-1, 3)
    p = positions[used]
    rows, cols, vals = [], [], []
    for i in range(3):
        u, v = p[local[:, (i + 1) % 3]] - p[local[:, i]], p[local[:, (i + 2) % 3]] - p[local[:, i]]
        cot = (u * v).sum(axis=1) / (np.linalg.norm(np.cross(u, v), axis=1) + 1e-300)
        w = 0.5 * np.clip(cot, 0.02, 20.0)
        a, b = local[:, (i + 1) % 3], local[:, (i + 2) % 3]
        rows += [a, b, a, b]
        cols += [a, b, b, a]
        vals += [w, w, -w, -w]
    size = (len(used), len(used))
    stiffness = coo_matrix((np.concatenate(vals), (np.concatenate(rows), np.concatenate(cols))), shape=size).tocsr()
    area = _triangle_areas(p, local)
    load = np.bincount(local.reshape(-1), weights=np.repeat(area / 3, 3), minlength=len(used))
    inner = np.flatnonzero(~np.isin(used, loop))
    solved = np.zeros(len(used))
    solved[inner] = splu(stiffness[inner][:, inner].tocsc()).solve(load[inner])
    values = np.zeros(len(positions))
    values[used] = solved
    order = np.argsort(solved)
    share = np.cumsum(load[order]) / load.sum()
    return values, float(solved[order][np.searchsorted(share, 0.5)])


class _Work:
    """Positions and sizes that grow where edges are split, and the guide edges found."""

    def __init__(self, surface: RegionSurface, vertex_size: FloatArray) -> None:
        self.positions, self.vertex_size, self.on_mirror = surface.positions, vertex_size, surface.on_mirror
        self.flow: list[IntArray] = []

    def cut_level(self, triangles: IntArray, values: FloatArray, level: float) -> IntArray:
        """Split edges where ``values`` pass ``level``, note the guide edges and return the new triangles.

        Vertices within ``SNAP`` of an edge of the line are taken to be on it.
        """
        edges = np.unique(np.sort(directed_edges(triangles), axis=1), axis=0)
        above = values - level
        a, b = edges[:, 0], edges[:, 1]
        crossing = above[a] * above[b] < 0
        share = np.where(crossing, above[a] / np.where(crossing, above[a] - above[b], 1.0), 0.5)
        above[a[crossing & (share < SNAP)]] = 0.0
        above[b[crossing & (share > 1 - SNAP)]] = 0.0
        crossing = above[a] * above[b] < 0
        a, b, share = a[crossing], b[crossing], share[crossing]
        in_plane = self.on_mirror[a] & self.on_mirror[b]
        first = len(self.positions)
        fresh = np.arange(first, first + len(a))
        split = split_edges(triangles, list(zip(a.tolist(), b.tolist(), fresh.tolist(), strict=True)))
        if split is None:
            return triangles
        points = self.positions[a] * (1 - share)[:, None] + self.positions[b] * share[:, None]
        size = self.vertex_size[a] * (1 - share) + self.vertex_size[b] * share
        side = np.zeros(first + len(a))
        side[: len(above)] = above
        self.positions = np.concatenate([self.positions, points])
        self.vertex_size = np.concatenate([self.vertex_size, size])
        self.on_mirror = np.concatenate([self.on_mirror, in_plane])
        self.flow.append(_sign_edges(split, np.sign(side[split].sum(axis=1))))
        return split


def _sign_edges(triangles: IntArray, sign: FloatArray) -> IntArray:
    """Return the (k, 2) edges between triangles of positive and other sign."""
    edges = np.sort(directed_edges(triangles), axis=1)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    pair = (edges[order][1:] == edges[order][:-1]).all(axis=1)
    first, second = order[:-1][pair], order[1:][pair]
    positive = sign > 0
    found = edges[first[positive[first // 3] != positive[second // 3]]]
    return found.astype(np.int32)
