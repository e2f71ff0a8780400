"""Smooth painted labels: diffuse their indicators on the surface and take the largest.

The threshold dynamics of Merriman, Bence and Osher (1992), one implicit step,
with an offset for each painted piece so that it keeps its area.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csc_matrix, diags
from scipy.sparse.linalg import splu

from loopwright.numerics.norms import norms
from loopwright.surface.edges import row_lengths, triangle_normals
from loopwright.surface.net import Net
from loopwright.types import FloatArray, IntArray

_SHARPNESS = 60.0  # of the soft maximum that measures a piece's area
_SLIGHT, _STRAY = 0.01, 0.1  # where a piece has next to no votes, its offset is no more than this
_MOST_OFFSET = 0.6
_CORRECTIONS = 12


@dataclass(frozen=True)
class SmoothLabels:
    """Indicators of the labels after smoothing.

    Attributes
    ----------
    values : (n, r) float64; the largest in a row is the vertex's label.
    shares : (n, p) float64, about how much of each vertex each painted piece has; rows sum to 1.
    """

    values: FloatArray
    shares: FloatArray


def nearest_proxy_vertices(net: Net, cluster: IntArray, points: FloatArray, *, steps: int = 3) -> IntArray:
    """Walk from each point's cluster vertex to the neighbour that is nearest, along the surface.

    Parameters
    ----------
    cluster : (k,) int32, the vertex where each of the (k, 3) points starts.
    """
    table = _padded_neighbours(net)
    at = cluster.copy()
    active = np.arange(len(at))
    for _ in range(steps):
        around = table[at[active]]
        gaps = np.empty(around.shape)
        for k in range(around.shape[1]):
            gap = net.positions[around[:, k]] - points[active]
            gaps[:, k] = np.einsum("ij,ij->i", gap, gap)
        best = gaps.argmin(axis=1)
        moved = best > 0
        at[active] = around[np.arange(len(active)), best]
        active = active[moved]
        if len(active) == 0:
            break
    return at


def _padded_neighbours(net: Net, most: int = 10) -> IntArray:
    """Return (n, most) each vertex itself and then its neighbours, repeated to fill the row."""
    n = len(net.positions)
    start = net.triangles.ravel()
    end = np.roll(net.triangles, -1, axis=1).ravel()
    both = np.unique(np.concatenate([start.astype(np.int64) * n + end, end.astype(np.int64) * n + start]))
    a, b = both // n, both % n
    first = np.searchsorted(a, np.arange(n))
    slot = np.arange(len(a)) - first[a] + 1
    table = np.repeat(np.arange(n, dtype=np.int32)[:, None], most, axis=1)
    fits = slot < most
    table[a[fits], slot[fits]] = b[fits]
    return table


def smooth_labels(
    net: Net, votes: FloatArray, piece_area: FloatArray, piece_label: IntArray, n_labels: int, *, scale: float
) -> SmoothLabels:
    """Diffuse the votes of each piece and choose offsets so that pieces keep their areas.

    Parameters
    ----------
    votes : (n, p) float64, the area that voted for each piece at each vertex.
    piece_area : (p,) float64, the area each piece shall keep.
    piece_label : (p,) int32, the label of each piece.
    scale : the width of the smoothing in edges; t = (scale h)^2.
    """
    stiffness, area = _weighted_laplacian(net, scale)
    mass = votes.sum(axis=1)
    mass = np.where(mass > 0, mass, 0.0) + 1e-6 * area
    solver = splu(csc_matrix(diags(mass) + stiffness), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
    indicator = solver.solve(np.ascontiguousarray(votes))
    indicator = indicator / np.maximum(indicator.sum(axis=1, keepdims=True), 1e-300)
    offset = _keep_areas(net, indicator, area, piece_area)
    raised = indicator + np.where(indicator > _SLIGHT, offset, np.minimum(offset, _STRAY))
    values = np.full((len(indicator), n_labels), -np.inf)
    for piece, label in enumerate(piece_label):
        values[:, label] = np.maximum(values[:, label], raised[:, piece])
    return SmoothLabels(values, indicator)


def _weighted_laplacian(net: Net, scale: float) -> tuple[csc_matrix, FloatArray]:
    """Return the stiffness of -div (scale size)^2 grad, cotangents kept positive, and (n,) vertex areas."""
    n = len(net.positions)
    rows, cols, data = [], [], []
    corners = net.positions[net.triangles]
    double_area = norms(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
    diffusivity = (scale * net.size[net.triangles].mean(axis=1)) ** 2
    for k in range(3):
        u, v = corners[:, (k + 1) % 3] - corners[:, k], corners[:, (k + 2) % 3] - corners[:, k]
        cotangent = (u * v).sum(axis=1) / np.maximum(double_area, 1e-300)
        weight = 0.5 * np.clip(cotangent, 0.05, 20.0) * diffusivity
        rows.append(net.triangles[:, (k + 1) % 3])
        cols.append(net.triangles[:, (k + 2) % 3])
        data.append(weight)
    i, j, w = np.concatenate(rows), np.concatenate(cols), np.concatenate(data)
    half = coo_matrix((w, (i, j)), shape=(n, n))
    full = (half + half.T).tocsc()
    stiffness = diags(np.asarray(full.sum(axis=1)).ravel()) - full
    area = np.bincount(net.triangles.ravel(), np.repeat(double_area / 6.0, 3), n).astype(np.float64)
    return stiffness.tocsc(), area


def _keep_areas(net: Net, indicator: FloatArray, area: FloatArray, wanted: FloatArray) -> FloatArray:
    """Return (p,) offsets with which each piece's share of the largest values has the wanted area.

    A smooth measure of the areas is solved for by Newton steps; what the true
    areas miss of the wanted ones is then added to what is asked of it.
    """
    offset = np.zeros(indicator.shape[1])
    if indicator.shape[1] < 2:
        return offset
    wanted = wanted * area.sum() / max(wanted.sum(), 1e-300)
    asked = wanted.copy()
    for _ in range(_CORRECTIONS):
        offset = _solve_offsets(indicator, area, asked, offset)
        missing = wanted - _largest_areas(net, indicator + offset)
        if (np.abs(missing) < 0.01 * wanted).all():
            break
        asked = np.clip(asked + missing, 0.2 * wanted, 3.0 * wanted)
    return offset


def _solve_offsets(indicator: FloatArray, area: FloatArray, wanted: FloatArray, offset: FloatArray) -> FloatArray:
    for _ in range(30):
        raised = _SHARPNESS * (indicator + offset)
        raised -= raised.max(axis=1, keepdims=True)
        share = np.exp(raised)
        share /= share.sum(axis=1, keepdims=True)
        has = area @ share
        slope = _SHARPNESS * (area @ (share * (1.0 - share)))
        step = (wanted - has) / np.maximum(slope, 1e-9 * area.sum())
        offset = np.clip(offset + 0.6 * np.clip(step, -0.05, 0.05), -_MOST_OFFSET, _MOST_OFFSET)
        offset = offset - np.median(offset)
        if (np.abs(wanted - has) < 0.003 * wanted).all():
            break
    return offset


def _largest_areas(net: Net, values: FloatArray) -> FloatArray:
    """Return (p,) the area in which each column of linearly interpolated values is the largest, by sampling."""
    weights = np.array([[4, 1, 1], [1, 4, 1], [1, 1, 4], [3, 3, 0], [0, 3, 3], [3, 0, 3]]) / 6.0
    corners = values[net.triangles]
    area = 0.5 * row_lengths(triangle_normals(net.positions, net.triangles)) / len(weights)
    total = np.zeros(values.shape[1])
    for weight in weights:
        largest = np.einsum("k,mkp->mp", weight, corners).argmax(axis=1)
        total += np.bincount(largest, area, values.shape[1])
    return total
