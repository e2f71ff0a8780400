"""Cut the surface into its regions' pieces and give every boundary vertex its quadrants."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from loopwright.layout.border_graph import (
    Chain,
    ConstrainedEdges,
    node_mask,
    point_along,
)
from loopwright.layout.open_surface import OpenSurface, open_surface
from loopwright.layout.piece import Piece, extract
from loopwright.layout.plan_turns import NodeRule, ShortSide, TurnOptions, Wedge, plan_turns
from loopwright.layout.ring_pieces import euler_number, find_rings
from loopwright.layout.slit_ends import slit_ends
from loopwright.layout.uneven_corners import disc_sides
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import surface_edges
from loopwright.types import FloatArray, IntArray, RegionSurface


def node_vertices(constrained: ConstrainedEdges, chains: list[Chain], vertex_count: int) -> list[int]:
    """Return all nodes: branch vertices and the seam of each closed chain."""
    marked = set(np.flatnonzero(node_mask(constrained, vertex_count)).tolist())
    marked.update(int(c.vertices[0]) for c in chains)
    marked.update(int(c.vertices[-1]) for c in chains)
    return sorted(marked)


def plan_pieces(
    surface: RegionSurface,
    constrained: ConstrainedEdges,
    chains: list[Chain],
    vertex_size: FloatArray,
    options: TurnOptions,
    *,
    bends: Sequence[int] = (),
    tips: Mapping[int, float] | None = None,
) -> list[Piece]:
    """Cut the surface into its regions' pieces and give every boundary vertex its quadrants.

    Parameters
    ----------
    vertex_size : (n,) wished edge length.
    bends : where rims and borders may have corners, as :func:`~loopwright.layout.slit_ends.corner_bends` leaves them.
    tips : wedge of the surface cut open -> its angle at a corner of a tip, see :mod:`~loopwright.layout.find_tips`.
    """
    count = len(surface.positions)
    opened = open_surface(surface)
    wedges, origin, component = opened.wedges, opened.origin, opened.component
    is_node = node_mask(constrained, count)
    is_bend = np.zeros(count, bool)
    is_bend[list(bends)] = ~is_node[list(bends)]
    is_node = is_node | is_bend
    on_constraint = np.zeros(count, bool)
    on_constraint[constrained.edges.reshape(-1)] = True
    quadrants = np.where(on_constraint[origin], 2, 0).astype(np.int32)
    angle = wedge_angles(surface, chains, opened, vertex_size)
    for wedge, inside in (tips or {}).items():
        others = np.flatnonzero(origin == origin[wedge])
        if is_bend[origin[wedge]]:
            angle[others] = 2 * np.pi - inside
        angle[wedge] = inside
    piece_of_wedge: IntArray = np.zeros(len(origin), np.int32)
    piece_of_wedge[wedges.reshape(-1)] = np.repeat(component, 3)
    euler = [euler_number(wedges[component == c]) for c in range(opened.part_count)]
    ring = find_rings(surface)
    at_mirror = np.zeros(count, bool)
    at_mirror[constrained.edges[constrained.kind == 2].reshape(-1)] = True
    slits = slit_ends(opened, is_bend, at_mirror, ring)  # of borders, those that shall go are gone already
    at_slit = slits[np.isin(slits, constrained.edges[constrained.kind == 1])]
    is_bend[at_slit], is_node[at_slit] = False, False
    at_tip = {int(origin[wedge]) for wedge in tips or {}}
    listed: IntArray = np.flatnonzero(is_node[origin]).astype(np.int32)
    asked = [
        Wedge(int(v), int(c), float(a), bool(ring[c] and not at_mirror[v]))
        for v, c, a in zip(origin[listed], piece_of_wedge[listed], angle[listed], strict=True)
    ]
    met = Counter(w.node for w in asked)
    of_rings = {w.node for w in asked if ring[w.piece] and met[w.node] == 1}
    rules = {
        v: _rule(constrained, v, is_bend=bool(is_bend[v]), is_seam=v in of_rings, is_tip=v in at_tip)
        for v in np.flatnonzero(is_node).tolist()
    }
    short = find_short_sides(surface, chains, opened, listed, vertex_size)
    is_disc = [number == 1 and not whole for number, whole in zip(euler, ring, strict=True)]
    regions = [int(surface.triangle_region[np.flatnonzero(component == c)[0]]) for c in range(len(euler))]
    both = [options.both.get(region, 0.0) for region in regions]
    discs = disc_sides(surface, opened, vertex_size, listed, is_disc, both)
    prices = [options.region_poles.get(region, options.inner_pole) for region in regions]
    quadrants[listed] = plan_turns(
        asked, rules, euler, short_sides=short, discs=discs, piece_prices=prices, options=options
    )
    pieces = []
    for c in range(len(euler)):
        local, below, used = extract(wedges, origin, component == c)
        own = [(w, i) for w, i in zip(asked, listed, strict=True) if w.piece == c]
        straight = not any(quadrants[i] != 2 and not at_mirror[w.node] for w, i in own)
        pieces.append(Piece(local, below, quadrants[used], regions[c], bool(ring[c] and straight)))
    return pieces


SHORT = 2.0
REACH = 2.5


def find_short_sides(
    surface: RegionSurface,
    chains: list[Chain],
    opened: OpenSurface,
    listed: IntArray,
    vertex_size: FloatArray,
) -> list[ShortSide]:
    """Return pairs of places in ``listed`` whose wedges share an arc shorter than ``SHORT`` edge lengths."""
    edges = surface_edges(surface)
    flat = opened.wedges.reshape(-1)
    tail_wedge: dict[tuple[int, int], int] = {}
    head_wedge: dict[tuple[int, int], int] = {}
    for e in np.flatnonzero(opened.at_rim).tolist():
        key = (int(edges[e, 0]), int(edges[e, 1]))
        tail_wedge[key] = int(flat[e])
        head_wedge[key] = int(flat[3 * (e // 3) + (e + 1) % 3])
    place = {int(w): i for i, w in enumerate(listed.tolist())}
    found = []
    for chain in chains:
        length = float(norms(np.diff(surface.positions[chain.vertices], axis=0)).sum())
        shortness = 1.0 - length / (SHORT * float(vertex_size[chain.vertices].mean()))
        if shortness <= 0:
            continue
        for path in (chain.vertices, chain.vertices[::-1]):
            first = tail_wedge.get((int(path[0]), int(path[1])))
            last = head_wedge.get((int(path[-2]), int(path[-1])))
            if first in place and last in place and first != last:
                found.append(ShortSide(place[first], place[last], shortness))
    return found


def _rule(constrained: ConstrainedEdges, vertex: int, *, is_bend: bool, is_seam: bool, is_tip: bool) -> NodeRule:
    """Return what may meet at a node; where the seam of a half ring ends at an opening, one quad alone."""
    kinds = set(constrained.kind[(constrained.edges == vertex).any(axis=1)].tolist())
    if 2 in kinds:
        return NodeRule(1, 1 if is_seam else 2, 1) if 1 in kinds else NodeRule(2, 2, 2)
    if 1 in kinds:
        return NodeRule(1, 4, 2, is_bend)
    return NodeRule(3, 4, 4, is_bend, most_each=2, is_tip=is_tip) if is_bend else NodeRule(3, 5, 4)


def wedge_angles(
    surface: RegionSurface,
    chains: list[Chain],
    opened: OpenSurface,
    vertex_size: FloatArray,
) -> FloatArray:
    """Return (w,) the angle of each wedge at a node, measured ``REACH`` edge lengths along its two borders.

    Other wedges get pi.  Angles are seen in the plane of the mean normal
    round the node; those of an interior node sum to 2 pi.
    """
    origin = opened.origin
    out = np.full(len(origin), np.pi)
    ends: dict[tuple[int, int], FloatArray] = {}
    for chain in chains:
        length = float(norms(np.diff(surface.positions[chain.vertices], axis=0)).sum())
        for path in (chain.vertices, chain.vertices[::-1]):
            reach = min(REACH * float(vertex_size[path[0]]), 0.5 * length)
            ends[int(path[0]), int(path[1])] = point_along(surface.positions, path, reach)
    edges = surface_edges(surface)
    flat = opened.wedges.reshape(-1)
    p = surface.positions[surface.triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    first, last = {}, {}
    for e in np.flatnonzero(opened.at_rim).tolist():
        first[int(flat[e])] = int(edges[e, 1])
        last[int(flat[3 * (e // 3) + (e + 1) % 3])] = int(edges[e, 0])
    vertex_normal = np.zeros_like(surface.positions)
    for i in range(3):
        np.add.at(vertex_normal, surface.triangles[:, i], normal)
    for w, ahead in first.items():
        v = int(origin[w])
        behind = last[w]
        if (v, ahead) not in ends or (v, behind) not in ends:
            continue
        up = vertex_normal[v]
        a = ends[v, ahead] - surface.positions[v]
        b = ends[v, behind] - surface.positions[v]
        n = up / (np.linalg.norm(up) + 1e-300)
        a, b = a - (a @ n) * n, b - (b @ n) * n
        out[w] = np.arctan2(np.cross(a, b) @ n, a @ b) % (2 * np.pi)
    return out
