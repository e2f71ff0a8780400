"""Take a strip out: the two rails beside it become one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.edit.change import Change, blend_positions
from loopwright.edit.check_links import check_links
from loopwright.edit.edge_roles import EdgeRoles, find_edge_roles
from loopwright.edit.quad_links import Ids, QuadLinks, link_quads
from loopwright.errors import InfeasibleError
from loopwright.types import BoolArray, QuadMesh

FIXED, HELD, PLANE = 4, 2, 1  # what binds a vertex; a sum of these


def collapse_strip(
    mesh: QuadMesh, strip: int, *, give_way: Ids | None = None, action: str = "", links: QuadLinks | None = None
) -> Change:
    """Return the mesh without one strip.

    Of the two ends of each edge across it, the more bound one stays in its
    place (fixed, on a border, in the plane), else the one that does not give
    way, else the pole, else they meet in the middle.

    Parameters
    ----------
    mesh : a half that ends at its mirror plane, or a mesh without one.
    strip : id of ``link_quads(mesh.quads, n).strips``.
    give_way : (n,) rank per vertex; of two free ends the higher rank gives way. None: all the same.
    action : what was tried, for messages.
    links : of the mesh, where they are known already.

    Raises
    ------
    InfeasibleError
        If borders, rims or fixed vertices would merge, or the outcome would be no good mesh.
    """
    action = action or "The loop cannot be removed"
    links = links or link_quads(mesh.quads, len(mesh.positions))
    roles = find_edge_roles(mesh, links)
    rungs = np.flatnonzero(links.strips.of_edge == strip)
    bound = bindings(mesh, roles)
    clash = clashing_edges(links, roles, bound)[rungs]
    if clash.any():
        place = mesh.positions[links.edges[rungs[clash][0]]].mean(axis=0)
        spot = tuple(np.round(place, 6).tolist())
        reason = "it would merge two borders, rims, fixed vertices or the plane with one of them"
        raise InfeasibleError(f"{action}: {reason}, near {spot}.", places=[spot])
    change = _merge(mesh, links, rungs, strip, _standing(mesh, links, bound, give_way))
    check_links(change.mesh, action)
    return change


def bindings(mesh: QuadMesh, roles: EdgeRoles) -> Ids:
    """Return (n,) what binds each vertex: a sum of FIXED, HELD and PLANE."""
    plane = mesh.on_mirror if mesh.mirror is not None else np.zeros(len(mesh.positions), bool)
    return FIXED * mesh.is_fixed + HELD * roles.vertex_held + PLANE * plane.astype(np.int64)


def clashing_edges(links: QuadLinks, roles: EdgeRoles, bound: Ids) -> BoolArray:
    """Return (e,) bool: edges whose two ends cannot become one vertex that does all they are bound to."""
    a, b = bound[links.edges].T
    both = a & b
    clash: BoolArray = (both & FIXED) > 0
    clash |= ((both & HELD) > 0) & ~roles.is_held
    clash |= ((both & PLANE) > 0) & ~roles.is_plane
    # One end must be bound to all that binds the other, or the vertex could not obey both.
    clash |= ((a & ~b) > 0) & ((b & ~a) > 0)
    return clash


def _standing(mesh: QuadMesh, links: QuadLinks, bound: Ids, give_way: Ids | None) -> Ids:
    """Return (n,) a rank per vertex: where two merge, the higher stays; equal ones meet in the middle."""
    regular = np.where(links.is_boundary, 3, 4)
    is_pole = (links.valence != regular).astype(np.int64)
    rank = give_way.max() - give_way if give_way is not None else np.zeros(links.count, np.int64)
    standing: Ids = 2 * (bound * (int(rank.max()) + 1) + rank) + is_pole
    return standing


def _merge(mesh: QuadMesh, links: QuadLinks, rungs: Ids, strip: int, standing: Ids) -> Change:
    """Merge the ends of the rungs and drop the quads between them."""
    ends = links.edges[rungs]
    size = links.count
    graph = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(size, size))
    _, label = connected_components(graph, False)
    _, first, group = np.unique(label, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")  # number the new vertices by their lowest old one
    renumber = np.empty(len(order), np.int64)
    renumber[order] = np.arange(len(order))
    new_id = renumber[group.ravel()]
    count = len(order)
    top = np.full(count, np.iinfo(np.int64).min)
    np.maximum.at(top, new_id, standing)
    stays = standing == top[new_id]
    share = stays / np.bincount(new_id, stays, minlength=count)[new_id]
    blend = csr_matrix((share[stays], (new_id[stays], np.flatnonzero(stays))), shape=(count, size))
    keeper = np.full(count, size, np.int64)
    np.minimum.at(keeper, new_id[stays], np.flatnonzero(stays))
    left = np.setdiff1d(np.arange(len(mesh.quads)), links.strip_quads(strip))
    merged = replace(
        mesh,
        quads=np.ascontiguousarray(new_id[mesh.quads[left]], np.int32),
        quad_region=np.ascontiguousarray(mesh.quad_region[left]),
        vertex_curve=np.ascontiguousarray(mesh.vertex_curve[keeper]),
        is_fixed=mesh.is_fixed[keeper],
        on_mirror=mesh.on_mirror[keeper],
    )
    return blend_positions(merged, mesh, blend)
