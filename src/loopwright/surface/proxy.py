"""The proxy: an even, coarse triangulation of a sculpt on which all planning runs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.surface.collapse import CollapseOptions, collapse_short_edges
from loopwright.surface.edges import build_edges, row_lengths, triangle_normals
from loopwright.surface.flip import flip_edges
from loopwright.surface.net import Net, make_net
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.relax import relax_vertices
from loopwright.surface.split import split_long_edges
from loopwright.types import FloatArray, IntArray

# A collapse stops at edges of this share of the wished length; the mean edge that is
# left is then near to it (measured on spheres and heads).
_SHORT = 0.86
_LONG = 1.5
_STUCK = 1.7  # times the wished number of triangles: more than that, and another round is worth while
_MOST_ADDED, _FEW = 8.0, 1000  # times the wished number of triangles, and some: more are not added by splitting


@dataclass(frozen=True)
class Proxy:
    """A coarse net and where each vertex of the fine mesh went.

    Attributes
    ----------
    net : the proxy; its ``origin`` is the fine vertex each vertex was.
    cluster : (n,) int32, for each vertex of the fine mesh its proxy vertex,
        reached along the surface, so never across a thin sheet.
    """

    net: Net
    cluster: IntArray


def even_edge(area: float, triangles: int) -> float:
    """Return the edge length at which so many equilateral triangles cover the area."""
    return float(np.sqrt(area / max(triangles, 1) * 4.0 / np.sqrt(3.0)))


def surface_area(positions: FloatArray, triangles: IntArray, scale: FloatArray | None = None) -> float:
    """Return the area of a triangle mesh.

    Parameters
    ----------
    scale : (n,) how much length counts at each vertex; None for 1.
    """
    double_area = row_lengths(triangle_normals(positions, triangles))
    if scale is not None:
        double_area = double_area * scale[triangles].mean(axis=1) ** 2
    return float(0.5 * double_area.sum())


def coarsen(positions: FloatArray, triangles: IntArray, size: float) -> Proxy:
    """Collapse a fine manifold to edges of about the wished length, without evening it out.

    Edges that are longer are split at their middles, until there are far more triangles than the area calls for:
    long needles could otherwise be split without end.
    """
    net = make_net(positions, triangles, np.full(len(positions), size))
    wished = surface_area(positions, triangles) / (size * size * np.sqrt(3.0) / 4.0)
    most = len(triangles) + int(_MOST_ADDED * wished) + _FEW
    net = split_long_edges(net, None, long=1.6, rounds=60, most=most)
    cluster = np.arange(len(net.positions), dtype=np.int32)
    options = CollapseOptions(short=_SHORT, long=_LONG)
    for _ in range(5):
        net, step = collapse_short_edges(net, options=options, rounds=16, least_share=0.04)
        cluster = step[cluster]
        if _excess(net) < _STUCK:
            break
        net = flip_edges(net, rounds=3)  # long thin triangles block collapses
    return Proxy(net, cluster[: len(positions)])


def _excess(net: Net) -> float:
    """Return how many times more triangles there are than equilateral ones of the wished size would be."""
    area = 0.5 * row_lengths(triangle_normals(net.positions, net.triangles))
    wished = np.sqrt(3.0) / 4.0 * net.size[net.triangles].mean(axis=1) ** 2
    return len(net.triangles) / max(float((area / wished).sum()), 1.0)


def make_proxy(proxy: Proxy, size: FloatArray, projector: SurfaceProjector, *, rounds: int = 3) -> Proxy:
    """Coarsen a net further to the wished edge length at each of its vertices and even it out.

    The boundary keeps its place: its vertices are vertices of the fine mesh.
    Topology is unchanged.
    """
    net, step = collapse_short_edges(
        replace(proxy.net, size=size), options=CollapseOptions(short=_SHORT, long=_LONG), rounds=24, least_share=0.01
    )
    cluster = step[proxy.cluster]
    for number in range(rounds):
        net = flip_edges(net, rounds=6)
        net = relax_vertices(net, projector, rounds=2)
        if number == 0:
            net, step = collapse_short_edges(net, options=CollapseOptions(short=0.6, long=_LONG), rounds=3)
            cluster = step[cluster]
            net = split_long_edges(net, projector, long=1.45, rounds=3)
    return Proxy(flip_edges(net), cluster)


def grade_sizes(net: Net, size: FloatArray, *, slope: float = 0.25, rounds: int = 60) -> FloatArray:
    """Return sizes lowered so that none exceeds a neighbour's by more than ``slope`` times their distance."""
    edges = build_edges(net.triangles, len(net.positions)).edges
    a, b = edges[:, 0], edges[:, 1]
    reach = slope * row_lengths(net.positions[a] - net.positions[b])
    out = size.copy()
    for _ in range(rounds):
        before = out.copy()
        np.minimum.at(out, a, before[b] + reach)
        np.minimum.at(out, b, before[a] + reach)
        if np.allclose(before, out, rtol=1e-4, atol=0.0):
            break
    return out


def turning_rate(graph: csr_matrix, normals: FloatArray) -> FloatArray:
    """Return (n,) how fast the averaged normal turns round each vertex, in radians per length.

    Parameters
    ----------
    graph : (n, n) symmetric edge lengths. normals : (n, 3) unit.
    """
    ones = csr_matrix((np.ones(graph.nnz), graph.indices, graph.indptr), shape=graph.shape)
    count = np.maximum(np.diff(graph.indptr), 1)
    calm = normals + ones @ normals
    calm /= np.maximum(row_lengths(calm), 1e-300)[:, None]
    pairs = graph.tocoo()
    turn = row_lengths(calm[pairs.row] - calm[pairs.col]) / pairs.data
    rate = np.zeros(len(normals))
    np.maximum.at(rate, pairs.row, turn)
    out: FloatArray = np.maximum((rate + ones @ rate) / (1 + count), 1e-300)
    return out
