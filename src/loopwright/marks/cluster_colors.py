"""Find the painted colours of a sculpt and which vertices surely have which.

A colour counts where it covers an area.  Colours that only occur on the way
from one region to the next (a soft brush's edge) belong to none: their
vertices stay unlabelled, and the smoothing of the labels decides them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix, diags

from loopwright.numerics.norms import norms
from loopwright.surface.edges import cross_rows, dot_rows, row_lengths, triangle_normals
from loopwright.types import BoolArray, ByteArray, FloatArray, IntArray

_FEW = 64  # so many exact colours at most are hard paint
_APART = 14.0  # colours nearer than this in RGB are one, but for hard paint in areas of its own
_SAME = 5.0  # and those nearer than this are one in any case
_STEPS = 1  # near colour at most of a colour by itself: one with more is a step between others
_OWN_AREA = 0.7  # share of its neighbours' colours that are its own where a hard colour has areas of its own
_BIN = 4  # width of a histogram cell in colour levels
_FLAT = 2.5  # levels of change along an edge below which a colour counts as even
_CREST = 0.35  # or below which share of the steepest change near by
_SHIFT_WIDTH = 6.0  # of the mean shift, in levels
_BAND_RINGS = 6  # how near, in edges
_BESIDE = 14.0  # levels from a mixed colour to those that it is held against
_FOOT = 0.1  # share of a near colour's cover below which a mixed one is the foot of its soft edge
_STANDS_OUT = 3.0  # so many times as much as they a painted one covers
_TABLE = 1 << 19  # entries of a table of distances that is held at once


@dataclass(frozen=True)
class ColorClusters:
    """The palette of a sculpt.

    Attributes
    ----------
    palette : (c, 3) uint8, the colour that covers the largest area first.
    vertex_color : (n,) int32, index into the palette, -1 where the colour belongs to none.
    """

    palette: ByteArray
    vertex_color: IntArray


def cluster_colors(
    positions: FloatArray, triangles: IntArray, colors: ByteArray, *, min_share: float = 0.0002
) -> ColorClusters:
    """Find the colours that cover areas and give each vertex its colour where that is sure.

    Parameters
    ----------
    positions : (n, 3) float64. triangles : (m, 3) int32. colors : (n, 3) uint8.
    min_share : a colour that covers less than this share of the area is none.
    """
    area = vertex_areas(positions, triangles)
    exact, inverse = _distinct(colors)
    weight: FloatArray = np.bincount(inverse, area, len(exact)).astype(np.float64)
    if weight.sum() <= 0:
        weight = np.bincount(inverse, minlength=len(exact)).astype(np.float64)
    order = np.argsort(-weight, kind="stable")
    top = np.cumsum(weight[order]) / weight.sum()
    if len(exact) <= _FEW or top[_FEW - 1] > 0.995:
        hard = order[:_FEW]
        hard = hard[weight[hard] >= 0.5 * min_share * weight.sum()] if len(hard) > 1 else hard
        if len(hard):
            painted = exact[hard].astype(np.float64)
            return _label_nearest(painted[_are_colors(painted, hard, triangles, inverse)], exact, inverse, weight)
    return _cluster_soft(positions, triangles, colors, area, min_share)


def vertex_areas(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return (n,) a third of the area of the triangles round each vertex."""
    area = row_lengths(triangle_normals(positions, triangles)) / 6.0
    out: FloatArray = np.bincount(triangles.ravel(), np.repeat(area, 3), len(positions)).astype(np.float64)
    return out


def _distinct(colors: ByteArray) -> tuple[ByteArray, NDArray[np.intp]]:
    """Return the (k, 3) distinct colours and (n,) the index of each vertex's."""
    wide = colors.astype(np.int64)
    code = (wide[:, 0] << 16) | (wide[:, 1] << 8) | wide[:, 2]
    seen = np.zeros(1 << 24, dtype=bool)
    seen[code] = True
    codes = np.flatnonzero(seen)
    exact = np.stack([codes >> 16, (codes >> 8) & 255, codes & 255], axis=1).astype(np.uint8)
    return exact, np.searchsorted(codes, code)


def _lumps(triangles: IntArray, color: NDArray[np.intp], count: int) -> FloatArray:
    """Return (count,) of the ends of edges at vertices of each colour, which share has the same colour."""
    same, ends = np.zeros(count), np.zeros(count)
    for first in range(0, len(triangles), _TABLE):
        corners = color[triangles[first : first + _TABLE]]
        for k in range(3):
            here, there = corners[:, k], corners[:, (k + 1) % 3]
            ends += np.bincount(here, minlength=count) + np.bincount(there, minlength=count)
            same += 2 * np.bincount(here[here == there], minlength=count)
    return same / np.maximum(ends, 1)


def _are_colors(
    palette: FloatArray, ids: NDArray[np.integer], triangles: IntArray, color: NDArray[np.intp]
) -> BoolArray:
    """Return which of these colours, the heaviest first, count.

    One near to a heavier one does where it has areas of its own, and is no step of a gradient.

    Parameters
    ----------
    ids : (k,) the colours' numbers in ``color``, (n,) the vertices' ones.
    """
    gaps = norms(palette[:, None] - palette[None])
    near = (gaps < _APART).sum(axis=1) - 1
    if not near.any():
        return np.ones(len(palette), np.bool_)
    lumps = _lumps(triangles, color, int(color.max()) + 1)[ids]
    by_itself = (near <= _STEPS) & (lumps >= _OWN_AREA)
    counts = np.zeros(len(palette), np.bool_)
    for index in range(len(palette)):
        least = float(gaps[index, counts].min(initial=np.inf))
        counts[index] = least >= _APART or (least >= _SAME and by_itself[index])
    return counts


def _label_nearest(
    palette: FloatArray, exact: ByteArray, inverse: NDArray[np.intp], weight: FloatArray
) -> ColorClusters:
    """Label each exact colour with the palette's nearest where it is near enough; the heaviest colour first."""
    distance, nearest = _nearest_in_palette(palette, exact)
    sure = distance <= np.maximum(_reach(palette)[nearest], _APART)
    label = np.where(sure, nearest, -1).astype(np.int32)
    held = np.bincount(nearest[sure], weight[sure], len(palette))
    order = np.argsort(-held, kind="stable")
    rank = np.empty(len(palette), dtype=np.int32)
    rank[order] = np.arange(len(palette), dtype=np.int32)
    label[sure] = rank[label[sure]]
    return ColorClusters(np.rint(palette[order]).astype(np.uint8), label[inverse])


def _reach(palette: FloatArray) -> FloatArray:
    """Return (c,) how far from each colour a vertex still surely has it."""
    if len(palette) == 1:
        return np.full(1, 1000.0)
    gaps = norms(palette[:, None] - palette[None])
    np.fill_diagonal(gaps, np.inf)
    reach: FloatArray = np.clip(0.33 * gaps.min(axis=1), 5.0, 26.0)
    return reach


def _cluster_soft(
    positions: FloatArray, triangles: IntArray, colors: ByteArray, area: FloatArray, min_share: float
) -> ColorClusters:
    average = _neighbour_average(triangles, len(positions))
    raw = colors.astype(np.float64)
    calm = average @ (average @ raw)
    slope = average @ _slopes(positions, triangles, calm, area)
    steepest = _spread_largest(triangles, slope, _BAND_RINGS)
    # even, or the crest of a stroke that is as narrow as its own soft edges
    even = slope < _FLAT
    flat = even | (slope < _CREST * steepest)
    palette = _find_modes(calm[flat], area[flat], even[flat], min_share * area.sum())
    if len(palette) == 0:
        palette = np.average(raw, axis=0, weights=np.maximum(area, 1e-300)).reshape(1, 3)
    distance, nearest = _nearest_in_palette(palette, calm)
    sure = distance <= _reach(palette)[nearest]
    surroundings = average @ (average @ (average @ sure.astype(np.float64)))
    sure &= flat | (surroundings > 0.75)
    held = np.bincount(nearest[sure], area[sure], len(palette))
    order = np.argsort(-held, kind="stable")
    rank = np.empty(len(palette), dtype=np.int32)
    rank[order] = np.arange(len(palette), dtype=np.int32)
    label = np.where(sure, rank[nearest], -1).astype(np.int32)
    return ColorClusters(np.rint(palette[order]).astype(np.uint8), label)


def _nearest_in_palette(palette: FloatArray, colors: FloatArray | ByteArray) -> tuple[FloatArray, IntArray]:
    """Return (n,) distance to the nearest colour of the palette, and which it is; the first where two are as near.

    The table of all distances is made some rows at a time: its size does not grow with the sculpt.
    """
    rows = max(1, _TABLE // len(palette))
    distance, nearest = np.empty(len(colors)), np.empty(len(colors), dtype=np.int32)
    own = (palette**2).sum(axis=1)
    for first in range(0, len(colors), rows):
        part = colors[first : first + rows].astype(np.float64)
        squares = (part**2).sum(axis=1)[:, None] - 2.0 * part @ palette.T + own
        at = squares.argmin(axis=1)
        nearest[first : first + rows] = at
        distance[first : first + rows] = np.sqrt(np.maximum(squares[np.arange(len(part)), at], 0.0))
    return distance, nearest


def _neighbour_average(triangles: IntArray, n: int) -> csr_matrix:
    """Return the matrix that averages over each vertex and its neighbours."""
    i = triangles.ravel()
    j = np.roll(triangles, -1, axis=1).ravel()
    adjacency = coo_matrix((np.ones(len(i), np.float32), (i, j)), shape=(n, n)).tocsr()
    adjacency = adjacency + adjacency.T
    adjacency.data[:] = 1.0
    adjacency = adjacency + diags(np.ones(n, np.float32))
    count = np.asarray(adjacency.sum(axis=1)).ravel()
    return diags((1.0 / count).astype(np.float32)) @ adjacency.tocsr()


def _slopes(positions: FloatArray, triangles: IntArray, values: FloatArray, area: FloatArray) -> FloatArray:
    """Return (n,) how much the values change along an edge of mean length, averaged round each vertex."""
    rows = _TABLE // 8
    parts = [_steepness(positions, triangles[i : i + rows], values) for i in range(0, len(triangles), rows)]
    size = np.concatenate(parts) if parts else np.zeros(0)
    count = np.maximum(np.bincount(triangles.ravel(), minlength=len(positions)), 1)
    mean_edge = 1.5 * float(np.sqrt(area.sum() / max(len(positions), 1)))
    out: FloatArray = np.bincount(triangles.ravel(), np.repeat(size, 3), len(positions)) / count * mean_edge
    return out


def _steepness(positions: FloatArray, triangles: IntArray, values: FloatArray) -> FloatArray:
    """Return (m,) the length of the gradient of the values in each triangle."""
    normal = triangle_normals(positions, triangles)
    square = np.maximum(dot_rows(normal, normal), 1e-300)[:, None]
    gradient = np.zeros((len(triangles), 3, values.shape[1]))
    for k in range(3):
        edge = positions[triangles[:, (k + 2) % 3]] - positions[triangles[:, (k + 1) % 3]]
        gradient += (cross_rows(normal, edge) / square)[:, :, None] * values[triangles[:, k]][:, None, :]
    size: FloatArray = np.sqrt(np.einsum("ijk,ijk->i", gradient, gradient))
    return size


def _spread_largest(triangles: IntArray, values: FloatArray, rings: int) -> FloatArray:
    """Return (n,) the largest value within so many rings of neighbours."""
    out = values.copy()
    flat = triangles.ravel()
    for _ in range(rings):
        np.maximum.at(out, flat, np.repeat(out[triangles].max(axis=1), 3))
    return out


def _find_modes(colors: FloatArray, weight: FloatArray, even: BoolArray, least: float) -> FloatArray:
    """Return colours round which enough weight gathers, by mean shift on a histogram.

    Parameters
    ----------
    even : (k,) bool, colours from even areas.  A colour that occurs on crests
        only is none where it is a mixture of two heavier ones: there the
        crest is the saddle or the foot of a soft edge.
    """
    cells = np.clip(colors / _BIN, 0, 255 // _BIN).astype(np.int64)
    side = 256 // _BIN
    code = (cells[:, 0] * side + cells[:, 1]) * side + cells[:, 2]
    codes, inverse = np.unique(code, return_inverse=True)
    mass = np.bincount(inverse, weight, len(codes))
    even_mass = np.bincount(inverse[even], weight[even], len(codes))
    sums = np.stack([np.bincount(inverse, weight * colors[:, k], len(codes)) for k in range(3)], axis=1)
    heavy = mass > 0.02 * least
    centre = (sums / np.maximum(mass, 1e-300)[:, None])[heavy]
    whole: FloatArray = mass[heavy].astype(np.float64)
    left: FloatArray = mass[heavy].astype(np.float64)
    even_mass = even_mass[heavy]
    modes: list[FloatArray] = []
    while len(left) and left.max() > 0.05 * least and len(modes) < 256:
        top = int(left.argmax())
        mode = _shift_to_mean(centre[top], centre, left)
        within = row_lengths(centre - mode) < _APART
        within[top] = True
        gathered, even_gathered = left[within].sum(), even_mass[within].sum()
        left = np.where(within, 0.0, left)
        if gathered < least or any(np.linalg.norm(mode - other) < _APART for other in modes):
            continue
        line = _mixed_of(mode, modes)
        if line is None or (even_gathered >= least and _stands_out(mode, line, centre, whole)):
            modes.append(mode)
    return np.array(modes).reshape(-1, 3)


def _shift_to_mean(mode: FloatArray, centre: FloatArray, mass: FloatArray) -> FloatArray:
    for _ in range(8):
        gap = centre - mode
        near = np.exp(-dot_rows(gap, gap) / (2 * _SHIFT_WIDTH**2)) * mass
        mode = np.asarray(near @ centre / near.sum(), dtype=np.float64)
    return mode


def _mixed_of(color: FloatArray, others: list[FloatArray]) -> tuple[FloatArray, FloatArray] | None:
    """Return two others near whose straight line a colour lies, or None."""
    for index, a in enumerate(others):
        for b in others[:index]:
            share = float(np.clip(np.dot(color - a, b - a) / max(float(np.dot(b - a, b - a)), 1e-300), 0.0, 1.0))
            if np.linalg.norm(a + share * (b - a) - color) < _APART:
                return a, b
    return None


def _stands_out(mode: FloatArray, line: tuple[FloatArray, FloatArray], centre: FloatArray, mass: FloatArray) -> bool:
    """Return whether a colour between two others covers much more than those beside it on their line.

    A painted area has one colour, a wide soft edge all colours on the way, each about as much; and near to
    its ends more, but little beside these.
    """
    a, b = line
    along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-300)

    def covered(color: FloatArray) -> float:
        return float(mass[row_lengths(centre - color) < _BESIDE / 2].sum())

    if any(np.linalg.norm(end - mode) <= 2.0 * _BESIDE and covered(mode) < _FOOT * covered(end) for end in line):
        return False
    beside = [
        covered(mode + way * _BESIDE * along)
        for way, end in ((-1.0, a), (1.0, b))
        if np.linalg.norm(end - mode) > 2.0 * _BESIDE
    ]
    return covered(mode) >= _STANDS_OUT * max(beside, default=0.0)
