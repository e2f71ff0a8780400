"""Put new loops into strips: every edge across a strip is parted evenly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix

from loopwright.edit.change import Change, blend_positions
from loopwright.edit.check_links import check_links
from loopwright.edit.edge_roles import find_edge_roles
from loopwright.edit.quad_links import Ids, QuadLinks, link_quads
from loopwright.errors import InternalError
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh


def split_strips(mesh: QuadMesh, strips: Ids, *, parts: int = 2) -> Change:
    """Return the mesh with each strip replaced by ``parts`` strips of even width.

    Old vertices keep their ids and places; new ones take the curve or the
    plane of the edge they lie on. A strip that crosses itself, or another
    that is split, is parted both ways there.

    Parameters
    ----------
    mesh : a half that ends at its mirror plane, or a mesh without one.
    strips : (k,) ids of ``link_quads(mesh.quads, n).strips``.
    parts : at least 2.
    """
    if parts < 2:
        raise InternalError(f"A strip must be split into at least two parts, not {parts}.")
    links = link_quads(mesh.quads, len(mesh.positions))
    is_split = np.isin(links.strips.of_edge, strips)
    first, rows, columns, weights = _edge_vertices(links, is_split, parts)
    after = links.count + int(is_split.sum()) * (parts - 1)
    across: BoolArray = is_split[links.quad_edge[:, :2]]  # a split edge's opposite is split too
    both: BoolArray = across[:, 0] & across[:, 1]
    grids = _grids(links, first, across, parts, after)
    inner = _grid_blend(links.quads, both, parts, after)
    total = after + int(both.sum()) * (parts - 1) ** 2
    blend = coo_matrix(
        (
            np.concatenate([np.ones(links.count), weights, inner[2]]),
            (
                np.concatenate([np.arange(links.count), rows, inner[0]]),
                np.concatenate([np.arange(links.count), columns, inner[1]]),
            ),
        ),
        shape=(total, links.count),
    )
    quads = np.vstack([grid for grid, _ in grids])
    source = np.concatenate([source for _, source in grids])
    order = np.argsort(source, kind="stable")
    changed = replace(
        _add_roles(mesh, links, is_split, parts, total - links.count),
        quads=np.ascontiguousarray(quads[order], np.int32),
        quad_region=np.ascontiguousarray(mesh.quad_region[source[order]]),
    )
    change = blend_positions(changed, mesh, csr_matrix(blend))
    check_links(change.mesh, "The loop cannot be inserted")
    return change


def _edge_vertices(links: QuadLinks, is_split: BoolArray, parts: int) -> tuple[Ids, Ids, Ids, FloatArray]:
    """Return the id of the first new vertex on each split edge, and rows, columns and weights of the new ones."""
    chosen = np.flatnonzero(is_split)
    first = np.full(len(links.edges), -1, np.int64)
    first[chosen] = links.count + np.arange(len(chosen)) * (parts - 1)
    step = np.arange(1, parts)
    new = (first[chosen][:, None] + step - 1).ravel()
    share = np.tile(step / parts, len(chosen))
    start, end = (np.repeat(links.edges[chosen, k], parts - 1) for k in (0, 1))
    return first, np.concatenate([new, new]), np.concatenate([start, end]), np.concatenate([1.0 - share, share])


def _along(links: QuadLinks, first: Ids, quads: Ids, corner: int, parts: int) -> Ids:
    """Return (k, parts + 1) vertices along side ``corner`` of the quads, in their direction of travel."""
    start = links.quads[quads, corner].astype(np.int64)
    end = links.quads[quads, (corner + 1) % 4].astype(np.int64)
    edge = links.quad_edge[quads, corner]
    step = np.arange(1, parts)
    forward = (links.edges[edge, 0] == start)[:, None]
    middle = first[edge][:, None] + np.where(forward, step - 1, parts - 1 - step)
    return np.hstack([start[:, None], middle, end[:, None]])


def _grids(links: QuadLinks, first: Ids, across: BoolArray, parts: int, after: int) -> list[tuple[Ids, Ids]]:
    """Return quads with the old quad of each: kept ones, those parted one way, those parted both ways."""
    kept = np.flatnonzero(~across.any(axis=1))
    out = [(links.quads[kept].astype(np.int64), kept)]
    for corner in (0, 1):
        ids = np.flatnonzero(across[:, corner] & ~across[:, 1 - corner])
        low = _along(links, first, ids, corner, parts)
        high = _along(links, first, ids, corner + 2, parts)[:, ::-1]
        out.append(_ladder(low, high, ids))
    ids = np.flatnonzero(across.all(axis=1))
    inner = after + np.arange(len(ids) * (parts - 1) ** 2).reshape(len(ids), parts - 1, parts - 1)
    right = _along(links, first, ids, 1, parts)
    left = _along(links, first, ids, 3, parts)[:, ::-1]
    rows = [_along(links, first, ids, 0, parts)]
    rows += [np.hstack([left[:, j : j + 1], inner[:, j - 1], right[:, j : j + 1]]) for j in range(1, parts)]
    rows += [_along(links, first, ids, 2, parts)[:, ::-1]]
    return out + [_ladder(low, high, ids) for low, high in zip(rows[:-1], rows[1:], strict=True)]


def _ladder(low: Ids, high: Ids, ids: Ids) -> tuple[Ids, Ids]:
    quads = np.stack([low[:, :-1], low[:, 1:], high[:, 1:], high[:, :-1]], axis=2).reshape(-1, 4)
    return quads, np.repeat(ids, low.shape[1] - 1)


def _grid_blend(
    quads: IntArray,
    both: BoolArray,
    parts: int,
    after: int,
) -> tuple[Ids, Ids, FloatArray]:
    """Return rows, columns and weights of the vertices inside quads that are parted both ways."""
    corners = quads[both].astype(np.int64)
    step = np.arange(1, parts) / parts
    up, along = np.repeat(step, parts - 1), np.tile(step, parts - 1)
    weight = np.stack([(1 - along) * (1 - up), along * (1 - up), along * up, (1 - along) * up], axis=1)
    rows = after + np.repeat(np.arange(len(corners) * len(up)), 4)
    columns = np.repeat(corners, len(up), axis=0).ravel()
    return rows, columns, np.tile(weight, (len(corners), 1)).ravel()


def _add_roles(mesh: QuadMesh, links: QuadLinks, is_split: BoolArray, parts: int, count: int) -> QuadMesh:
    roles = find_edge_roles(mesh, links)
    curve = np.full(count, -1, np.int64)
    in_plane = np.zeros(count, bool)
    on_edges = int(is_split.sum()) * (parts - 1)
    curve[:on_edges] = np.repeat(roles.curve[is_split], parts - 1)
    in_plane[:on_edges] = np.repeat(roles.is_plane[is_split], parts - 1)
    return replace(
        mesh,
        vertex_curve=np.concatenate([mesh.vertex_curve, curve]).astype(np.int32),
        is_fixed=np.concatenate([mesh.is_fixed, np.zeros(count, bool)]),
        on_mirror=np.concatenate([mesh.on_mirror, in_plane]),
    )
