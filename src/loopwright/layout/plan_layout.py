"""The layout stage: from a surface with regions to patches of three to five sides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from loopwright.errors import InternalError
from loopwright.layout.add_guides import add_guides, halve_parts
from loopwright.layout.border_graph import (
    Chain,
    ConstrainedEdges,
    constrained_edges,
    node_mask,
    point_along,
    trace_chains,
)
from loopwright.layout.cut_piece import CutOptions, cut_piece
from loopwright.layout.cut_uneven import UnevenOptions, weigh_patch
from loopwright.layout.find_bends import find_bends
from loopwright.layout.judge_cuts import SplitOptions
from loopwright.layout.make_cut import Growing
from loopwright.layout.piece import Piece, cut_open, extract, side_chains
from loopwright.layout.plan_turns import NodeRule, ShortSide, TurnOptions, Wedge, plan_turns
from loopwright.layout.refine_narrow import refine_narrow
from loopwright.layout.size_steps import size_steps
from loopwright.layout.types import Arc, Layout, Patch
from loopwright.progress import Progress, silent
from loopwright.shelf import Shelf
from loopwright.surface.half_edges import directed_edges, distinct_edges, edge_keys, twin_corners
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface

_HALVINGS = 3  # of parts that no cut makes fit for a grid, one after the other


@dataclass(frozen=True)
class LayoutOptions:
    """Options of the layout stage: the weights of the turn plan and of the cuts, and which patches are cut further."""

    turns: TurnOptions = field(default_factory=TurnOptions)
    splits: SplitOptions = field(default_factory=SplitOptions)
    uneven: UnevenOptions = field(default_factory=UnevenOptions)


def plan_layout(
    surface: RegionSurface,
    vertex_size: FloatArray,
    *,
    options: LayoutOptions | None = None,
    shelf: Shelf | None = None,
    progress: Progress = silent,
) -> Layout:
    """Plan corners and poles, then cut every region into patches.

    Parameters
    ----------
    surface : any; parts that need one get a guide of the program's own (see :func:`add_guides`).
    vertex_size : (n,) wished edge length at each vertex.
    shelf : of the surface's sculpt: keeps what is found in one piece alone.
    """
    opt, shelf = options or LayoutOptions(), shelf or Shelf(depth=0)
    rounded = size_steps(surface)
    surface, vertex_size = add_guides(*refine_narrow(surface, vertex_size), rounded=rounded, shelf=shelf)
    cut = partial(_cut_all, rounded=rounded, opt=opt, shelf=shelf)
    best = cut(surface, vertex_size, progress=progress)
    for _ in range(_HALVINGS):
        if not best.stuck:
            break
        try:
            halved = cut(*refine_narrow(*halve_parts(best.surface, best.vertex_size, best.stuck)), progress=progress)
        except InternalError:
            break  # some part was left without a cut: as it was
        if halved.uneven >= best.uneven:
            break
        best = halved
    progress("layout", 1.0)
    return assemble_layout(best.surface, best.vertex_size, best.growing, best.constrained, best.parts)


@dataclass(frozen=True)
class _Cuts:
    """All patches of a surface; ``stuck`` are the parts (see :func:`halve_parts`) that no cut makes fit for a grid."""

    surface: RegionSurface
    vertex_size: FloatArray
    growing: Growing
    constrained: ConstrainedEdges
    parts: list[Piece]
    stuck: list[int]
    uneven: float


def _cut_all(
    surface: RegionSurface,
    vertex_size: FloatArray,
    *,
    rounded: Callable[[float], float],
    opt: LayoutOptions,
    shelf: Shelf,
    progress: Progress,
) -> _Cuts:
    """Plan corners and poles, and cut every part into patches."""
    constrained = constrained_edges(surface)
    bends = find_bends(surface, constrained, vertex_size)
    chains = trace_chains(constrained, set(bends), len(surface.positions))
    pieces = plan_pieces(surface, constrained, chains, vertex_size, opt.turns, bends=bends)
    nodes = set(node_vertices(constrained, chains, len(surface.positions)))
    growing = Growing(surface.positions, nodes)
    parts: list[Piece] = []
    stuck: list[int] = []
    uneven = total = 0.0
    cuts = CutOptions(opt.splits, opt.uneven)
    for i, piece in enumerate(pieces):
        progress("layout", i / len(pieces))
        size = rounded(float(np.median(vertex_size[piece.origin])))
        cut = cut_piece(piece, growing, size, options=cuts, shelf=shelf)
        parts.extend(cut)
        for part in cut:
            bad, faces, is_stuck = weigh_patch(part, growing.positions[part.origin], size, opt.uneven)
            uneven, total = uneven + faces * bad**2, total + faces
            if is_stuck:
                stuck.append(i)
    return _Cuts(surface, vertex_size, growing, constrained, parts, stuck, uneven / max(total, 1e-300))


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
) -> list[Piece]:
    """Cut the surface into its regions' pieces and give every boundary vertex its quadrants."""
    count = len(surface.positions)
    keys = edge_keys(constrained.edges, count)
    wedges, origin, component = cut_open(surface.triangles, keys, count)
    is_node = node_mask(constrained, count)
    is_bend = np.zeros(count, bool)
    is_bend[list(bends)] = ~is_node[list(bends)]
    is_node = is_node | is_bend
    on_constraint = np.zeros(count, bool)
    on_constraint[constrained.edges.reshape(-1)] = True
    quadrants = np.where(on_constraint[origin], 2, 0).astype(np.int32)
    angle = wedge_angles(surface, constrained, chains, wedges, origin, vertex_size)
    piece_of_wedge: IntArray = np.zeros(len(origin), np.int32)
    piece_of_wedge[wedges.reshape(-1)] = np.repeat(component, 3)
    euler = [_euler(wedges[component == c]) for c in range(int(component.max()) + 1)]
    ring = is_ring(wedges, component, origin, constrained, count, euler)
    at_mirror = np.zeros(count, bool)
    at_mirror[constrained.edges[constrained.kind == 2].reshape(-1)] = True
    at_slit = slit_ends(origin, piece_of_wedge, is_bend, at_mirror, ring)
    is_bend[at_slit], is_node[at_slit] = False, False
    listed: IntArray = np.flatnonzero(is_node[origin]).astype(np.int32)
    asked = [
        Wedge(int(v), int(c), float(a), bool(ring[c] and not at_mirror[v]))
        for v, c, a in zip(origin[listed], piece_of_wedge[listed], angle[listed], strict=True)
    ]
    rules = {v: _rule(constrained, v, is_bend=bool(is_bend[v])) for v in np.flatnonzero(is_node).tolist()}
    short = find_short_sides(surface, chains, wedges, origin, listed, vertex_size)
    regions = [int(surface.triangle_region[np.flatnonzero(component == c)[0]]) for c in range(len(euler))]
    prices = [options.region_poles.get(region, options.inner_pole) for region in regions]
    quadrants[listed] = plan_turns(asked, rules, euler, short_sides=short, piece_prices=prices, options=options)
    pieces = []
    for c in range(len(euler)):
        local, below, used = extract(wedges, origin, component == c)
        own = [(w, i) for w, i in zip(asked, listed, strict=True) if w.piece == c]
        straight = not any(quadrants[i] != 2 and not at_mirror[w.node] for w, i in own)
        pieces.append(Piece(local, below, quadrants[used], regions[c], bool(ring[c] and straight)))
    return pieces


def slit_ends(
    origin: IntArray, piece_of_wedge: IntArray, is_bend: BoolArray, at_mirror: BoolArray, ring: Sequence[bool]
) -> IntArray:
    """Return the bends of rings with no more than two: the ends of a slit, such as a mouth, not corners of a sheet.

    The bends of a half ring count twice.
    """
    found: list[int] = []
    for c in np.flatnonzero(ring).tolist():
        mine = np.unique(origin[piece_of_wedge == c])
        bent = mine[is_bend[mine]]
        if len(bent) * (2 if at_mirror[mine].any() else 1) <= 2:
            found.extend(bent.tolist())
    return np.array(sorted(set(found)), np.int32)


SHORT = 2.0
REACH = 2.5


def find_short_sides(
    surface: RegionSurface,
    chains: list[Chain],
    wedges: IntArray,
    origin: IntArray,
    listed: IntArray,
    vertex_size: FloatArray,
) -> list[ShortSide]:
    """Return pairs of places in ``listed`` whose wedges share an arc shorter than ``SHORT`` edge lengths."""
    edges = directed_edges(surface.triangles)
    flat = wedges.reshape(-1)
    tail_wedge: dict[tuple[int, int], int] = {}
    head_wedge: dict[tuple[int, int], int] = {}
    for e in np.flatnonzero(twin_corners(wedges) < 0).tolist():
        key = (int(edges[e, 0]), int(edges[e, 1]))
        tail_wedge[key] = int(flat[e])
        head_wedge[key] = int(flat[3 * (e // 3) + (e + 1) % 3])
    place = {int(w): i for i, w in enumerate(listed.tolist())}
    found = []
    for chain in chains:
        length = float(np.linalg.norm(np.diff(surface.positions[chain.vertices], axis=0), axis=1).sum())
        shortness = 1.0 - length / (SHORT * float(vertex_size[chain.vertices].mean()))
        if shortness <= 0:
            continue
        for path in (chain.vertices, chain.vertices[::-1]):
            first = tail_wedge.get((int(path[0]), int(path[1])))
            last = head_wedge.get((int(path[-2]), int(path[-1])))
            if first in place and last in place and first != last:
                found.append(ShortSide(place[first], place[last], shortness))
    return found


def is_ring(
    wedges: IntArray,
    component: IntArray,
    origin: IntArray,
    constrained: ConstrainedEdges,
    vertex_count: int,
    euler: list[int],
) -> list[bool]:
    """Tell for each piece whether it, together with its mirror image, is a ring (Euler number 0).

    The double has 2 chi - (number of open mirror arcs), since each arc is
    counted twice and has Euler number 1; closed mirror loops count nothing.
    """
    edges = directed_edges(wedges)
    rim = np.flatnonzero(twin_corners(wedges) < 0)
    ends = origin[edges[rim]]
    mirror_keys = edge_keys(constrained.edges[constrained.kind == 2], vertex_count)
    in_plane = np.isin(edge_keys(ends, vertex_count), mirror_keys)
    out = []
    for c, chi in enumerate(euler):
        mine = rim[in_plane & (component[rim // 3] == c)]
        touched = np.unique(edges[mine]) if len(mine) else np.zeros(0, np.int32)
        arcs = len(touched) - len(mine)
        out.append(2 * chi - arcs == 0 if len(mine) else chi == 0)
    return out


def _euler(triangles: IntArray) -> int:
    return len(np.unique(triangles)) - len(distinct_edges(triangles)) + len(triangles)


def _rule(constrained: ConstrainedEdges, vertex: int, *, is_bend: bool) -> NodeRule:
    kinds = set(constrained.kind[(constrained.edges == vertex).any(axis=1)].tolist())
    if 2 in kinds:
        return NodeRule(1, 2, 1) if 1 in kinds else NodeRule(2, 2, 2)
    return NodeRule(1, 4, 2, is_bend) if 1 in kinds else NodeRule(3, 5, 4)


def wedge_angles(
    surface: RegionSurface,
    constrained: ConstrainedEdges,
    chains: list[Chain],
    wedges: IntArray,
    origin: IntArray,
    vertex_size: FloatArray,
) -> FloatArray:
    """Return (w,) the angle of each wedge at a node, measured ``REACH`` edge lengths along its two borders.

    Other wedges get pi.  Angles are seen in the plane of the mean normal
    round the node; those of an interior node sum to 2 pi.
    """
    out = np.full(len(origin), np.pi)
    ends: dict[tuple[int, int], FloatArray] = {}
    for chain in chains:
        length = float(np.linalg.norm(np.diff(surface.positions[chain.vertices], axis=0), axis=1).sum())
        for path in (chain.vertices, chain.vertices[::-1]):
            reach = min(REACH * float(vertex_size[path[0]]), 0.5 * length)
            ends[int(path[0]), int(path[1])] = point_along(surface.positions, path, reach)
    edges = directed_edges(surface.triangles)
    flat = wedges.reshape(-1)
    p = surface.positions[surface.triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    twin = twin_corners(wedges)
    first, last = {}, {}
    for e in np.flatnonzero(twin < 0).tolist():
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
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
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
    return Patch(part.triangles, part.origin, boundary, places, tuple(described), part.region, part.is_ring)
