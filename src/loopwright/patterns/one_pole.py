"""Closed-form fills: a grid for four sides, spokes round one pole for three or five."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from loopwright.types import IntArray


@dataclass(frozen=True)
class PatchMesh:
    """Quads of a patch with the vertices along each of its sides.

    Attributes
    ----------
    quads : (m, 4) int32, counter-clockwise.
    vertex_count : number of vertices.
    sides : per side the vertex ids from its first corner to the next, both included.
    """

    quads: IntArray
    vertex_count: int
    sides: tuple[IntArray, ...]


@lru_cache(maxsize=16)
def doubled_spoke_matrix(side_count: int) -> IntArray:
    """Return the integer matrix M with 2 s = M e for an odd number of sides.

    Spoke k runs from the pole to side k, and side k has e_k = s_(k-1) + s_(k+1)
    edges; for an odd number of sides that system has exactly one solution.

    References
    ----------
    Tarini, "Closed-form quadrangulation of n-sided patches", 2021, arXiv 2101.11569.
    """
    shift = np.roll(np.eye(side_count), 1, axis=1)
    matrix: IntArray = np.rint(2.0 * np.linalg.inv(shift + shift.T)).astype(np.int32)
    return matrix


def solve_spokes(side_counts: Sequence[int]) -> tuple[int, ...] | None:
    """Return the spokes of the one-pole fill of a 3- or 5-sided patch, or None where there is none.

    Examples
    --------
    >>> solve_spokes((6, 4, 3, 5, 4))
    (3, 2, 1, 1, 4)
    """
    if len(side_counts) not in (3, 5):
        return None
    doubled = doubled_spoke_matrix(len(side_counts)) @ np.asarray(side_counts, dtype=np.int64)
    if np.any(doubled % 2) or np.any(doubled < 2):
        return None
    return tuple(int(s) for s in doubled // 2)


def build_grid(columns: int, rows: int) -> PatchMesh:
    """Return a grid of ``columns`` times ``rows`` quads; side 0 is its bottom row of edges."""
    ids = np.arange((columns + 1) * (rows + 1), dtype=np.int32).reshape(rows + 1, columns + 1)
    quads = np.stack([ids[:-1, :-1], ids[:-1, 1:], ids[1:, 1:], ids[1:, :-1]], axis=-1).reshape(-1, 4)
    return PatchMesh(quads, ids.size, (ids[0], ids[:, -1], ids[-1, ::-1], ids[::-1, 0]))


def build_one_pole(spokes: Sequence[int]) -> PatchMesh:
    """Return the fan of grids round one pole, vertex 0.

    Between the spokes k and k + 1 lies a grid of s_k times s_(k+1) quads.  A
    spoke of length 0 puts the pole on that side: the grids beside it vanish.

    Parameters
    ----------
    spokes : edges from the pole to each side.
    """
    count = len(spokes)
    rays: list[IntArray] = []
    used = 1
    for length in spokes:
        rays.append(np.concatenate([[0], np.arange(used, used + length)]).astype(np.int32))
        used += length
    sectors: list[IntArray] = []
    for k in range(count):
        first, second = rays[k], rays[(k + 1) % count]
        grid = np.zeros((first.size, second.size), dtype=np.int32)
        inner = (first.size - 1) * (second.size - 1)
        grid[1:, 1:] = np.arange(used, used + inner).reshape(first.size - 1, second.size - 1)
        grid[:, 0], grid[0, :] = first, second
        used += inner
        sectors.append(grid)
    quads = np.concatenate(
        [np.stack([g[:-1, :-1], g[1:, :-1], g[1:, 1:], g[:-1, 1:]], axis=-1).reshape(-1, 4) for g in sectors]
    )
    sides = tuple(np.concatenate([sectors[k - 1][::-1, -1], sectors[k][-1, 1:]]) for k in range(count))
    return PatchMesh(np.ascontiguousarray(quads), used, sides)
