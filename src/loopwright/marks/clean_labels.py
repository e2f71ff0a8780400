"""Painted pieces on a net: fill what no colour claims, drop specks, measure how narrow each place is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra

from loopwright.surface.edges import build_edges, row_lengths
from loopwright.surface.net import Net
from loopwright.types import BoolArray, FloatArray, IntArray

_SLIP_OF_COLOR = 0.02  # a piece below this share of its colour's largest piece, and
_SLIP_OF_ALL = 0.001  # below this share of all, is where a stroke of a large region slipped
_FEWEST_STEPS = 1.5  # a piece must be wider than this many edges of the net somewhere


@dataclass(frozen=True)
class CleanLabels:
    """Labels of a net's vertices without gaps and specks.

    Attributes
    ----------
    label : (n,) int32, each vertex's colour; all -1 only where nothing is painted.
    component : (n,) int32, the connected piece of equal label each vertex is in.
    dropped : number of specks that were dropped.
    distance : (n,) float64, along edges to the nearest vertex at a border.
    """

    label: IntArray
    component: IntArray
    dropped: int
    distance: FloatArray


def clean_labels(net: Net, label: IntArray, area: FloatArray, *, min_area: float, min_width: float) -> CleanLabels:
    """Fill unlabelled vertices from the nearest labelled one and drop pieces that are too small or too thin.

    Parameters
    ----------
    label : (n,) int32, -1 where unlabelled. area : (n,) float64 of each vertex.
    min_area : pieces smaller than this are dropped.
    min_width : pieces that are nowhere wider than this, or than one edge of the net, are dropped.
    """
    graph = edge_graph(net)
    step = float(np.median(graph.data)) if graph.nnz else 0.0
    label = fill_nearest(graph, label)
    dropped = 0
    component, distance = split_components(graph, label)
    # thin pieces one after the other, so that two of them cannot swallow each other
    for _ in range(4):
        count = int(component.max()) + 1
        total: FloatArray = np.bincount(component, area, count).astype(np.float64)
        widest = np.zeros(count)
        np.maximum.at(widest, component, distance)
        thin = 2.0 * widest + step < max(min_width, _FEWEST_STEPS * step)
        bad = thin | (total < min_area) | _slips(label, component, total)
        if bad.all():
            bad[total.argmax()] = False
        if not bad.any():
            break
        dropped += int(bad.sum())
        label = fill_nearest(graph, np.where(bad[component], -1, label).astype(np.int32))
        component, distance = split_components(graph, label)
    return CleanLabels(label, component, dropped, distance)


def _slips(label: IntArray, component: IntArray, total: FloatArray) -> BoolArray:
    """Tell which pieces are small beside another piece of their colour and beside the whole."""
    color = np.zeros(len(total), np.int64)
    color[component] = label
    largest = np.zeros(max(int(label.max()), 0) + 1)
    np.maximum.at(largest, np.maximum(color, 0), total)
    slips: BoolArray = (total < _SLIP_OF_COLOR * largest[np.maximum(color, 0)]) & (total < _SLIP_OF_ALL * total.sum())
    return slips


def edge_graph(net: Net) -> csr_matrix:
    """Return the symmetric (n, n) matrix of edge lengths."""
    n = len(net.positions)
    edges = build_edges(net.triangles, n).edges
    length = np.maximum(row_lengths(net.positions[edges[:, 0]] - net.positions[edges[:, 1]]), 1e-300)
    both = np.concatenate([edges, edges[:, ::-1]])
    return coo_matrix((np.tile(length, 2), (both[:, 0], both[:, 1])), shape=(n, n)).tocsr()


def fill_nearest(graph: csr_matrix, label: IntArray) -> IntArray:
    """Give each vertex with label -1 the label that is nearest along the edges."""
    known = np.flatnonzero(label >= 0)
    if len(known) == 0 or len(known) == len(label):
        return label
    gap = graph[label < 0]
    rim = np.zeros(len(label), dtype=bool)
    rim[gap.indices] = True
    rim &= label >= 0
    sources = np.flatnonzero(rim)
    if len(sources) == 0:
        return label
    _, _, nearest = dijkstra(graph, indices=sources, min_only=True, return_predecessors=True)
    out = label.copy()
    lost = (label < 0) & (nearest >= 0)
    out[lost] = label[nearest[lost]]
    return out


def split_components(graph: csr_matrix, label: IntArray) -> tuple[IntArray, FloatArray]:
    """Return (n,) the connected piece of each vertex and (n,) its distance to the nearest vertex at a border."""
    pairs = graph.tocoo()
    component = connected_parts(graph, label)
    at_border = np.unique(pairs.row[label[pairs.row] != label[pairs.col]])
    if len(at_border) == 0:
        return component, np.full(len(label), np.inf)
    distance = dijkstra(graph, indices=at_border, min_only=True)
    return component, distance


def connected_parts(graph: csr_matrix, label: IntArray) -> IntArray:
    """Return (n,) the connected part of equal label that each vertex is in.

    Parameters
    ----------
    graph : (n, n) with an entry for each edge. label : (n,) int32.
    """
    pairs, n = graph.tocoo(), len(label)
    same = label[pairs.row] == label[pairs.col]
    inner = coo_matrix((np.ones(int(same.sum())), (pairs.row[same], pairs.col[same])), shape=(n, n))
    part: IntArray = connected_components(inner, directed=False)[1].astype(np.int32)
    return part


def local_width(graph: csr_matrix, clean: CleanLabels, reach: float) -> FloatArray:
    """Return (n,) about the diameter of the largest disc within the vertex's piece that covers the vertex.

    Widths of twice ``reach`` and above are infinite.  Discs are spread along
    edges, as in local thickness measures of volumes (Hildebrand, Ruegsegger 1997).
    """
    radius = np.minimum(clean.distance + 0.5 * np.median(graph.data), reach)
    left = 1.2 * radius
    pairs = graph.tocoo()
    same: BoolArray = clean.label[pairs.row] == clean.label[pairs.col]
    row, col, length = pairs.row[same], pairs.col[same], pairs.data[same]
    for _ in range(40):
        arrives = left[row] - length
        better = (arrives > 0) & (radius[row] > radius[col] * 1.001)
        if not better.any():
            break
        candidates = np.flatnonzero(better)
        candidates = candidates[np.lexsort((arrives[candidates], radius[row[candidates]]))]
        radius_new, left_new = radius.copy(), left.copy()
        radius_new[col[candidates]] = radius[row[candidates]]
        left_new[col[candidates]] = arrives[candidates]
        radius, left = radius_new, left_new
    width: FloatArray = np.where(radius < 0.999 * reach, 2.0 * radius, np.inf)
    return width
