"""Let the paint of the far half vote too, so that borders lie midway between the two halves' strokes."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from loopwright.numerics.norms import norms
from loopwright.surface.edges import build_edges
from loopwright.surface.net import Net
from loopwright.types import FloatArray, IntArray, MirrorPlane

_NORMAL_WEIGHT = 3.0  # how far apart, in edges, two opposed sheets count as; keeps votes on their side of an ear
_REACH = 1.5  # votes from farther than this many edges are ignored
_RINGS = 3  # how far a vote looks for a piece of its colour, in rings of neighbours


def mirror_votes(
    net: Net,
    normals: FloatArray,
    votes: FloatArray,
    piece_label: IntArray,
    plane: MirrorPlane,
    points: FloatArray,
    point_normals: FloatArray,
    labels: IntArray,
    weights: FloatArray,
) -> FloatArray:
    """Return (n, p) votes with those of the far half's vertices added.

    Parameters
    ----------
    net, normals : the proxy of the kept half and its (n, 3) vertex normals.
    votes : (n, p) area that voted for each piece at each vertex.
    piece_label : (p,) colour of each piece.
    points, point_normals, labels, weights : the sculpt's vertices beyond the
        plane: (k, 3), (k, 3), (k,) colour or -1, (k,) area.
    """
    edges = build_edges(net.triangles, len(net.positions)).edges
    step = float(np.median(norms(net.positions[edges[:, 0]] - net.positions[edges[:, 1]])))
    scale = _NORMAL_WEIGHT * step / 2.0
    tree = cKDTree(np.hstack([net.positions, scale * normals]), balanced_tree=False, compact_nodes=False)
    turned = point_normals - 2.0 * (point_normals @ plane.normal)[:, None] * plane.normal
    distance, at = tree.query(np.hstack([plane.reflect(points), scale * turned]))
    colors = int(max(piece_label.max(), labels.max(initial=-1))) + 2
    piece = _piece_of_color(edges, votes, piece_label, colors)[at, labels]
    counted = (distance < _REACH * step) & (labels >= 0) & (piece >= 0)
    count = votes.shape[1]
    code = at[counted].astype(np.int64) * count + piece[counted]
    added = np.bincount(code, weights[counted], votes.size).reshape(votes.shape)
    total: FloatArray = votes + added
    return total


def _piece_of_color(edges: IntArray, votes: FloatArray, piece_label: IntArray, colors: int) -> IntArray:
    """Return (n, colours) the piece of each colour at or near each vertex, or -1; the last column is for no colour."""
    out = np.full((len(votes), colors), -1, np.int32)
    best = np.zeros((len(votes), colors))
    for piece, color in enumerate(piece_label.tolist()):
        better = votes[:, piece] > best[:, color]
        out[better, color] = piece
        best[better, color] = votes[better, piece]
    for _ in range(_RINGS):
        known = out.copy()
        for a, b in ((edges[:, 0], edges[:, 1]), (edges[:, 1], edges[:, 0])):
            take = (out[a] < 0) & (known[b] >= 0)
            rows, cols = np.nonzero(take)
            out[a[rows], cols] = known[b[rows], cols]
    return out
