"""Merge regions, or split one along an edge loop: labels and roles change, links do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.counts.find_region import find_region
from loopwright.edit.edge_roles import border_edges, find_edge_roles
from loopwright.edit.part_region import find_chain, in_order, on_edges, smaller_part, unparted
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
        If the edge is on a border, or the loop parts nothing, as one that ends at a pole does, or one across a ring.
    MarksError
        If the name is taken.
    """
    _check_free(mesh, name)
    links = link_quads(mesh.quads, len(mesh.positions))
    roles = find_edge_roles(mesh, links)
    spot = tuple(np.round(mesh.positions[links.edges[edge]].mean(axis=0), 6).tolist())
    if roles.is_held[edge] or roles.is_plane[edge]:
        raise InfeasibleError(f"The edge near {spot} is on a border already; pick one inside.", places=[spot])
    chain, is_closed = find_chain(links, edge, roles.is_held | roles.is_plane)
    region = int(mesh.quad_region[links.edge_half_edges[edge, 0] // 4])
    part = smaller_part(mesh, links, chain, edge)
    if part is None:
        raise unparted(mesh, links, roles, edge)
    quad_region = mesh.quad_region.copy()
    quad_region[part] = len(mesh.regions)
    parent = mesh.regions[region]
    fresh = color or tuple(255 - c // 2 if c < 128 else c // 2 for c in parent.color)
    vertices = in_order(links, chain, is_closed)
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
    loose = touched & ~on_edges(links, still | (roles.is_held & ~was))
    junction_before = touched & before.is_fixed & (degree_before >= 3)
    return replace(
        after,
        vertex_curve=np.where(loose, -1, after.vertex_curve).astype(np.int32),
        is_fixed=after.is_fixed & ~(junction_before & (degree_after == 0) & loose),
    )


def _degree(links: QuadLinks, edges: BoolArray) -> Ids:
    return np.bincount(links.edges[edges].ravel(), minlength=links.count).astype(np.int64)
