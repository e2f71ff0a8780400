"""Curves for a mesh that has none: along its rims and the borders of its regions, through their vertices."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.edit.edge_roles import border_edges
from loopwright.edit.quad_links import link_quads
from loopwright.types import Curve, FloatArray, QuadMesh

_SAMPLES = 4  # pieces of the curve per edge


def add_border_curves(mesh: QuadMesh) -> QuadMesh:
    """Return the mesh with its rims and borders on curves, and the vertices where these meet or turn a corner fixed.

    Parameters
    ----------
    mesh : without curves, such as one read from a file.

    References
    ----------
    E. Catmull, R. Rom, "A class of local interpolating splines", Computer Aided Geometric Design, 1974: the curves.
    """
    links = link_quads(mesh.quads, len(mesh.positions))
    edges = links.edges[border_edges(mesh, links)]
    degree = np.bincount(edges.ravel(), minlength=links.count)
    corner = links.is_boundary & (links.valence == 2)
    is_end = (degree > 0) & ((degree != 2) | corner)
    vertex_curve = np.full(links.count, -1, np.int32)
    curves: list[Curve] = []
    for chain, is_closed in _chains(edges.tolist(), set(np.flatnonzero(is_end).tolist())):
        free = np.array(chain if is_closed else chain[1:-1], np.int64)
        vertex_curve[free] = len(curves)
        curves.append(Curve(_spline(mesh.positions[chain], is_closed), is_closed))
    return replace(mesh, vertex_curve=vertex_curve, curves=tuple(curves), is_fixed=mesh.is_fixed | is_end)


def _chains(edges: list[list[int]], ends: set[int]) -> list[tuple[list[int], bool]]:
    """Return the vertices of each chain of edges between ends, and of each closed one, with whether it is closed."""
    beside: dict[int, list[int]] = {}
    for a, b in edges:
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    found = []
    for start in [*sorted(ends), *sorted(beside.keys() - ends)]:
        while beside[start]:
            chain = [start]
            while len(chain) == 1 or (chain[-1] not in ends and chain[-1] != start):
                onward = beside[chain[-1]].pop()
                beside[onward].remove(chain[-1])
                chain.append(onward)
            is_closed = start not in ends
            found.append((chain[:-1] if is_closed else chain, is_closed))
    return found


def _spline(points: FloatArray, is_closed: bool) -> FloatArray:
    """Return points along the smooth curve through (k, 3) points, which are among them to the bit."""
    if is_closed:
        before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
    else:
        before, after = np.vstack([points[:1], points[:-1]]), np.vstack([points[1:], points[-1:]])
    tangent = (after - before) / 2.0
    ends = after if is_closed else after[:-1]
    start, count = points[: len(ends)], len(ends)
    leave, arrive = tangent[:count], np.roll(tangent, -1, axis=0)[:count]
    pieces = []
    for t in np.arange(_SAMPLES) / _SAMPLES:
        rise = t * t * (3.0 - 2.0 * t)
        turn = t * (1.0 - t) * ((1.0 - t) * leave - t * arrive)
        pieces.append(start + rise * (ends - start) + turn)
    run: FloatArray = np.stack(pieces, axis=1).reshape(-1, 3)
    return np.ascontiguousarray(run if is_closed else np.vstack([run, points[-1:]]))
