"""Split a piece into patches: discs with three to five corners and no re-entrant one."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from loopwright.errors import InternalError
from loopwright.layout.cross_field import cross_field, polar_frames
from loopwright.layout.piece import Piece, cut_open, extract, side_chains
from loopwright.layout.trace_cuts import Cut, CutGraph, build_graph, collect_steps, cut_steps, trace_from
from loopwright.surface.half_edges import arc_length, directed_edges, edge_keys
from loopwright.types import FloatArray, IntArray


@dataclass
class Growing:
    """The surface while it is cut: positions grow where a cut crosses an edge; nodes and cut chains collect."""

    positions: FloatArray
    nodes: set[int]
    cut_chains: list[IntArray] = field(default_factory=list)

    def add(self, points: FloatArray) -> IntArray:
        """Append (k, 3) points and return their ids."""
        first = len(self.positions)
        self.positions = np.concatenate([self.positions, points])
        return np.arange(first, first + len(points), dtype=np.int32)


@dataclass(frozen=True)
class SplitOptions:
    """How pieces are cut.

    most_starts : boundary points tried per piece.
    tried : best cuts of which the outcome is looked at.
    near_node : a cut that ends nearer than this many edge lengths to a node pays for it.
    meet_node : share of its cost that a cut keeps when it runs on from another cut's end.
    misfit : price, in edge lengths, of each segment by which the sides of a part do not fit their pole.
    """

    most_starts: int = 48
    tried: int = 10
    near_node: float = 1.5
    meet_node: float = 0.85
    misfit: float = 0.6


@dataclass(frozen=True)
class Rim:
    """What the search needs to know of a piece's boundary."""

    loop_of: dict[int, int]
    place: dict[int, int]
    loops: list[IntArray]
    next_turns: list[np.ndarray]
    node_distance: FloatArray


def split_piece(piece: Piece, surface: Growing, size: float, *, options: SplitOptions | None = None) -> list[Piece]:
    """Cut a piece until each part is a patch.

    Parameters
    ----------
    size : the wished edge length near the piece.

    Returns
    -------
    The patches: discs with 3 to 5 corners, no boundary vertex with more than two quadrants.
    """
    opt = options or SplitOptions()
    done: list[Piece] = []
    stack = [piece]
    rounds = 0
    while stack:
        part = stack.pop()
        if is_patch(part):
            done.append(part)
            continue
        rounds += 1
        if rounds > 400:
            raise InternalError(f"Cutting region {piece.region} does not end.")
        stack.extend(cut_once(part, surface, size, opt))
    return done


def is_patch(piece: Piece) -> bool:
    """Tell whether a piece is a disc with 3 to 5 corners and nothing re-entrant."""
    return bool(
        (piece.quadrants <= 2).all()
        and 3 <= int((piece.quadrants == 1).sum()) <= 5
        and piece.euler == 1
        and len(piece.loops) == 1
    )


def burden(piece: Piece) -> tuple[int, int]:
    """How far a piece is from a patch: (missing connection, re-entrant corners + poles beyond one)."""
    loops = len(piece.loops)
    handles = 1 - piece.euler
    reentrant = int(np.maximum(piece.quadrants - 2, 0).sum())
    poles = abs(piece.index_sum) if loops == 1 else 0
    return (handles, 2 * reentrant + max(poles - 1, 0))


def cut_once(piece: Piece, surface: Growing, size: float, opt: SplitOptions) -> list[Piece]:
    """Make the best single cut."""
    for drift_limit, more in ((50.0, 1), (85.0, 1), (50.0, 16), (85.0, 16)):
        looser = replace(opt, tried=more * opt.tried)
        found = _best_cut(piece, surface, size, looser, np.radians(drift_limit))
        if found is not None:
            return take_cut(found, surface)
    raise InternalError(
        f"No cut was found in a piece of region {piece.region} with {len(piece.triangles)} triangles, "
        f"{len(piece.loops)} rims and {int((piece.quadrants == 1).sum())} corners."
    )


def take_cut(outcome: Outcome, surface: Growing) -> list[Piece]:
    """Add a cut's fresh points, its chain and its ends to the surface; return its parts."""
    parts, fresh_points, chain, ends = outcome
    ids = surface.add(fresh_points)
    first = int(ids[0]) if len(ids) else 0
    surface.cut_chains.append(np.where(chain < 0, first - chain - 1, chain).astype(np.int32))
    surface.nodes.update(ends)
    return [_settle(p, first) for p in parts]


def _settle(piece: Piece, first: int) -> Piece:
    """Replace the provisional ids -1, -2, ... of fresh vertices by their surface ids."""
    origin = np.where(piece.origin < 0, first - piece.origin - 1, piece.origin).astype(np.int32)
    return Piece(piece.triangles, origin, piece.quadrants, piece.region, piece.is_ring)


Outcome = tuple[list[Piece], FloatArray, IntArray, list[int]]


def _best_cut(piece: Piece, surface: Growing, size: float, opt: SplitOptions, drift_limit: float) -> Outcome | None:
    points = surface.positions[piece.origin]
    frames = polar_frames(points, piece.triangles, piece.quadrants)
    crosses = cross_field(points, piece.triangles, piece.quadrants, frames)
    steps = collect_steps(points, piece.triangles, piece.quadrants, frames)
    graph = build_graph(steps, crosses, piece.quadrants, drift_limit=drift_limit)
    rim = _survey(piece, surface, points)
    starts = _starts(piece, surface, rim, opt)
    if not starts:
        return None
    cuts, _, before = trace_from(graph, starts)
    row = {start: k for k, start in enumerate(starts)}
    scored = []
    for cut in cuts:
        score = _score(piece, surface, rim, cut, size, opt)
        if score is not None:
            scored.append((score, cut.start, cut.start_arm, cut.end, cut.end_arm, cut))
    scored.sort(key=lambda s: s[:5])
    best: tuple[float, Outcome] | None = None
    looked = 0
    seen_ends: list[Cut] = []
    old = burden(piece)
    for score, *_, cut in scored:
        if looked >= opt.tried or (best is not None and score > 2.0 * best[0] + size):
            break
        if any(_same_place(rim, cut, other, size, points) for other in seen_ends):
            continue
        ids = cut_steps(graph, cut, before[row[cut.start, cut.start_arm]])
        outcome = apply_cut(piece, points, graph, cut, ids)
        if outcome is None:
            continue
        looked += 1
        seen_ends.append(cut)
        penalty = _outcome_penalty(outcome[0], old, surface, outcome[1], size, opt)
        if penalty is None:
            continue
        if best is None or score + penalty < best[0]:
            best = (score + penalty, outcome)
    return best[1] if best else None


def _same_place(rim: Rim, a: Cut, b: Cut, size: float, points: FloatArray) -> bool:
    """Whether two cuts end so near one another that looking at both tells nothing new."""
    straight = np.linalg.norm(points[a.start] - points[b.start]) + np.linalg.norm(points[a.end] - points[b.end])
    turned = np.linalg.norm(points[a.start] - points[b.end]) + np.linalg.norm(points[a.end] - points[b.start])
    return bool(min(straight, turned) < 2 * size)


def _survey(piece: Piece, surface: Growing, points: FloatArray) -> Rim:
    loops = piece.loops
    loop_of, place, sums = {}, {}, []
    distance = np.full(len(piece.origin), np.inf)
    for k, loop in enumerate(loops):
        for i, v in enumerate(loop.tolist()):
            loop_of[v], place[v] = k, i
        sums.append(np.concatenate([[0], np.cumsum(2 - piece.quadrants[loop])]))
        length = arc_length(points[np.append(loop, loop[0])])
        is_node = np.array([int(o) in surface.nodes for o in piece.origin[loop]]) | (piece.quadrants[loop] != 2)
        at = length[:-1][is_node]
        if len(at):
            around = np.concatenate([at - length[-1], at, at + length[-1]])
            distance[loop] = np.abs(length[:-1, None] - around[None, :]).min(axis=1)
    return Rim(loop_of, place, loops, sums, distance)


def _starts(piece: Piece, surface: Growing, rim: Rim, opt: SplitOptions) -> list[tuple[int, int]]:
    """Boundary states to trace from: all re-entrant corners alone if there are any, else nodes and even samples."""
    reentrant = [
        (v, j) for v in np.flatnonzero(piece.quadrants > 2).tolist() for j in range(1, int(piece.quadrants[v]))
    ]
    if reentrant:
        return reentrant
    straight = [loop[piece.quadrants[loop] == 2] for loop in rim.loops]
    total = sum(len(s) for s in straight)
    every = max(1, int(np.ceil(total / opt.most_starts)))
    picked: set[int] = set()
    for loop in straight:
        picked.update(loop[::every].tolist())
        picked.update(v for v in loop.tolist() if int(piece.origin[v]) in surface.nodes)
    return [(v, 1) for v in sorted(picked)]


def _score(piece: Piece, surface: Growing, rim: Rim, cut: Cut, size: float, opt: SplitOptions) -> float | None:
    """Return the price of a cut, or None where it would not help."""
    start_loop, end_loop = rim.loop_of[cut.start], rim.loop_of[cut.end]
    is_disc = len(rim.loops) == 1 and piece.euler == 1
    from_reentrant = piece.quadrants[cut.start] > 2 or piece.quadrants[cut.end] > 2
    cost = cut.cost
    if len(rim.loops) > 1:
        if start_loop == end_loop and not from_reentrant:
            return None
    elif is_disc:
        index = piece.index_sum
        left = _left_index(piece, rim, cut)
        right = index - left
        extra = abs(left) + abs(right) - abs(index)
        if not from_reentrant and (extra > 0 or left == 0 or right == 0):
            return None
        cost += 1.5 * size * extra
        if abs(index) > 2:
            cost *= 1.0 + 0.15 * abs(abs(left) - abs(right)) / abs(index)
    for v in (cut.start, cut.end):
        if piece.quadrants[v] != 2:
            continue
        if int(piece.origin[v]) in surface.nodes:
            cost *= opt.meet_node
        else:
            lack = max(0.0, 1.0 - rim.node_distance[v] / (opt.near_node * size))
            cost += 3.0 * size * lack
    return cost


def _left_index(piece: Piece, rim: Rim, cut: Cut) -> int:
    """Index sum of the part of a disc that has the boundary from the cut's start on to its end."""
    sums, a, b = rim.next_turns[0], rim.place[cut.start], rim.place[cut.end]
    between = sums[b] - sums[a + 1] if a < b else sums[-1] - sums[a + 1] + sums[b]
    at_start = 2 - cut.start_arm
    at_end = 2 - (int(piece.quadrants[cut.end]) - cut.end_arm)
    return int(4 - (between + at_start + at_end))


def _outcome_penalty(
    parts: list[Piece], old: tuple[int, int], surface: Growing, fresh: FloatArray, size: float, opt: SplitOptions
) -> float | None:
    """Return what is bad about the parts of a cut, or None where the cut brings no progress."""
    new = [burden(p) for p in parts]
    handles = sum(b[0] for b in new)
    if len(parts) == 1:
        if handles >= old[0]:
            return None
    elif any(b >= old for b in new):
        return None
    penalty = 0.0
    for part in parts:
        origin = part.origin
        points = np.where((origin >= 0)[:, None], surface.positions[np.maximum(origin, 0)], 0.0)
        if len(fresh):
            points = np.where(
                (origin < 0)[:, None], fresh[np.minimum(-origin - 1, len(fresh) - 1) * (origin < 0)], points
            )
        p = points[part.triangles]
        area = 0.5 * np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1).sum()
        penalty += max(0.0, 4.0 - area / size**2) * size
        penalty += opt.misfit * size * side_misfit(part, points, size)
    return penalty


def side_misfit(part: Piece, points: FloatArray, size: float) -> float:
    """How many segments the sides of a disc are off from what its pole, or none, needs; 0 for parts still to be cut.

    Sides of length e (in segments): opposite ones equal in a four-sided part,
    the two of a lens equal, the spokes of the one pole of a three- or
    five-sided part at least two.
    """
    if len(part.loops) != 1 or part.euler != 1 or (part.quadrants > 2).any():
        return 0.0
    sides = side_chains(part.loops[0], part.quadrants)
    e = np.array([arc_length(points[s])[-1] for s in sides]) / size
    n = len(e) if (part.quadrants == 1).any() else 0
    if n == 2:
        return float(abs(e[0] - e[1])) / 2
    if n == 4:
        return float(abs(e[0] - e[2]) + abs(e[1] - e[3])) / 2
    if n == 3:
        spokes = e.sum() / 2 - e
    elif n == 5:
        spokes = np.array([e[(i + 1) % 5] + e[i - 1] + e[i] - e[(i + 2) % 5] - e[i - 2] for i in range(5)]) / 2
    else:
        return 0.0
    return float(np.maximum(0.0, 2.0 - spokes).sum())


def apply_cut(piece: Piece, points: FloatArray, graph: CutGraph, cut: Cut, step_ids: list[int]) -> Outcome | None:
    """Cut a piece along a traced cut.

    Returns the parts (fresh vertices have origin -1, -2, ...), the fresh
    points, the cut as a chain of surface ids, and the surface ids of its
    ends; None where the cut touches itself or the boundary.
    """
    steps = graph.steps
    path, crossed = [cut.start], []
    for s in step_ids:
        if steps.across[s] >= 0:
            crossed.append((len(path), int(steps.across[s]), float(steps.share[s])))
            path.append(-1)
        path.append(int(steps.head[s]))
    edges = directed_edges(piece.triangles)
    triangles, fresh_points = piece.triangles, []
    count = len(piece.origin)
    splits: list[tuple[int, int, int]] = []
    for spot, edge, share in crossed:
        a, b = (int(x) for x in edges[edge])
        path[spot] = count + len(splits)
        splits.append((a, b, path[spot]))
        fresh_points.append((1 - share) * points[a] + share * points[b])
    if len(set(path)) != len(path) or (piece.quadrants[[v for v in path[1:-1] if v < count]] > 0).any():
        return None
    split = split_edges(triangles, splits)
    if split is None:
        return None
    triangles = split
    fresh_origin = -1 - np.arange(len(splits), dtype=np.int32)
    origin = np.concatenate([piece.origin, fresh_origin])
    quadrants = np.concatenate([piece.quadrants, np.zeros(len(splits), np.int32)])
    links = np.stack([path[:-1], path[1:]], axis=1)
    total = len(origin)
    keys = edge_keys(links.astype(np.int32), total)
    if not np.isin(keys, edge_keys(directed_edges(triangles), total)).all():
        return None
    wedges, wedge_origin, component = cut_open(triangles, keys, total)
    wedge_quadrants = _share_quadrants(triangles, wedges, wedge_origin, quadrants, path, cut)
    parts = []
    for c in range(int(component.max()) + 1):
        local, below, used = extract(wedges, wedge_origin, component == c)
        parts.append(Piece(local, origin[below].astype(np.int32), wedge_quadrants[used], piece.region, piece.is_ring))
    chain = origin[path].astype(np.int32)
    fresh = np.array(fresh_points).reshape(-1, 3)
    return parts, fresh, chain, [int(chain[0]), int(chain[-1])]


def _share_quadrants(
    triangles: IntArray, wedges: IntArray, origin: IntArray, quadrants: IntArray, path: list[int], cut: Cut
) -> IntArray:
    out = quadrants[origin].copy()
    inner = np.isin(origin, np.array(path[1:-1], np.int32)) if len(path) > 2 else np.zeros(len(origin), bool)
    out[inner] = 2
    edges = directed_edges(triangles)
    flat = wedges.reshape(-1)
    for vertex, arm in ((cut.start, cut.start_arm), (cut.end, cut.end_arm)):
        mine = np.flatnonzero(edges[:, 0] == vertex)
        # the wedge that holds the outgoing boundary edge: that edge has no reverse in the piece before the cut
        behind = set(edges[edges[:, 1] == vertex, 0].tolist())
        rim = [e for e in mine.tolist() if int(edges[e, 1]) not in behind]
        total = int(quadrants[vertex])
        first = int(flat[rim[0]])
        for w in np.unique(flat[mine]).tolist():
            out[w] = arm if w == first else total - arm
    return out.astype(np.int32)


def split_edges(triangles: IntArray, splits: list[tuple[int, int, int]]) -> IntArray | None:
    """Split edges (a, b), inner or on the boundary, at new vertex ids; None where an edge is gone."""
    if not splits:
        return triangles
    ends = np.unique([v for a, b, _ in splits for v in (a, b)])
    near = np.flatnonzero(np.isin(triangles, ends).any(axis=1))
    faces = {i: (a, b, c) for i, (a, b, c) in zip(near.tolist(), triangles[near].tolist(), strict=True)}
    by_edge = {}
    for i, (a, b, c) in faces.items():
        by_edge[a, b] = by_edge[b, c] = by_edge[c, a] = i
    following = len(triangles)
    for a, b, fresh in splits:
        found = [e for e in ((a, b), (b, a)) if e in by_edge]
        if not found:
            return None
        for tail, head in found:
            i = by_edge[tail, head]
            t = faces[i]
            apex = next(v for v in t if v not in (tail, head))
            faces[i] = (tail, fresh, apex)
            faces[following] = (fresh, head, apex)
            del by_edge[tail, head]
            by_edge[tail, fresh] = by_edge[fresh, apex] = by_edge[apex, tail] = i
            by_edge[fresh, head] = by_edge[head, apex] = by_edge[apex, fresh] = following
            following += 1
    out = np.concatenate([triangles, np.zeros((following - len(triangles), 3), triangles.dtype)])
    out[list(faces)] = list(faces.values())
    return np.ascontiguousarray(out, np.int32)
