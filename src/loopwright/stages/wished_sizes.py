"""How long edges shall be on the painted surface, and on the same with lines cut in."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial import cKDTree

from loopwright.counts.read_pins import region_sizes
from loopwright.counts.size_field import size_field
from loopwright.options import BuildOptions
from loopwright.stages.read_ground import Ground
from loopwright.stages.without_names import without_names
from loopwright.types import FloatArray, RegionSurface

_NEAR = 3  # vertices that a new one takes its size from


def face_goal(surface: RegionSurface, wishes: BuildOptions) -> float:
    """Return the wished number of faces of the surface: half the budget where it is a half."""
    return wishes.budget / (2 if surface.mirror is not None else 1)


def wished_sizes(ground: Ground, painted: RegionSurface, wishes: BuildOptions) -> FloatArray:
    """Return (n,) edge lengths by region and shape alone, without painted ones; kept on the sculpt's shelf."""
    goal = face_goal(painted, wishes)
    sizes: Mapping[int, float] = region_sizes(painted, wishes.sizes)
    reads = (without_names(painted), goal, tuple(sizes.items()))
    return ground.shelf.keep("size field", reads, lambda: size_field(painted, goal, sizes=sizes))


def carry_sizes(painted: RegionSurface, sizes: FloatArray, surface: RegionSurface) -> FloatArray:
    """Return the sizes on a surface that lines were cut into; where no line runs they are the same to the last bit.

    Parameters
    ----------
    sizes : (n,) at the vertices of the painted surface, which are the first of the other.
    """
    known = len(painted.positions)
    if len(surface.positions) == known:
        return sizes
    far, near = cKDTree(painted.positions, balanced_tree=False).query(surface.positions[known:], k=_NEAR)
    weight = 1.0 / np.maximum(far, 1e-9 * np.maximum(far[:, -1:], 1e-300))
    fresh = np.exp((np.log(sizes[near]) * weight).sum(axis=1) / weight.sum(axis=1))
    return np.concatenate([sizes, fresh])
