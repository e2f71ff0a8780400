"""How much taking out each strip would harm a mesh: its shape, its spacing, its borders and poles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.edit.collapse_strip import bindings, clashing_edges
from loopwright.edit.edge_roles import find_edge_roles
from loopwright.edit.quad_links import Ids, QuadLinks
from loopwright.types import BoolArray, FloatArray, QuadMesh

_SHAPE = 16.0  # weight of the squared sag against the squared width of the strip that is left, both by the wished size
_WORST = 0.5  # weight of the worst place of a strip against its mean
_JOG = 0.5  # where the two rails change roles along a strip


@dataclass(frozen=True)
class StripRating:
    """Harm per strip, and which of its rails should go.

    Attributes
    ----------
    harm : (s,) infinite where the strip must stay.
    give_way : (s,) 0 where the left rail goes, 1 where the right one does.
    middle : (s, 3) mean of the strip's edge middles, to tell equal ones apart.
    size : (s,) quads.
    """

    harm: FloatArray
    give_way: Ids
    middle: FloatArray
    size: Ids


def irregular(links: QuadLinks) -> BoolArray:
    """Return (n,) bool: valence other than four inside, other than three on the boundary."""
    return np.asarray(links.valence != np.where(links.is_boundary, 3, 4))


def rate_strips(mesh: QuadMesh, links: QuadLinks, wished_size: FloatArray, *, keep_poles: bool = True) -> StripRating:
    """Rate all strips of a half, or of a mesh without a mirror plane.

    Where a vertex a goes, its neighbours b and c across it are joined: the
    harm is the square of their distance and of a's distance from the line
    between them, both relative to the wished edge length.

    Parameters
    ----------
    wished_size : (n,) wished edge length at each vertex.
    keep_poles : no two poles merge; else a pair of opposite ones may. None moves onto a border in either case.
    """
    strips = links.strips
    roles = find_edge_roles(mesh, links)
    bound = bindings(mesh, roles)
    must_stay = clashing_edges(links, roles, bound)
    cost = _removal_costs(mesh, links, wished_size)
    pole = irregular(links)
    excess = links.valence - np.where(links.is_boundary, 3, 4)
    for k in (0, 1):
        goes, stays = links.edges[:, k], links.edges[:, 1 - k]
        cancels = pole[goes] & pole[stays] & ((excess[goes] > 0) != (excess[stays] > 0)) & (not keep_poles)
        must_stay |= pole[goes] & (pole[stays] | ((bound[stays] & ~bound[goes]) > 0)) & ~cancels
        cost[((bound[goes] & ~bound[stays]) > 0) | (pole[goes] & ~cancels), k] = np.inf
    rows = np.arange(len(links.edges))
    harm = np.full((strips.count, 2), np.inf)
    number = np.bincount(strips.of_edge, minlength=strips.count)
    for way in (0, 1):
        wanted, other = cost[rows, strips.side ^ way], cost[rows, strips.side ^ way ^ 1]
        each = np.where(np.isfinite(wanted), wanted, other + _JOG)
        each[must_stay] = np.inf
        worst = np.zeros(strips.count)
        np.maximum.at(worst, strips.of_edge, each)
        finite = np.where(np.isfinite(each), each, 0.0)
        harm[:, way] = np.bincount(strips.of_edge, finite, strips.count) / number + _WORST * worst
    harm[_winds(links)] = np.inf
    middle = mesh.positions[links.edges].mean(axis=1)
    centre = np.stack([np.bincount(strips.of_edge, middle[:, k], strips.count) / number for k in range(3)], axis=1)
    crossed = strips.of_edge[links.quad_edge[:, :2]].ravel()
    return StripRating(harm.min(axis=1), harm.argmin(axis=1), centre, np.bincount(crossed, minlength=strips.count))


def _winds(links: QuadLinks) -> BoolArray:
    """Return (s,) bool: strips that cross themselves or lie beside themselves."""
    key = links.edges.astype(np.int64) + links.count * links.strips.of_edge[:, None]
    unique, uses = np.unique(key, return_counts=True)
    out = np.zeros(links.strips.count, bool)
    out[unique[uses > 1] // links.count] = True
    return out


def _removal_costs(mesh: QuadMesh, links: QuadLinks, wished_size: FloatArray) -> FloatArray:
    """Return (e, 2) costs of merging each edge's end k into the other; without a way on, twice the edge is bridged."""
    out = np.empty((len(links.edges), 2))
    beyond = _beyond(links)
    for k in (0, 1):
        goes, stays = mesh.positions[links.edges[:, k]], mesh.positions[links.edges[:, 1 - k]]
        onward = np.where((beyond[:, k] >= 0)[:, None], mesh.positions[beyond[:, k]], 2.0 * goes - stays)
        chord = onward - stays
        square = np.einsum("ij,ij->i", chord, chord)
        part = np.einsum("ij,ij->i", goes - stays, chord) / np.where(square > 0.0, square, 1.0)
        sag = goes - stays - np.clip(part, 0.0, 1.0)[:, None] * chord
        out[:, k] = (square + _SHAPE * np.einsum("ij,ij->i", sag, sag)) / wished_size[links.edges[:, k]] ** 2
    return out


def _beyond(links: QuadLinks) -> Ids:
    """Return (e, 2) the vertex that goes straight on beyond end k of each edge, or -1."""
    out = np.full((len(links.edges), 2), -1, np.int64)
    for j in (0, 1):
        known = np.flatnonzero(links.edge_half_edges[:, j] >= 0)
        half = links.edge_half_edges[known, j]
        onward = links.straight[half]
        k = (links.edges[known, 1] == links.end[half]).astype(np.int64)
        out[known, k] = np.where(onward >= 0, links.end[onward], -1)
    rim = np.flatnonzero(links.is_boundary_edge)
    half = links.edge_half_edges[rim, 0]
    entering = np.full(links.count, -1, np.int64)
    entering[links.end[half]] = links.start[half]
    back = (links.edges[rim, 1] == links.start[half]).astype(np.int64)
    out[rim, back] = entering[links.start[half]]
    return out
