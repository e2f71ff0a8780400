"""The painted colours of a sculpt: what each covers, and in how many pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.marks.cluster_colors import cluster_colors, vertex_areas
from loopwright.marks.options import RGB, MarksOptions
from loopwright.types import FloatArray, IntArray, Sculpt


@dataclass(frozen=True)
class ColorShare:
    """A painted colour, its share of the area, and the number of pieces that are no specks."""

    color: RGB
    share: float
    pieces: int


def list_colors(sculpt: Sculpt) -> tuple[ColorShare, ...]:
    """Return the colours that a build would find, the one with the largest area first; none without vertex colours.

    Pieces below the size at which a build takes paint for a speck are not counted, but a colour has one at least.
    """
    if sculpt.colors is None:
        return ()
    least = MarksOptions().min_share
    clusters = cluster_colors(sculpt.positions, sculpt.triangles, sculpt.colors, min_share=least)
    area = vertex_areas(sculpt.positions, sculpt.triangles)
    whole = max(float(area.sum()), np.finfo(float).tiny)
    found = []
    for index, color in enumerate(clusters.palette.tolist()):
        pieces = _piece_areas(sculpt.triangles, clusters.vertex_color == index, area)
        if len(pieces):
            count = int((pieces >= least * whole).sum())
            found.append(ColorShare((color[0], color[1], color[2]), float(pieces.sum()) / whole, max(count, 1)))
    return tuple(sorted(found, key=lambda shown: -shown.share))


def _piece_areas(triangles: IntArray, chosen: np.ndarray, area: FloatArray) -> FloatArray:
    """Return the area of each piece of the chosen vertices that hangs together by edges."""
    ids = np.flatnonzero(chosen)
    number = np.full(len(chosen), -1, np.int32)
    number[ids] = np.arange(len(ids), dtype=np.int32)
    start, end = number[triangles].ravel(), number[np.roll(triangles, -1, axis=1)].ravel()
    both = (start >= 0) & (end >= 0)
    graph = coo_matrix((np.ones(int(both.sum()), np.int8), (start[both], end[both])), shape=(len(ids),) * 2)
    piece = connected_components(graph, directed=False)[1]
    areas: FloatArray = np.bincount(piece, area[ids]).astype(np.float64)
    return areas
