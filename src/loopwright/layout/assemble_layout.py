"""Describe the patches of a cut surface by the arcs between nodes that they share."""

from __future__ import annotations

import numpy as np

from loopwright.errors import InternalError
from loopwright.layout.border_graph import (
    Chain,
    ConstrainedEdges,
    trace_chains,
)
from loopwright.layout.make_cut import Growing
from loopwright.layout.piece import Piece, side_chains
from loopwright.layout.types import Arc, Layout, Patch
from loopwright.numerics.norms import norms
from loopwright.types import FloatArray, RegionSurface


def assemble_layout(
    surface: RegionSurface,
    vertex_size: FloatArray,
    growing: Growing,
    constrained: ConstrainedEdges,
    parts: list[Piece],
) -> Layout:
    """Chain all constrained and cut edges between nodes, and describe every patch by arcs."""
    count = len(growing.positions)
    cut_edges = [np.stack([c[:-1], c[1:]], axis=1) for c in growing.cut_chains]
    extra = np.sort(np.concatenate(cut_edges), axis=1) if cut_edges else np.zeros((0, 2), np.int32)
    merged = ConstrainedEdges(
        np.concatenate([constrained.edges, extra]).astype(np.int32),
        np.concatenate([constrained.kind, np.full(len(extra), 3)]).astype(np.int32),
        np.concatenate([constrained.sides, np.full((len(extra), 2), -1)]).astype(np.int32),
    )
    nodes = set(growing.nodes)
    for part in parts:
        nodes.update(part.origin[part.quadrants == 1].tolist())
    chains = trace_chains(merged, nodes, count)
    arcs = tuple(_arc(c, growing.positions) for c in chains)
    arc_of = {}
    for i, arc in enumerate(arcs):
        arc_of[int(arc.vertices[0]), int(arc.vertices[1])] = (i, True)
        arc_of[int(arc.vertices[-1]), int(arc.vertices[-2])] = (i, False)
    patches = tuple(_patch(part, arc_of, arcs) for part in parts)
    on_mirror = np.concatenate([surface.on_mirror, np.zeros(count - len(surface.positions), bool)])
    node_list = np.array(sorted(nodes), np.int32)
    quads = np.zeros(count, np.int64)
    for part in parts:
        np.add.at(quads, part.origin, part.quadrants)
    node_quads = quads[node_list].astype(np.int32)
    return Layout(surface, vertex_size, growing.positions, on_mirror, node_list, node_quads, arcs, patches)


def _arc(chain: Chain, positions: FloatArray) -> Arc:
    points = positions[chain.vertices]
    length = float(norms(np.diff(points, axis=0)).sum())
    return Arc(chain.vertices, points, chain.kind, chain.sides, length)


def _patch(part: Piece, arc_of: dict[tuple[int, int], tuple[int, bool]], arcs: tuple[Arc, ...]) -> Patch:
    loop = part.loops[0]
    sides = side_chains(loop, part.quadrants)
    described = []
    for side in sides:
        path = part.origin[side]
        listed: list[tuple[int, bool]] = []
        at = 0
        while at < len(path) - 1:
            found = arc_of.get((int(path[at]), int(path[at + 1])))
            if found is None:
                raise InternalError("The side of a patch does not start at a node.")
            listed.append(found)
            at += len(arcs[found[0]].vertices) - 1
        if at != len(path) - 1:
            raise InternalError("The side of a patch does not end at a node.")
        described.append(tuple(listed))
    boundary = np.concatenate([s[:-1] for s in sides])
    corners = np.concatenate([[0], np.cumsum([len(s) - 1 for s in sides])[:-1]])
    places = tuple(int(c) for c in corners)
    return Patch(
        part.triangles, part.origin, boundary, places, tuple(described), part.region, part.is_ring, part.is_sector
    )
