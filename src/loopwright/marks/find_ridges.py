"""Sharp ridges and creases of the shape, as lines for the mesh to follow."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix

from loopwright.marks.add_flow_lines import add_flow_lines
from loopwright.marks.sharpen_ridges import sharpen_ridges
from loopwright.numerics.norms import norms
from loopwright.surface.chain_edges import chain_edges
from loopwright.surface.half_edges import arc_length, edge_keys, surface_edges, surface_twins
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface
from loopwright.wishes import FlowLine

_ROUNDS = 16  # of smoothing the normals
_LOOSE = 2.0  # a ridge that ends on nothing must be so many times as long as one that closes
_ALIKE = 0.35  # radians over which normals count as alike


def add_ridges(
    surface: RegionSurface, projector: SurfaceProjector, *, reach: float
) -> tuple[RegionSurface, tuple[FlowLine, ...]]:
    """Return the surface with its ridges cut in as flow lines, and those lines (see :func:`find_ridges`).

    Parameters
    ----------
    projector : of the sculpt.
    reach : about the edge length that the mesh will have; ridges shorter than four of it are left out.
    """
    chains = find_ridges(surface, shortest=4.0 * reach)
    if not chains:
        return surface, ()
    lines = []
    for i, points in enumerate(sharpen_ridges(surface, chains, smooth_normals(surface), projector)):
        closed = bool(chains[i][0] == chains[i][-1])
        listed = tuple((float(x), float(y), float(z)) for x, y, z in (points[:-1] if closed else points))
        lines.append(FlowLine(listed, closed, f"ridge {i + 1}"))
    return add_flow_lines(surface, lines, reach=reach, exact=True)[0], tuple(lines)


def find_ridges(
    surface: RegionSurface, *, angle: float = 38.0, weak: float = 15.0, shortest: float = 0.0
) -> list[IntArray]:
    """Return the ridges and creases of some length: twice as long where they end on nothing.

    The normals of the triangles are smoothed first, each by those near it
    that are like it, which takes noise away and makes a narrow rounding
    sharp.  Edges between normals that differ by more than ``angle`` are
    ridges, and those above ``weak`` that hang together with them.

    Parameters
    ----------
    angle, weak : degrees.
    shortest : chains shorter than this are left out.

    Returns
    -------
    Chains of vertices; a closed one repeats its first.

    References
    ----------
    Y. Zheng, H. Fu, O. Au, C. Tai, "Bilateral Normal Filtering for Mesh Denoising", IEEE TVCG 17(10), 2011,
    doi:10.1109/TVCG.2010.264: the smoothing of the normals.
    """
    edges = surface_edges(surface)
    twin = surface_twins(surface)
    pick = np.flatnonzero(np.arange(len(twin)) < twin)
    normals = smooth_normals(surface)
    cosine = np.einsum("ij,ij->i", normals[pick // 3], normals[twin[pick] // 3])
    turn = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    ends = np.sort(edges[pick], axis=1)
    kept = _grow(ends, turn > angle, turn > weak, len(surface.positions))
    return _chains(surface, ends[kept], _held(surface), shortest)


def smooth_normals(surface: RegionSurface) -> FloatArray:
    """Return (m, 3) unit normals of the triangles, each averaged with those near it that are like it."""
    twin = surface_twins(surface)
    pick = np.flatnonzero(np.arange(len(twin)) < twin)
    p = surface.positions[surface.triangles]
    cross = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    area = norms(cross)
    normals = cross / np.maximum(area, 1e-300)[:, None]
    here, there = pick // 3, twin[pick] // 3
    count = len(area)
    # neighbours over an edge, and over two
    near = coo_matrix((np.ones(len(here)), (here, there)), shape=(count, count)).tocsr()
    near = near + near.T
    near = (near + near @ near).tocoo()
    rows, cols = near.row, near.col
    for _ in range(_ROUNDS):
        gap = norms(normals[rows] - normals[cols])
        weight = area[cols] * np.exp(-0.5 * (gap / _ALIKE) ** 2)
        total = csr_matrix((weight, (rows, cols)), shape=(count, count)) @ normals
        normals = total / np.maximum(norms(total)[..., None], 1e-300)
    out: FloatArray = normals
    return out


def _held(surface: RegionSurface) -> BoolArray:
    """Return (n,) vertices on rims, borders, the mirror plane or flow lines."""
    edges = surface_edges(surface)
    twin = surface_twins(surface)
    region = np.repeat(surface.triangle_region, 3)
    out = np.zeros(len(surface.positions), bool)
    out[edges[(twin < 0) | (region != region[np.maximum(twin, 0)])].reshape(-1)] = True
    out[surface.flow_edges.reshape(-1)] = True
    return out


def _grow(ends: IntArray, strong: BoolArray, weak: BoolArray, count: int) -> BoolArray:
    """Return the strong edges and the weak ones that touch them, twice over."""
    kept = strong.copy()
    for _ in range(2):
        touched = np.zeros(count, bool)
        touched[ends[kept].reshape(-1)] = True
        kept |= weak & touched[ends].any(axis=1)
    return kept


def _chains(surface: RegionSurface, ends: IntArray, held: BoolArray, shortest: float) -> list[IntArray]:
    """Chain the edges; short chains come off until none is left, loose branches first."""
    count = len(surface.positions)
    stops = set(np.flatnonzero(held).tolist())
    while len(ends):
        degree = np.bincount(ends.reshape(-1), minlength=count)
        chains = chain_edges(ends, stops | set(np.flatnonzero((degree > 0) & (degree != 2)).tolist()))
        length = np.array([arc_length(surface.positions[chain])[-1] for chain in chains])
        loose = np.array([((degree[chain[[0, -1]]] == 1) & ~held[chain[[0, -1]]]).any() for chain in chains])
        short = length < np.where(loose, _LOOSE, 1.0) * shortest
        if not short.any():
            return chains
        worst = np.flatnonzero(short)
        gone = chains[int(worst[np.lexsort((length[worst], ~loose[worst]))[0]])]
        keys = edge_keys(np.stack([gone[:-1], gone[1:]], axis=1), count)
        ends = ends[~np.isin(edge_keys(ends, count), keys)]
    return []
