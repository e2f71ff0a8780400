"""Tell where drawn lines lie away from the edges that were to follow them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from scipy.spatial import cKDTree

from loopwright.layout.border_graph import KIND_CODES, constrained_edges
from loopwright.layout.promise_lines import Promise
from loopwright.marks.draw_line import resample
from loopwright.numerics.norms import norms
from loopwright.types import Finding, FloatArray, QuadMesh, RegionSurface

FOLLOWED = 0.25  # edges: a line is followed if none of its points is further from an edge of its chain
_GUIDE = next(code for code, kind in KIND_CODES.items() if kind == "guide")
_SAMPLES = 9  # points on each edge that gaps are measured to


def tell_astray(
    promises: Sequence[Promise], points: FloatArray, lengths: FloatArray, told: Iterable[str] = ()
) -> list[Finding]:
    """Return a finding for each line that has a point further than a quarter edge from the chains.

    It names the line, the worst place, and what would help there.

    Parameters
    ----------
    points, lengths : (k, 3) points on chains of edges, and (k,) the length of the edge at each.
    told : names of lines that need not be told again.
    """
    tree = cKDTree(points, balanced_tree=False) if len(points) else None
    worst: dict[str, tuple[float, float, Promise, int]] = {}
    for promise in promises:
        gap = share = np.full(len(promise.points), np.inf)  # where nothing is followed
        if tree is not None:
            gap, nearest = tree.query(promise.points)
            share = gap / np.maximum(lengths[nearest], 1e-300)
        k = int(share.argmax())
        if share[k] > FOLLOWED and share[k] > worst.get(promise.name, (0.0,))[0]:
            worst[promise.name] = float(share[k]), float(gap[k]), promise, k
    seen = set(told)
    return [_finding(name, *found) for name, found in worst.items() if name not in seen]


def names_told(findings: Iterable[Finding], promises: Iterable[Promise]) -> list[str]:
    """Return the names of lines of which findings tell that they are not followed."""
    told = [finding.text for finding in findings if finding.kind == "line_astray"]
    return [p.name for p in promises if any(text.startswith(f"{p.name} is followed") for text in told)]


def _finding(name: str, share: float, gap: float, promise: Promise, k: int) -> Finding:
    at = "({:.4g}, {:.4g}, {:.4g})".format(*promise.points[k])
    if promise.beside[k] >= 0:
        why = f"{promise.things[promise.beside[k]]} runs beside it there; draw it upon that, or an edge away"
    elif promise.sharp[k]:
        why = "it turns more sharply there than edges of this length can; ask for smaller edges there"
    else:
        why = "draw it there with more points or further from other lines, or ask for smaller edges there"
    how = f"only to within {gap:.3g} ({share:.2g} of an edge)" if np.isfinite(gap) else "nowhere"
    text = f"{name} is followed {how} near {at}: {why}."
    return Finding("line_astray", text)


def surface_chains(surface: RegionSurface, reach: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Return points along borders, rims, the mirror plane and lines of a surface, and the edge length wished there.

    Parameters
    ----------
    reach : about the edge length of the mesh, everywhere or at each vertex of the surface.
    """
    found = constrained_edges(surface)
    edges = found.edges[found.kind != _GUIDE]
    points = _along(surface.positions[edges[:, 0]], surface.positions[edges[:, 1]])
    sizes = np.broadcast_to(np.asarray(reach, np.float64), len(surface.positions))[edges]
    return points, _along(sizes[:, :1], sizes[:, 1:]).ravel()


def mesh_chains(mesh: QuadMesh) -> tuple[FloatArray, FloatArray]:
    """Return points along the edges of a mesh that follow its curves or the mirror plane, and those edges' lengths."""
    edges = np.stack([mesh.quads, np.roll(mesh.quads, -1, axis=1)], axis=2).reshape(-1, 2)
    edges = np.unique(np.sort(edges, axis=1), axis=0)
    on = (mesh.vertex_curve >= 0) | mesh.is_fixed | mesh.on_mirror
    edges = edges[on[edges].all(axis=1)]
    p = mesh.positions
    length = norms(p[edges[:, 0]] - p[edges[:, 1]])
    near = mesh.on_mirror[edges].all(axis=1)
    if mesh.curves and len(edges):
        step = 0.1 * float(np.median(length))
        curves = np.concatenate([resample(_closed(c.points, c.closed), step) for c in mesh.curves])
        middle = 0.5 * (p[edges[:, 0]] + p[edges[:, 1]])
        near |= cKDTree(curves, balanced_tree=False).query(middle)[0] < 0.3 * length
    edges, length = edges[near], length[near]
    return _along(p[edges[:, 0]], p[edges[:, 1]]), np.repeat(length, _SAMPLES)


def _along(tails: FloatArray, heads: FloatArray) -> FloatArray:
    share = np.linspace(0.0, 1.0, _SAMPLES)[None, :, None]
    points: FloatArray = ((1.0 - share) * tails[:, None] + share * heads[:, None]).reshape(-1, tails.shape[1])
    return points


def _closed(points: FloatArray, closed: bool) -> FloatArray:
    return np.concatenate([points, points[:1]]) if closed else points
