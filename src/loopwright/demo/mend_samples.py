"""Make a grid of samples fit for one vertex per cell.

A cell is right if the surface passes it in one sheet: its inner corners hang
together along the cell's edges, so do its outer ones, and no face of it has
its signs in a checker.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from loopwright.errors import InternalError
from loopwright.types import BoolArray, IntArray

SampleArray: TypeAlias = NDArray[np.float32]

MOST_MENDS = 200
_CORNERS = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
_STEPS = np.concatenate([np.eye(3, dtype=np.int64), -np.eye(3, dtype=np.int64)])
_FACES = [[c for c in range(8) if _CORNERS[c][axis] == side] for axis in range(3) for side in (0, 1)]


def crossed_cells(values: SampleArray) -> IntArray:
    """Return (k, 3) indices of the cells that have both signs at their corners."""
    inside = values < 0.0
    count = np.zeros([n - 1 for n in values.shape], np.uint8)
    for i, j, k in _CORNERS:
        count += _corner_view(inside, i, j, k)
    return np.argwhere((count > 0) & (count < 8)).astype(np.int32)


def _corner_view(array: BoolArray, i: int, j: int, k: int) -> BoolArray:
    a, b, c = array.shape
    return array[i : a - 1 + i, j : b - 1 + j, k : c - 1 + k]


def _cell_table() -> BoolArray:
    """Return for each of the 256 sign patterns whether one sheet passes the cell."""
    is_edge = np.abs(_CORNERS[:, None] - _CORNERS[None]).sum(2) <= 1
    table = np.zeros(256, np.bool_)
    for pattern in range(256):
        inside = np.array([(pattern >> c) & 1 for c in range(8)], np.bool_)
        checkered = any(_is_checkered(inside, face) for face in _FACES)
        table[pattern] = not checkered and _is_linked(inside, is_edge) and _is_linked(~inside, is_edge)
    return table


def _is_checkered(inside: BoolArray, face: list[int]) -> bool:
    a, b, c, d = (bool(inside[i]) for i in face)
    return a == d and b == c and a != b


def _is_linked(members: BoolArray, is_edge: BoolArray) -> bool:
    ids = np.flatnonzero(members)
    if len(ids) == 0:
        return True
    reached = np.zeros(8, np.bool_)
    reached[ids[0]] = True
    for _ in range(8):
        reached |= (is_edge & reached[None]).any(1) & members
    return bool((reached == members).all())


def mend_samples(values: SampleArray) -> SampleArray:
    """Return the samples, blurred where needed so that every cell holds one sheet.

    The corners of each wrong cell move half-way to the mean of their six
    neighbours, and a little inwards, the more the more often they were
    touched: details finer than the grid melt, and narrow necks fill.
    """
    table = _cell_table()
    scale = np.float32(np.median(np.abs(np.diff(values, axis=0))[np.diff(values < 0.0, axis=0)]))
    values = np.clip(values, -2.0 * scale, 2.0 * scale)
    touched = np.zeros(values.shape, np.float32)
    values = np.where(values == 0.0, np.float32(1e-6) * scale, values)
    cells = crossed_cells(values)
    for _ in range(MOST_MENDS):
        corners = cells[:, None, :] + _CORNERS
        corners = corners[~table[((_at(values, corners) < 0) << np.arange(8)).sum(1)]]
        if len(corners) == 0:
            return values
        spots = np.unique(corners.reshape(-1, 3), axis=0)
        around = np.stack([_at(values, spots + shift) for shift in _STEPS]).mean(axis=0)
        at = tuple(spots.T)
        values[at] = 0.5 * (values[at] + around) - 0.02 * scale * touched[at]
        values[at] = np.where(values[at] == 0.0, np.float32(1e-6) * scale, values[at])
        touched[at] += 1.0
        cells = np.unique((spots[:, None, :] - _CORNERS).reshape(-1, 3), axis=0)
    raise InternalError("the demo sculpt's surface passes itself within a grid step; ask for more triangles")


def _at(grid: SampleArray, corners: IntArray) -> SampleArray:
    return grid[corners[..., 0], corners[..., 1], corners[..., 2]]
