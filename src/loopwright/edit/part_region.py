"""Part a region along an edge loop, or say what keeps a loop from parting it and which loop does."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.edit.edge_roles import EdgeRoles, border_edges
from loopwright.edit.quad_links import Ids, QuadLinks
from loopwright.errors import InfeasibleError
from loopwright.types import BoolArray, QuadMesh

_TRIES = 100  # loops, the nearest first, among which one is sought that parts a region


def unparted(mesh: QuadMesh, links: QuadLinks, roles: EdgeRoles, edge: int) -> InfeasibleError:
    """Return the error on an edge whose loop parts nothing: it says what stops the loop, and which edge would do."""
    stops = roles.is_held | roles.is_plane
    chain, is_closed = find_chain(links, edge, stops)
    ends = in_order(links, chain, is_closed)[[0, -1]]
    at_pole = ends[~on_edges(links, stops)[ends]]
    inside = ends[~on_edges(links, border_edges(mesh, links))[ends]]
    if is_closed:
        reason = "the edge loop there comes round and leaves the region in one piece"
    elif len(at_pole):
        reason = f"the edge loop there ends at a pole inside the region, near {_place(mesh.positions[at_pole[0]])}"
    elif len(inside):
        reason = f"the edge loop there ends at a line inside the region, near {_place(mesh.positions[inside[0]])}"
    else:
        reason = "the edge loop there runs from border to border and leaves the region in one piece, as across a ring"
    spot = tuple(np.round(mesh.positions[links.edges[edge]].mean(axis=0), 6).tolist())
    name = mesh.regions[_region_of(mesh, links, edge)].name
    text = f"The region {name} cannot be split near {_place(spot)}: {reason}; {_way_out(mesh, links, stops, edge)}."
    return InfeasibleError(text, places=[spot])


def _way_out(mesh: QuadMesh, links: QuadLinks, stops: BoolArray, edge: int) -> str:
    """Name the nearest edge of a region whose loop parts it."""
    quads = np.flatnonzero(mesh.quad_region == _region_of(mesh, links, edge))
    left = np.unique(links.quad_edge[quads])
    left = left[~stops[left]]
    middle = mesh.positions[links.edges].mean(axis=1)
    left = left[np.argsort(np.linalg.norm(middle[left] - middle[edge], axis=1), kind="stable")]
    for _ in range(_TRIES):
        if len(left) == 0:
            return "no edge loop of the region parts it"
        chain, is_closed = find_chain(links, int(left[0]), stops)
        if smaller_part(mesh, links, chain, int(left[0])) is not None:
            round_it = "runs round and " if is_closed else ""
            near = _place(middle[left[0]])
            return f"the nearest that {round_it}parts it has an edge near {near}: point there, without along or across"
        left = left[~np.isin(left, chain)]
    return f"none of the {_TRIES} loops nearest to it does better; pick an edge elsewhere in the region"


def _place(point: object) -> str:
    return "({:.9g}, {:.9g}, {:.9g})".format(*np.asarray(point, np.float64))


def _region_of(mesh: QuadMesh, links: QuadLinks, edge: int) -> int:
    return int(mesh.quad_region[links.edge_half_edges[edge, 0] // 4])


def smaller_part(mesh: QuadMesh, links: QuadLinks, chain: Ids, edge: int) -> Ids | None:
    """Return the quads of the smaller part of a region that a chain through an edge parts; None if it parts nothing."""
    quads = np.flatnonzero(mesh.quad_region == _region_of(mesh, links, edge))
    number = np.full(len(mesh.quads), -1, np.int64)
    number[quads] = np.arange(len(quads))
    inner = np.unique(links.quad_edge[quads])
    inner = inner[~links.is_boundary_edge[inner] & ~np.isin(inner, chain)]
    pairs = number[links.edge_half_edges[inner] // 4]
    first, second = pairs[(pairs >= 0).all(axis=1)].T
    graph = coo_matrix((np.ones(len(first)), (first, second)), shape=(len(quads), len(quads)))
    _, label = connected_components(graph, directed=False)
    sides = label[number[links.edge_half_edges[edge] // 4]]
    if sides[0] == sides[1]:
        return None
    parts: list[Ids] = [quads[label == side] for side in sides]
    return min(parts, key=lambda ids: (len(ids), tuple(mesh.positions[mesh.quads[ids]].mean(axis=(0, 1)))))


def find_chain(links: QuadLinks, edge: int, stops: BoolArray) -> tuple[Ids, bool]:
    """Return the piece of the loop through an edge that ends where it meets a border."""
    loop, is_closed = links.trace_loop(edge)
    at_border = on_edges(links, stops)
    place = int(np.flatnonzero(loop == edge)[0])
    if is_closed:
        loop = np.roll(loop, -place)
        joints = at_border[_joints(links, np.append(loop, loop[0]))]
        if not joints.any():
            return loop, True
        first, last = int(np.argmax(joints)), int(len(joints) - 1 - np.argmax(joints[::-1]))
        return np.concatenate([loop[last + 1 :], loop[: first + 1]]), False
    joints = at_border[_joints(links, loop)]
    before, after = np.flatnonzero(joints[:place]), np.flatnonzero(joints[place:])
    start = int(before[-1]) + 1 if len(before) else 0
    end = place + int(after[0]) + 1 if len(after) else len(loop)
    return loop[start:end], False


def _joints(links: QuadLinks, chain: Ids) -> Ids:
    """Return the vertices between consecutive edges of a chain."""
    ends = links.edges[chain]
    one = (ends[:-1, 0] == ends[1:, 0]) | (ends[:-1, 0] == ends[1:, 1])
    joints: Ids = np.where(one, ends[:-1, 0], ends[:-1, 1])
    return joints


def in_order(links: QuadLinks, chain: Ids, is_closed: bool) -> Ids:
    """Return the vertices along a chain; the first again at the end of a closed one."""
    if len(chain) == 1:
        pair: Ids = links.edges[chain[0]]
        return pair
    joints = _joints(links, chain)
    first = links.edges[chain[0]].sum() - joints[0]
    last = links.edges[chain[-1]].sum() - joints[-1]
    return np.concatenate([np.array([first]), joints, np.array([first if is_closed else last])]).astype(np.int64)


def on_edges(links: QuadLinks, edges: BoolArray) -> BoolArray:
    """Return (n,) bool: vertices on some of the (e,) edges."""
    out = np.zeros(links.count, bool)
    out[links.edges[edges].ravel()] = True
    return out
