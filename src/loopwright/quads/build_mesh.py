"""The quads stage: fill every patch from its counts, place the fills and weld them along the arcs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from loopwright.counts.measure_faces import side_lengths
from loopwright.layout.border_graph import constrained_edges, node_mask, trace_chains
from loopwright.layout.types import Arc, Layout, Patch
from loopwright.patterns.fill_patch import PatchFill, fill_patch
from loopwright.progress import Progress, silent
from loopwright.quads.place_patch import place_patch
from loopwright.surface.half_edges import arc_length
from loopwright.types import Curve, FloatArray, IntArray, QuadMesh


@dataclass(frozen=True)
class _Points:
    """All vertices on nodes and arcs: their positions, and the vertex ids along each arc from its first node on."""

    positions: FloatArray
    on_arc: list[IntArray]
    node_ids: dict[int, int]


def build_mesh(layout: Layout, counts: IntArray, vertex_size: FloatArray, *, progress: Progress = silent) -> QuadMesh:
    """Return the quad mesh of the layout's surface (a half, where there is a mirror plane).

    Parameters
    ----------
    counts : (arcs,) segments per arc.
    vertex_size : (n,) wished edge length at the region surface's vertices; spaces the vertices on the arcs.
    """
    points = _place_on_arcs(layout, counts, vertex_size)
    positions = [points.positions]
    quads, region = [], []
    following = len(points.positions)
    for i, patch in enumerate(layout.patches):
        progress("quads", i / len(layout.patches))
        around = _boundary_ids(patch, points)
        fill, placed = _fill(layout, patch, counts, points.positions[around])
        ids: IntArray = np.empty(fill.vertex_count, np.int32)
        ids[fill.boundary] = around
        inner = np.ones(fill.vertex_count, bool)
        inner[fill.boundary] = False
        ids[inner] = following + np.arange(int(inner.sum()))
        following += int(inner.sum())
        positions.append(placed[inner])
        quads.append(ids[fill.quads])
        region.append(np.full(len(fill.quads), patch.region))
    progress("quads", 1.0)
    total = np.concatenate(positions)
    vertex_curve, curves, is_fixed = _roles(layout, points, len(total))
    on_mirror = np.zeros(len(total), bool)
    for arc, ids in zip(layout.arcs, points.on_arc, strict=True):
        if arc.kind == "mirror":
            on_mirror[ids] = True
    for vertex, ident in points.node_ids.items():
        on_mirror[ident] |= layout.on_mirror[vertex]
    return QuadMesh(
        np.ascontiguousarray(total),
        np.ascontiguousarray(np.concatenate(quads), np.int32),
        np.ascontiguousarray(np.concatenate(region), np.int32),
        layout.surface.regions,
        vertex_curve,
        curves,
        is_fixed,
        on_mirror,
        layout.surface.mirror,
    )


def place_quads(layout: Layout, counts: IntArray, vertex_size: FloatArray) -> Callable[[int], FloatArray]:
    """Return what places one patch: it gives the (faces, 4, 3) corners of the quads of the patch with that index.

    They lie as in the mesh that :func:`build_mesh` makes.

    Parameters
    ----------
    counts, vertex_size : as of :func:`build_mesh`.
    """
    points = _place_on_arcs(layout, counts, vertex_size)

    def corners_of(patch: int) -> FloatArray:
        chosen = layout.patches[patch]
        fill, placed = _fill(layout, chosen, counts, points.positions[_boundary_ids(chosen, points)])
        corners: FloatArray = placed[fill.quads]
        return corners

    return corners_of


def _fill(layout: Layout, patch: Patch, counts: IntArray, around: FloatArray) -> tuple[PatchFill, FloatArray]:
    sides = [int(sum(counts[a] for a, _ in side)) for side in patch.sides]
    fill = fill_patch(sides, side_lengths=side_lengths(layout, patch))
    surface = layout.positions[patch.origin]
    placed = place_patch(fill, around, surface, patch.triangles, patch.boundary, np.array(patch.corners, np.int32))
    return fill, placed


def _place_on_arcs(layout: Layout, counts: IntArray, vertex_size: FloatArray) -> _Points:
    used = sorted({int(v) for arc in layout.arcs for v in (arc.vertices[0], arc.vertices[-1])})
    node_ids = {v: i for i, v in enumerate(used)}
    positions = [layout.positions[used]]
    following = len(used)
    on_arc = []
    for arc, count in zip(layout.arcs, counts.tolist(), strict=True):
        inner = space_points(arc, count, vertex_size)
        ids = [
            node_ids[int(arc.vertices[0])],
            *range(following, following + count - 1),
            node_ids[int(arc.vertices[-1])],
        ]
        following += count - 1
        positions.append(inner)
        on_arc.append(np.array(ids, np.int32))
    return _Points(np.concatenate(positions), on_arc, node_ids)


def space_points(arc: Arc, count: int, vertex_size: FloatArray) -> FloatArray:
    """Return the (count - 1, 3) points that cut an arc into ``count`` segments of even wished length."""
    known = arc.vertices < len(vertex_size)
    size = np.ones(len(arc.vertices))
    if known.any():
        place = np.arange(len(size))
        size = np.interp(place, place[known], vertex_size[arc.vertices[known]])
    weighted = arc_length(arc.points, 1 / size)
    at = weighted[-1] * np.arange(1, count) / count
    return np.stack([np.interp(at, weighted, arc.points[:, k]) for k in range(3)], axis=1)


def _boundary_ids(patch: Patch, points: _Points) -> IntArray:
    out = []
    for side in patch.sides:
        for arc, forward in side:
            ids = points.on_arc[arc]
            out.append(ids[:-1] if forward else ids[:0:-1])
    return np.concatenate(out).astype(np.int32)


def _roles(layout: Layout, points: _Points, count: int) -> tuple[IntArray, tuple[Curve, ...], np.ndarray]:
    """Vertices on borders and rims slide along the whole curve between junctions; junctions stay."""
    surface = layout.surface
    constrained = constrained_edges(surface)
    chains = trace_chains(constrained, set(), len(surface.positions))
    vertex_curve = np.full(count, -1, np.int32)
    is_fixed = np.zeros(count, bool)
    curves: list[Curve] = []
    curve_of: dict[tuple[int, int], int] = {}
    for chain in chains:
        if chain.kind in ("mirror", "guide"):
            continue
        path = chain.vertices.tolist()
        for a, b in zip(path[:-1], path[1:], strict=True):
            curve_of[min(a, b), max(a, b)] = len(curves)
        line = surface.positions[chain.vertices[:-1] if chain.is_closed else chain.vertices]
        curves.append(Curve(np.ascontiguousarray(line), chain.is_closed))
    for arc, ids in zip(layout.arcs, points.on_arc, strict=True):
        a, b = int(arc.vertices[0]), int(arc.vertices[1])
        curve = curve_of.get((min(a, b), max(a, b)))
        if curve is not None:
            vertex_curve[ids] = curve
    for vertex in np.flatnonzero(node_mask(constrained, len(surface.positions))).tolist():
        if vertex in points.node_ids:
            is_fixed[points.node_ids[vertex]] = True
    return vertex_curve, tuple(curves), is_fixed
