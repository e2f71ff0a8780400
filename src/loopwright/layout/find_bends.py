"""Bends: places where a rim or a border turns a corner although none ends there, as at the corners of a sheet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.layout.border_graph import Chain
from loopwright.numerics.norms import norms
from loopwright.surface.edges import row_lengths
from loopwright.surface.half_edges import surface_edges, surface_twins
from loopwright.types import FloatArray, RegionSurface

_LEAST_TURN = np.radians(50.0)  # over an edge length to both sides
_MOST_TURN = np.radians(150.0)  # of a border: what turns back farther has gone round a thin edge
_STRAIGHT = 0.9  # share of a border's length beside a bend, over two edges, that its ends are apart


def find_bends(surface: RegionSurface, chains: Sequence[Chain], vertex_size: FloatArray) -> list[int]:
    """Return the vertices inside chains where a rim turns to the left, or a border to either side.

    They are the sharpest within two edge lengths, and no junctions. Of rims only
    corners that stick out count: round a slit, such as a closed mouth, loops
    shall run on. Where the surface is folded within an edge length of a border,
    none is told from its fold.

    Parameters
    ----------
    chains : of the surface's constrained edges.
    vertex_size : (n,) wished edge length.
    """
    edges = surface_edges(surface)
    ahead = set(map(tuple, edges[surface_twins(surface) < 0].tolist()))
    found: list[int] = []
    normals, is_node = _normals(surface), np.zeros(len(surface.positions), bool)
    ends = [int(v) for chain in chains if not chain.is_closed for v in (chain.vertices[0], chain.vertices[-1])]
    is_node[ends] = True  # the seam of a closed chain may be one too
    for chain in chains:
        if chain.kind == "rim":
            path = chain.vertices if (int(chain.vertices[0]), int(chain.vertices[1])) in ahead else chain.vertices[::-1]
            found.extend(_bends_along(surface, Chain(path, chain.kind, chain.sides), vertex_size, normals))
        elif chain.kind == "border":
            found.extend(_bends_along(surface, chain, vertex_size, normals))
    return sorted({v for v in found if not is_node[v]})


def _bends_along(surface: RegionSurface, chain: Chain, vertex_size: FloatArray, normals: FloatArray) -> list[int]:
    points = surface.positions[chain.vertices]
    step = norms(np.diff(points, axis=0))
    along = np.concatenate([[0.0], np.cumsum(step)])
    total = float(along[-1])
    places = np.arange(0 if chain.is_closed else 1, len(along) - 1)
    reach = np.minimum(vertex_size[chain.vertices[places]], total / 6)
    at = along[places]
    if not chain.is_closed:
        inside = (at > reach) & (at < total - reach)
        places, at, reach = places[inside], at[inside], reach[inside]
    up = normals[chain.vertices[places]]

    def sides_over(reach: FloatArray) -> tuple[FloatArray, FloatArray]:
        before, after = (_point(points, along, at + way * reach, chain.is_closed) for way in (-1.0, 1.0))
        return points[places] - before, after - points[places]

    if chain.kind == "rim":
        turn = _turns(*sides_over(reach), up)
    else:  # where a border is but jagged, it winds, and turns back soon
        wide = np.minimum(2.0 * reach, np.inf if chain.is_closed else np.minimum(at, total - at))
        near, far = sides_over(reach), sides_over(wide)
        fits = np.minimum(*(row_lengths(side) for side in far)) > _STRAIGHT * wide
        turn, also = (_turns(_lay_flat(b, up), _lay_flat(f, up), up) for b, f in (near, far))
        least, most = np.minimum(np.abs(turn), np.abs(also)), np.maximum(np.abs(turn), np.abs(also))
        fits &= (turn * also > 0.0) & (most < _MOST_TURN)
        turn = np.where(fits, least, 0.0)
    found: list[int] = []
    taken: list[float] = []
    for k in np.lexsort((at, -turn)).tolist():
        if turn[k] < _LEAST_TURN:
            break
        gaps = [abs(at[k] - t) for t in taken]
        if all(min(g, total - g if chain.is_closed else g) > 2 * reach[k] for g in gaps):
            taken.append(float(at[k]))
            found.append(int(chain.vertices[places[k]]))
    return found


def _lay_flat(ways: FloatArray, up: FloatArray) -> FloatArray:
    """Return (k, 3) ways laid into the plane across ``up``."""
    flat: FloatArray = ways - np.einsum("ij,ij->i", ways, up)[:, None] * up
    return flat


def _turns(back: FloatArray, forth: FloatArray, up: FloatArray) -> FloatArray:
    """Return (k,) by how much (k, 3) ways turn to the left, seen from above, in radians."""
    turns: FloatArray = np.arctan2(np.einsum("ij,ij->i", np.cross(back, forth), up), np.einsum("ij,ij->i", back, forth))
    return turns


def _point(points: FloatArray, along: FloatArray, at: FloatArray, is_closed: bool) -> FloatArray:
    s = at % along[-1] if is_closed else at
    return np.stack([np.interp(s, along, points[:, k]) for k in range(3)], axis=1)


def _normals(surface: RegionSurface) -> FloatArray:
    """Return (n, 3) unit normals, the mean of the triangles round each vertex."""
    p = surface.positions[surface.triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    out = np.zeros_like(surface.positions)
    for i in range(3):
        np.add.at(out, surface.triangles[:, i], normal)
    unit: FloatArray = out / (norms(out)[..., None] + 1e-300)
    return unit
