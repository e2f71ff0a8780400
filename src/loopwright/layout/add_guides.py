"""Guides: lines of the program's own where a part has no border to start from, or a form stands out of it."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from functools import partial

import numpy as np

from loopwright.layout.border_graph import ConstrainedEdges, constrained_edges, node_mask
from loopwright.layout.make_cut import split_edges
from loopwright.layout.open_surface import open_surface
from loopwright.layout.piece import boundary_loops
from loopwright.layout.ring_forms import GuideOptions, ring_values
from loopwright.numerics.norms import norms
from loopwright.shelf import Shelf
from loopwright.surface.half_edges import directed_edges, distinct_edges, edge_keys, is_among
from loopwright.types import FloatArray, IntArray, RegionSurface

_KEPT = 64  # parts per round whose forms are kept


def add_guides(
    surface: RegionSurface,
    vertex_size: FloatArray,
    *,
    options: GuideOptions | None = None,
    rounded: Callable[[float], float] = float,
    shelf: Shelf | None = None,
) -> tuple[RegionSurface, FloatArray]:
    """Return the surface with guides where the layout needs them, and the sizes at its vertices.

    A closed part without any border gets a line half way along its longest
    axis.  A form that stands out of a part, or is sunk into it (an ear, a
    horn, a finger, a nostril), gets rings: see
    :func:`loopwright.layout.ring_forms.ring_values`.

    Parameters
    ----------
    rounded : what is made of a length over which curvature is averaged.
    shelf : of the surface's sculpt: keeps what is found in one part alone.
    """
    opt = options or GuideOptions()
    surface, vertex_size = _cut_parts(surface, vertex_size, _halve_closed)
    return _cut_parts(
        surface, vertex_size, partial(_ring_forms, opt=opt, rounded=rounded, shelf=shelf or Shelf(depth=0))
    )


def halve_parts(
    surface: RegionSurface, vertex_size: FloatArray, chosen: Collection[int]
) -> tuple[RegionSurface, FloatArray]:
    """Return the surface with a guide half way along the longest axis of the chosen parts, and the sizes.

    Parameters
    ----------
    chosen : places of parts in the order in which :func:`loopwright.layout.piece.cut_open` numbers them.
    """
    return _cut_parts(
        surface,
        vertex_size,
        lambda work, triangles, *_: work.cut(triangles, _along_axis(work.positions, triangles)),
        chosen,
    )


Cutter = Callable[["_Work", IntArray, IntArray, IntArray], IntArray]
"""Takes the work, a part's triangles, the same in wedges, the wedges' vertices; returns the new triangles."""


def _cut_parts(
    surface: RegionSurface, vertex_size: FloatArray, cut: Cutter, chosen: Collection[int] | None = None
) -> tuple[RegionSurface, FloatArray]:
    """Let each part of the surface, cut open along its borders, be cut; or only the chosen ones."""
    opened = open_surface(surface)
    work = _Work(surface, vertex_size, constrained_edges(surface))
    parts, regions = [], []
    for c in range(opened.part_count):
        mine = np.flatnonzero(opened.component == c)
        triangles = surface.triangles[mine]
        if chosen is None or c in chosen:
            triangles = cut(work, triangles, opened.wedges[mine], opened.origin)
        parts.append(triangles)
        regions.append(np.full(len(triangles), surface.triangle_region[mine[0]], np.int32))
    return work.finish(surface, parts, regions), work.vertex_size


def _halve_closed(work: _Work, triangles: IntArray, wedges: IntArray, origin: IntArray) -> IntArray:
    """Cut a part without any border half way along its longest axis."""
    if boundary_loops(wedges):
        return triangles
    return work.cut(triangles, _along_axis(work.positions, triangles))


def _along_axis(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """The place along the longest axis, from its middle."""
    used = np.unique(triangles)
    centred = positions[used] - positions[used].mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    axis = axes[0] * np.sign(axes[0][np.abs(axes[0]).argmax()])
    values = positions @ axis
    middle: FloatArray = values - 0.5 * (values[used].min() + values[used].max())
    return middle


def _ring_forms(
    work: _Work,
    triangles: IntArray,
    wedges: IntArray,
    origin: IntArray,
    opt: GuideOptions,
    rounded: Callable[[float], float],
    shelf: Shelf,
) -> IntArray:
    """Cut the rings of all forms of one part into its triangles and return them."""
    used, places = np.unique(wedges, return_inverse=True)
    local: IntArray = places.reshape(-1, 3).astype(np.int32)
    vertex = origin[used]
    blur = rounded(opt.blur * float(np.median(work.vertex_size[vertex])))
    points, on_mirror = work.positions[vertex], work.on_mirror[vertex]
    mirror = work.mirror if on_mirror.any() else None

    def find() -> list[FloatArray]:
        return list(ring_values(points, local, on_mirror, mirror, blur, opt))

    for values in shelf.keep("forms", (points, local, on_mirror, work.mirror, blur, opt), find, parts=_KEPT):
        if not _is_worth_a_ring(work, vertex, local, values, opt):
            continue
        whole = np.full(len(work.positions), -1.0)
        whole[vertex] = values
        triangles = work.cut(triangles, work.spread(whole))
    return triangles


def _is_worth_a_ring(work: _Work, vertex: IntArray, local: IntArray, values: FloatArray, opt: GuideOptions) -> bool:
    """Whether the level line is long enough for its size (its length from the edges that it crosses)."""
    above = (values > 0)[local]
    crossed = above.any(axis=1) & ~above.all(axis=1)
    if not crossed.any():
        return False
    p = work.positions[vertex[local[crossed]]]
    side = norms(p - np.roll(p, 1, axis=1)).mean(axis=1)
    length = 0.5 * float(side.sum())
    touches = bool(work.on_mirror[vertex[np.unique(local[crossed])]].any())
    size = float(work.vertex_size[vertex[np.unique(local[crossed])]].mean())
    return length * (2 if touches else 1) >= opt.least_edges * size


SNAP = 0.2


class _Work:
    """Positions and sizes that grow where edges are split, and the guide edges found."""

    def __init__(self, surface: RegionSurface, vertex_size: FloatArray, constrained: ConstrainedEdges) -> None:
        self.borders = constrained.edges
        self.nodes = np.flatnonzero(node_mask(constrained, len(surface.positions))).astype(np.int32)
        self.positions, self.vertex_size, self.on_mirror = surface.positions, vertex_size, surface.on_mirror
        self.mirror = surface.mirror
        self.guides: list[IntArray] = []
        self.parents = np.zeros((0, 2), np.int64)
        self.shares = np.zeros(0)
        self.first = len(surface.positions)

    def spread(self, values: FloatArray) -> FloatArray:
        """Fill values at added vertices from the ends of the edges that they split, in the order of adding."""
        out = values.copy()
        for k, (a, b) in enumerate(self.parents.tolist()):
            out[self.first + k] = (1 - self.shares[k]) * out[a] + self.shares[k] * out[b]
        return out

    def cut(self, triangles: IntArray, values: FloatArray) -> IntArray:
        """Split edges where ``values`` change sign, note the guide edges and return the new triangles.

        Vertices within ``SNAP`` of an edge of the line are taken to be on it; a
        border is crossed at a vertex, since another part lies beyond, and not where borders meet.
        """
        edges = distinct_edges(triangles)
        above = values.copy()
        at_node = self.nodes[above[self.nodes] == 0.0]
        above[at_node] = 1e-9 * (np.abs(values).max() or 1.0)
        a, b = edges[:, 0], edges[:, 1]
        crossing = above[a] * above[b] < 0
        share = np.where(crossing, above[a] / np.where(crossing, above[a] - above[b], 1.0), 0.5)
        count = len(self.positions)
        at_border = is_among(edge_keys(edges, count), edge_keys(self.borders, count))
        free_a, free_b = ~is_among(a, self.nodes), ~is_among(b, self.nodes)
        to_a = np.where(at_border, (share < 0.5) | ~free_b, share < SNAP) & free_a
        to_b = np.where(at_border, ~to_a, share > 1 - SNAP) & free_b
        above[a[crossing & to_a]] = 0.0
        above[b[crossing & to_b]] = 0.0
        if (at_border & (above[a] * above[b] < 0)).any():
            return triangles  # a border of one edge, and nowhere on it to end
        crossing = above[a] * above[b] < 0
        a, b, share = a[crossing], b[crossing], np.clip(share[crossing], SNAP, 1 - SNAP)
        first = len(self.positions)
        fresh = np.arange(first, first + len(a))
        split = split_edges(triangles, list(zip(a.tolist(), b.tolist(), fresh.tolist(), strict=True)))
        if split is None:
            return triangles
        side = np.concatenate([above, np.zeros(len(a))])
        self.positions = np.concatenate([self.positions, _mix(self.positions, a, b, share)])
        self.vertex_size = np.concatenate([self.vertex_size, _mix(self.vertex_size, a, b, share)])
        self.on_mirror = np.concatenate([self.on_mirror, self.on_mirror[a] & self.on_mirror[b]])
        self.parents = np.concatenate([self.parents, np.stack([a, b], axis=1)])
        self.shares = np.concatenate([self.shares, share])
        self.guides.append(_sign_edges(split, np.sign(side[split].sum(axis=1))))
        return split

    def finish(self, surface: RegionSurface, parts: list[IntArray], regions: list[IntArray]) -> RegionSurface:
        """Return the surface made of the parts."""
        if not self.guides:
            return surface
        return replace(
            surface,
            positions=self.positions,
            triangles=np.ascontiguousarray(np.concatenate(parts), np.int32),
            triangle_region=np.concatenate(regions),
            on_mirror=self.on_mirror,
            guide_edges=np.concatenate([surface.guide_edges, *self.guides]).astype(np.int32),
        )


def _mix(values: FloatArray, a: IntArray, b: IntArray, share: FloatArray) -> FloatArray:
    weight = share.reshape(-1, *([1] * (values.ndim - 1)))
    mixed: FloatArray = values[a] * (1 - weight) + values[b] * weight
    return mixed


def _sign_edges(triangles: IntArray, sign: FloatArray) -> IntArray:
    """Return the (k, 2) edges between triangles of positive and other sign."""
    edges = np.sort(directed_edges(triangles), axis=1)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    pair = (edges[order][1:] == edges[order][:-1]).all(axis=1)
    first, second = order[:-1][pair], order[1:][pair]
    positive = sign > 0
    found = edges[first[positive[first // 3] != positive[second // 3]]]
    kept: IntArray = found.astype(np.int32)
    return kept
