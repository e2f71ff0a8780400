"""Finish a net that was cut along its borders: even triangles, smooth borders, whole pieces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.marks.cut_borders import mark_borders
from loopwright.marks.smooth_borders import smooth_borders
from loopwright.numerics.norms import norms
from loopwright.surface.clip import drop_to_plane
from loopwright.surface.collapse import CollapseOptions, collapse_short_edges
from loopwright.surface.edges import build_edges, contains_keys, edge_keys, key_pairs, row_lengths, triangle_normals
from loopwright.surface.fans import split_by_fans
from loopwright.surface.flip import flip_edges
from loopwright.surface.half_edges import twin_corners
from loopwright.surface.net import Net, compact, kept_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.relax import relax_vertices
from loopwright.surface.split import split_long_edges
from loopwright.types import BoolArray, FloatArray, IntArray, MirrorPlane

_FEWEST_TRIANGLES = 6  # a piece of fewer triangles has no inside to lay faces in
_OFF_PLANE = 0.05  # of the mean edge: so far off the mirror plane are vertices that only touch it


def merge_small_pieces(net: Net, min_share: float, min_triangles: int = 0) -> Net:
    """Give connected pieces to the neighbour with the longest common border that are too small.

    Parameters
    ----------
    min_share : share of the area that a piece must hold.
    min_triangles : number of triangles that it must have.
    """
    for _ in range(8):
        table = build_edges(net.triangles, len(net.positions))
        piece = triangle_pieces(net)
        area = np.bincount(piece, row_lengths(triangle_normals(net.positions, net.triangles)))
        small = (area < min_share * area.sum()) | (np.bincount(piece) < min_triangles)
        border = np.flatnonzero(contains_keys(net.feature_keys, table.keys))
        sides = table.edge_triangles[border]
        length = norms(np.diff(net.positions[table.edges[border]], axis=1)[:, 0])
        one, other = piece[sides[:, 0]], piece[sides[:, 1]]
        rows = np.concatenate([one, other])
        labels = net.triangle_label[np.concatenate([sides[:, 1], sides[:, 0]])]
        from_small = small[rows] & ~small[np.concatenate([other, one])]
        if not from_small.any():
            return net
        contact = np.zeros((len(area), int(net.triangle_label.max()) + 1))
        np.add.at(contact, (rows[from_small], labels[from_small]), np.tile(length, 2)[from_small])
        merges = contact.sum(axis=1) > 0
        label = net.triangle_label.copy()
        chosen = merges[piece]
        label[chosen] = contact.argmax(axis=1)[piece[chosen]]
        net = mark_borders(replace(net, triangle_label=label.astype(np.int32)))
    return net


def triangle_pieces(net: Net) -> IntArray:
    """Return (m,) the connected piece of each triangle; borders separate."""
    table = build_edges(net.triangles, len(net.positions))
    joined = np.flatnonzero(~kept_edges(net, table))
    sides = table.edge_triangles[joined]
    m = len(net.triangles)
    graph = coo_matrix((np.ones(len(sides)), (sides[:, 0], sides[:, 1])), shape=(m, m))
    piece: IntArray = connected_components(graph, directed=False)[1].astype(np.int32)
    return piece


def drop_label(net: Net, is_open: BoolArray) -> Net:
    """Remove the triangles of open labels, which are not all; the boundary that was there before is held."""
    table = build_edges(net.triangles, len(net.positions))
    fixed = net.is_fixed.copy()
    fixed[table.edges[table.is_boundary()].ravel()] = True
    stays = ~is_open[net.triangle_label]
    kept = replace(net, triangles=net.triangles[stays], triangle_label=net.triangle_label[stays], is_fixed=fixed)
    return mark_borders(compact(_part_fans(kept))[0])


def _part_fans(net: Net) -> Net:
    """Give each fan of triangles that only shares a vertex with another, between two openings, a vertex of its own."""
    count = len(net.positions)
    triangles, copied = split_by_fans(net.triangles, twin_corners(net.triangles).astype(np.int32), count)
    if len(copied) == 0:
        return net
    every = np.concatenate([np.arange(count), copied])
    return replace(
        net,
        positions=net.positions[every],
        triangles=triangles,
        size=net.size[every],
        is_fixed=net.is_fixed[every],
        origin=net.origin[every],
        feature_keys=edge_keys(key_pairs(net.feature_keys, count), len(every)),
    )


def finish_regions(net: Net, plane: MirrorPlane | None, projector: SurfaceProjector) -> tuple[Net, BoolArray]:
    """Even out the triangles of a cut net and smooth its borders.

    Returns
    -------
    net : the finished net.
    on_mirror : (n,) bool, its boundary vertices in the mirror plane.
    """
    tolerance = 1e-7 * projector.diagonal
    net = _release_mirror(net, plane, tolerance)
    net = _tidy(net, plane, tolerance)
    for _ in range(3):
        on_mirror = find_on_mirror(net, plane, tolerance)
        net = smooth_borders(net, on_mirror, plane, projector)
        net = relax_vertices(net, projector, rounds=2)
        net = flip_edges(net, rounds=4)
    net = _tidy(net, plane, tolerance)
    net = split_long_edges(net, projector, long=1.7, rounds=2)
    net = relax_vertices(flip_edges(net), projector, rounds=2)
    net = merge_small_pieces(net, 0.0, _FEWEST_TRIANGLES)
    net = _open_caged_triangles(net, projector)
    net = compact(net)[0]
    on_mirror = find_on_mirror(net, plane, tolerance)
    return _clear_plane(net, on_mirror, plane, tolerance), on_mirror


def find_on_mirror(net: Net, plane: MirrorPlane | None, tolerance: float) -> BoolArray:
    """Return (n,) the vertices of boundary edges that lie in the plane.

    A rim that touches the plane in one vertex only is an opening's: the halves are not joined there.
    """
    out = np.zeros(len(net.positions), dtype=bool)
    if plane is None:
        return out
    table = build_edges(net.triangles, len(net.positions))
    in_plane = np.abs(plane.signed_distance(net.positions)) <= tolerance
    edges = table.edges[table.is_boundary()]
    out[edges[in_plane[edges].all(axis=1)].ravel()] = True
    return out


def _clear_plane(net: Net, on_mirror: BoolArray, plane: MirrorPlane | None, tolerance: float) -> Net:
    """Move vertices that only touch the plane off it, by a small part of an edge, so that they clear their images."""
    if plane is None:
        return net
    touching = ~on_mirror & (np.abs(plane.signed_distance(net.positions)) <= tolerance)
    if not touching.any():
        return net
    edges = build_edges(net.triangles, len(net.positions)).edges
    length = norms(net.positions[edges[:, 0]] - net.positions[edges[:, 1]])
    positions = net.positions.copy()
    positions[touching] += _OFF_PLANE * float(length.mean()) * plane.normal
    return replace(net, positions=positions)


def _release_mirror(net: Net, plane: MirrorPlane | None, tolerance: float) -> Net:
    """Let vertices slide in the mirror plane, and put them exactly in it."""
    if plane is None:
        return net
    on_mirror = find_on_mirror(net, plane, tolerance)
    positions = net.positions.copy()
    positions[on_mirror] = drop_to_plane(plane, positions[on_mirror])
    return replace(net, positions=positions, is_fixed=net.is_fixed & ~on_mirror)


def _tidy(net: Net, plane: MirrorPlane | None, tolerance: float) -> Net:
    """Remove the short edges and thin triangles that cutting left."""
    for short, min_quality in ((0.2, 0.05), (0.45, 0.3), (0.6, 0.3)):
        options = CollapseOptions(
            short=short, long=1.6, min_cos=0.4, min_quality=min_quality, plane=plane, in_plane=tolerance
        )
        net, _ = collapse_short_edges(net, options=options, rounds=16, least_share=0.0)
        net = flip_edges(net, rounds=4)
    return net


def _open_caged_triangles(net: Net, projector: SurfaceProjector) -> Net:
    """Split triangles all of whose edges are kept at their centres."""
    table = build_edges(net.triangles, len(net.positions))
    caged = np.flatnonzero(kept_edges(net, table)[table.triangle_edges].all(axis=1))
    if len(caged) == 0:
        return net
    n = len(net.positions)
    corners = net.triangles[caged]
    centres: FloatArray = projector.project(
        net.positions[corners].mean(axis=1), triangle_normals(net.positions, corners)
    ).points
    new = n + np.arange(len(caged), dtype=np.int32)
    triangles = net.triangles.copy()
    triangles[caged] = np.stack([corners[:, 0], corners[:, 1], new], axis=1)
    rest = [np.stack([corners[:, k], corners[:, (k + 1) % 3], new], axis=1) for k in (1, 2)]
    out = replace(
        net,
        positions=np.concatenate([net.positions, centres]),
        triangles=np.ascontiguousarray(np.concatenate([triangles, *rest]), dtype=np.int32),
        triangle_label=np.concatenate([net.triangle_label, np.tile(net.triangle_label[caged], 2)]),
        size=np.concatenate([net.size, net.size[corners].mean(axis=1)]),
        is_fixed=np.concatenate([net.is_fixed, np.zeros(len(caged), dtype=bool)]),
        origin=np.concatenate([net.origin, np.full(len(caged), -1, dtype=np.int32)]),
    )
    return mark_borders(out)
