"""Join two ways in which one mesh was laid: near some quads the one, elsewhere the other, and between both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.fit.link_edges import vertices_around
from loopwright.types import BoolArray, FloatArray, QuadMesh

_WHOLLY, _IN_PART = 1, 6  # rows round the quads up to which the other counts wholly, and less and less


def take_near(mesh: QuadMesh, other: QuadMesh, quads: BoolArray, held: BoolArray) -> tuple[QuadMesh, BoolArray]:
    """Return the mesh with vertices near these quads where the other has them, and (n,) which may have moved.

    Parameters
    ----------
    mesh, other : of the same quads. quads : (m,). held : (n,) vertices that stay.
    """
    share: FloatArray = np.zeros(len(mesh.positions))
    for rows in range(_IN_PART, _WHOLLY - 1, -1):
        near = vertices_around(mesh.quads, quads, rows, count=len(mesh.positions))
        share[near] = 1.0 - (rows - _WHOLLY) / (_IN_PART + 1 - _WHOLLY)
    share[held] = 0.0
    positions = mesh.positions + share[:, None] * (other.positions - mesh.positions)
    return replace(mesh, positions=positions), share > 0.0
