"""Turn a signed field into an even, closed, oriented triangle mesh.

Method: dual polygonisation on a regular grid ("surface nets", Gibson, MICCAI
1998): one vertex in every cell that the surface passes, one quad across every
grid edge that it crosses.  The field is evaluated only near its zero set: a
coarse grid says where that is.

A cell can hold one vertex only if the surface passes it in one sheet; samples
where it does not are mended first, so that the result is always a manifold.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.demo.blend_fields import Field, Points
from loopwright.demo.mend_samples import SampleArray, crossed_cells, mend_samples
from loopwright.errors import InternalError
from loopwright.types import BoolArray, FloatArray, IntArray

FieldFunction: TypeAlias = Callable[[Points], Field]

_Real = TypeVar("_Real", np.float32, np.float64)

COARSE = 4  # grid steps in one step of the coarse grid
CHUNK = 1 << 15  # points evaluated at once: what fits the cache
STEEP = 2.2  # the field is taken to change by no more than this per unit of length near its zero set


def evaluate_field(field: FieldFunction, points: NDArray[_Real]) -> NDArray[_Real]:
    """Return (n,) values of ``field`` at (n, 3) points, in the points' precision, chunk by chunk."""
    out = np.empty(len(points), points.dtype)
    for start in range(0, len(points), CHUNK):
        part = points[start : start + CHUNK]
        out[start : start + CHUNK] = field(Points(*np.ascontiguousarray(part.T)))
    return out


def polygonise_field(
    field: FieldFunction, lower: FloatArray, upper: FloatArray, step: float
) -> tuple[FloatArray, IntArray]:
    """Return vertices and triangles of the zero set of ``field``.

    Parameters
    ----------
    field : negative inside; its zero set must lie inside the box.
    lower, upper : (3,) corners of the box.
    step : grid spacing, the edge length of the quads before splitting.

    Returns
    -------
    positions : (n, 3) float64.
    triangles : (m, 3) int32, counter-clockwise seen from where the field is positive.

    Raises
    ------
    InternalError
        where the body reaches out of the box, or is too ragged for the step.
    """
    values = _sample_near_surface(field, lower, upper, step)
    if any((np.take(values, side, axis) < 0.0).any() for axis in range(3) for side in (0, 1, -2, -1)):
        raise InternalError("the body to polygonise reaches out of its box; give it a larger one")
    values = mend_samples(values)
    positions, quads = _net(values)
    positions, quads = _keep_largest(lower + positions * step, quads)
    return positions, _split(positions, quads)


def _sample_near_surface(field: FieldFunction, lower: FloatArray, upper: FloatArray, step: float) -> SampleArray:
    """Return the grid of samples; away from the surface only their sign is right."""
    blocks = np.ceil((upper - lower) / (COARSE * step)).astype(int)
    grids = np.meshgrid(*[np.arange(n) for n in blocks], indexing="ij")
    index = np.stack([g.ravel() for g in grids], axis=1)
    middle = (lower + (index + 0.5) * (COARSE * step)).astype(np.float32)
    coarse = evaluate_field(field, middle)
    near = np.abs(coarse) < STEEP * COARSE * step * 0.5 * np.sqrt(3.0)
    values = np.repeat(coarse.reshape(blocks), COARSE, axis=0)
    values = np.repeat(np.repeat(values, COARSE, axis=1), COARSE, axis=2)
    inner = np.stack([g.ravel() for g in np.meshgrid(*[np.arange(COARSE)] * 3, indexing="ij")], axis=1)
    fine = (index[near][:, None, :] * COARSE + inner).reshape(-1, 3)
    sampled = evaluate_field(field, (lower + fine * step).astype(np.float32))
    values[fine[:, 0], fine[:, 1], fine[:, 2]] = sampled
    return values


def _net(values: SampleArray) -> tuple[FloatArray, IntArray]:
    """Return one vertex per crossed cell, in grid units, and the quads between them."""
    cells = crossed_cells(values)
    number = np.full([n - 1 for n in values.shape], -1, np.int32)
    number[cells[:, 0], cells[:, 1], cells[:, 2]] = np.arange(len(cells), dtype=np.int32)
    total = np.zeros((len(cells), 3))
    count = np.zeros(len(cells))
    quads = []
    for axis in range(3):
        start, place, is_rising = _crossings(values, axis)
        around = _cells_around(start, axis)
        ids = number[around[..., 0], around[..., 1], around[..., 2]]
        for column in range(4):
            count += np.bincount(ids[:, column], minlength=len(cells))
            for d in range(3):
                total[:, d] += np.bincount(ids[:, column], weights=place[:, d], minlength=len(cells))
        quads.append(np.where(is_rising[:, None], ids, ids[:, ::-1]))
    return total / count[:, None], np.concatenate(quads)


def _crossings(values: SampleArray, axis: int) -> tuple[IntArray, FloatArray, BoolArray]:
    """Return start nodes, crossing points and direction of the crossed grid edges along an axis."""
    first = np.moveaxis(values, axis, 0)[:-1]
    second = np.moveaxis(values, axis, 0)[1:]
    start = np.argwhere((first < 0.0) != (second < 0.0))
    a = first[tuple(start.T)].astype(np.float64)
    b = second[tuple(start.T)].astype(np.float64)
    rest = [d for d in range(3) if d != axis]
    nodes = np.empty_like(start)
    nodes[:, axis], nodes[:, rest[0]], nodes[:, rest[1]] = start.T
    place = nodes.astype(np.float64)
    place[:, axis] += a / (a - b)
    return nodes.astype(np.int32), place, a < b


def _cells_around(start: IntArray, axis: int) -> IntArray:
    """Return (k, 4, 3) the four cells round each grid edge, counter-clockwise seen from its end."""
    u, v = (axis + 1) % 3, (axis + 2) % 3
    shift = np.zeros((4, 3), np.int32)
    shift[[0, 1], v] = -1
    shift[[0, 3], u] = -1
    return start[:, None, :] + shift


def _keep_largest(positions: FloatArray, quads: IntArray) -> tuple[FloatArray, IntArray]:
    """Return the largest connected piece: what is left out are bubbles of one grid step."""
    pairs = np.concatenate([quads[:, :2], quads[:, 1:3], quads[:, 2:]])
    graph = csr_matrix((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(positions),) * 2)
    _, piece = connected_components(graph, directed=False)
    keep = piece == np.bincount(piece).argmax()
    number = np.cumsum(keep) - 1
    return positions[keep], number[quads[keep[quads[:, 0]]]].astype(np.int32)


def _split(positions: FloatArray, quads: IntArray) -> IntArray:
    """Return the quads cut along their shorter diagonals."""
    p = positions[quads]
    first = ((p[:, 0] - p[:, 2]) ** 2).sum(1) <= ((p[:, 1] - p[:, 3]) ** 2).sum(1)
    a = np.where(first[:, None], quads[:, [0, 1, 2]], quads[:, [1, 2, 3]])
    b = np.where(first[:, None], quads[:, [0, 2, 3]], quads[:, [1, 3, 0]])
    return np.ascontiguousarray(np.stack([a, b], axis=1).reshape(-1, 3).astype(np.int32))
