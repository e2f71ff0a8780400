"""Merge regions, or split one along an edge loop: labels and roles change, links do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.counts.find_region import find_region
from loopwright.edit.edge_roles import border_edges, find_edge_roles
from loopwright.edit.quad_links import Ids, QuadLinks, link_quads
from loopwright.errors import InfeasibleError, MarksError
from loopwright.types import BoolArray, Curve, QuadMesh, Region


def merge_regions(mesh: QuadMesh, names: tuple[str, ...], *, name: str = "") -> QuadMesh:
    """Return the mesh with several regions made one; it keeps the first one's colour.

    Vertices on borders that are no more slide freely; junctions that are no
    more slide on the border that is left, or freely.

    Parameters
    ----------
    names : two regions or more.
    name : of the outcome; the first one's, if empty.

    Raises
    ------
    MarksError
        If fewer than two different regions are named, or one is not in the mesh.
    InfeasibleError
        If no border joins them, if only by way of one another.
    """
    ids = [find_region(mesh.regions, each) for each in names]
    if len(set(ids)) < 2:
        raise MarksError("To merge regions, name at least two different ones.", places=list(names))
    _check_touch(mesh, ids)
    name = name or mesh.regions[ids[0]].name
    _check_free(mesh, name, skip=tuple(mesh.regions[i].name for i in ids))
    kept = [i for i in range(len(mesh.regions)) if i not in ids[1:]]
    new_index = np.zeros(len(mesh.regions), np.int32)
    new_index[kept] = np.arange(len(kept))
    new_index[ids] = kept.index(ids[0])
    painted = tuple(dict.fromkeys(color for i in ids for color in mesh.regions[i].paint))
    merged_region = Region(name, mesh.regions[ids[0]].color, painted)
    regions = tuple(merged_region if i == ids[0] else r for i, r in enumerate(mesh.regions) if i in kept)
    merged = replace(mesh, quad_region=new_index[mesh.quad_region].astype(np.int32), regions=regions)
    return _free_vertices(mesh, merged)


def split_region(mesh: QuadMesh, edge: int, *, name: str, color: tuple[int, int, int] | None = None) -> QuadMesh:
    """Return the mesh with a region parted along the edge loop through an edge.

    The smaller part gets the new name. The loop becomes a border: its
    vertices slide on a curve through their places, its ends are fixed.

    Parameters
    ----------
    edge : id of ``link_quads(mesh.quads, n).edges``, inside the region.
    name : of the new region; it must be free.
    color : of the new region; a shade of the old one's, if None.

    Raises
    ------
    InfeasibleError
        If the edge is on a border, or the loop ends at a pole and so parts nothing.
    MarksError
        If the name is taken.
    """
    _check_free(mesh, name)
    links = link_quads(mesh.quads, len(mesh.positions))
    roles = find_edge_roles(mesh, links)
    spot = tuple(np.round(mesh.positions[links.edges[edge]].mean(axis=0), 6).tolist())
    if roles.is_held[edge] or roles.is_plane[edge]:
        raise InfeasibleError(f"The edge near {spot} is on a border already; pick one inside.", places=[spot])
    chain, is_closed = _chain(links, edge, roles.is_held | roles.is_plane)
    region = int(mesh.quad_region[links.edge_half_edges[edge, 0] // 4])
    part = _smaller_part(mesh, links, chain, edge, region)
    if part is None:
        reason = "the edge loop ends at a pole inside it"
        raise InfeasibleError(f"The region cannot be split near {spot}: {reason}; pick another edge.", places=[spot])
    quad_region = mesh.quad_region.copy()
    quad_region[part] = len(mesh.regions)
    parent = mesh.regions[region]
    fresh = color or tuple(255 - c // 2 if c < 128 else c // 2 for c in parent.color)
    vertices = _in_order(links, chain, is_closed)
    ring = vertices[:-1] if is_closed else vertices
    vertex_curve, is_fixed = mesh.vertex_curve.copy(), mesh.is_fixed.copy()
    inner = ring if is_closed else ring[1:-1]
    free = inner[~is_fixed[inner]]
    vertex_curve[free] = len(mesh.curves)
    if not is_closed:
        ends = ring[[0, -1]]
        at_plane = roles.vertex_held[ends] | ~mesh.on_mirror[ends]
        is_fixed[ends[at_plane]] = True
        bare = ends[vertex_curve[ends] < 0]
        vertex_curve[bare] = len(mesh.curves)
    return replace(
        mesh,
        quad_region=quad_region,
        regions=(*mesh.regions, Region(name, (int(fresh[0]), int(fresh[1]), int(fresh[2])), parent.paint)),
        curves=(*mesh.curves, Curve(np.ascontiguousarray(mesh.positions[ring]), is_closed)),
        vertex_curve=vertex_curve,
        is_fixed=is_fixed,
    )


def _check_free(mesh: QuadMesh, name: str, skip: tuple[str, ...] = ()) -> None:
    if not name or any(region.name == name and name not in skip for region in mesh.regions):
        raise MarksError(f'The name "{name}" is empty or taken; give the region another.', places=[name])


def _check_touch(mesh: QuadMesh, ids: list[int]) -> None:
    """Refuse regions that borders do not join."""
    links = link_quads(mesh.quads, len(mesh.positions))
    pairs = mesh.quad_region[links.edge_half_edges[~links.is_boundary_edge] // 4]
    first, second = pairs[np.isin(pairs, ids).all(axis=1)].T
    size = len(mesh.regions)
    _, part = connected_components(coo_matrix((np.ones(len(first)), (first, second)), shape=(size, size)))
    apart = [i for i in ids if part[i] != part[ids[0]]]
    if apart:
        near, far = (mesh.regions[i].name for i in (ids[0], apart[0]))
        touched = sorted({mesh.regions[i].name for i in _touching(mesh, links, apart[0])})
        beside = f"; {far} touches {', '.join(touched)}" if touched else ""
        raise InfeasibleError(
            f"The regions {near} and {far} do not touch, so they cannot be made one{beside}. Merge regions that share "
            "a border, or name those between them too.",
            places=[near, far],
        )


def _touching(mesh: QuadMesh, links: QuadLinks, region: int) -> list[int]:
    """Return the other regions that share a border with one."""
    pairs = mesh.quad_region[links.edge_half_edges[~links.is_boundary_edge] // 4]
    beside: list[int] = np.unique(pairs[(pairs == region).any(axis=1)]).tolist()
    return [other for other in beside if other != region]


def _free_vertices(before: QuadMesh, after: QuadMesh) -> QuadMesh:
    """Unbind vertices from borders that are there no more."""
    links = link_quads(before.quads, len(before.positions))
    roles = find_edge_roles(after, links)
    was, still = (border_edges(mesh, links) & ~roles.is_plane for mesh in (before, after))
    gone = was & ~still
    degree_before, degree_after = (_degree(links, edges) for edges in (was, still))
    touched = _degree(links, gone) > 0
    loose = touched & ~_on(links, still | (roles.is_held & ~was))
    junction_before = touched & before.is_fixed & (degree_before >= 3)
    return replace(
        after,
        vertex_curve=np.where(loose, -1, after.vertex_curve).astype(np.int32),
        is_fixed=after.is_fixed & ~(junction_before & (degree_after == 0) & loose),
    )


def _degree(links: QuadLinks, edges: BoolArray) -> Ids:
    return np.bincount(links.edges[edges].ravel(), minlength=links.count).astype(np.int64)


def _on(links: QuadLinks, edges: BoolArray) -> BoolArray:
    return _degree(links, edges) > 0


def _chain(links: QuadLinks, edge: int, stops: BoolArray) -> tuple[Ids, bool]:
    """Return the piece of the loop through an edge that ends where it meets a border."""
    loop, is_closed = links.trace_loop(edge)
    at_border = _on(links, stops)
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


def _in_order(links: QuadLinks, chain: Ids, is_closed: bool) -> Ids:
    """Return the vertices along a chain; the first again at the end of a closed one."""
    if len(chain) == 1:
        pair: Ids = links.edges[chain[0]]
        return pair
    joints = _joints(links, chain)
    first = links.edges[chain[0]].sum() - joints[0]
    last = links.edges[chain[-1]].sum() - joints[-1]
    return np.concatenate([np.array([first]), joints, np.array([first if is_closed else last])]).astype(np.int64)


def _smaller_part(mesh: QuadMesh, links: QuadLinks, chain: Ids, edge: int, region: int) -> Ids | None:
    """Return the quads of the smaller part of a region that a chain parts, or None where it parts nothing."""
    inner = ~links.is_boundary_edge
    inner[chain] = False
    pairs = links.edge_half_edges[inner] // 4
    pairs = pairs[(mesh.quad_region[pairs] == region).all(axis=1)]
    size = len(mesh.quads)
    _, label = connected_components(coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(size, size)))
    sides = label[links.edge_half_edges[edge] // 4]
    if sides[0] == sides[1]:
        return None
    parts = [np.flatnonzero(label == side) for side in sides]
    return min(parts, key=lambda ids: (len(ids), tuple(mesh.positions[mesh.quads[ids]].mean(axis=(0, 1)))))
