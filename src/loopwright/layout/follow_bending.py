"""Where the surface bends much more one way than the other, the crosses of the layout follow that way.

The rim of an ear, a brow or a knuckle is a crest or a valley that edges
shall run along; what is round or flat leaves the crosses free.
"""

from __future__ import annotations

import numpy as np

from loopwright.layout.cross_field import Frames, cross_field
from loopwright.numerics.norms import norms
from loopwright.surface.measure_bending import Bending
from loopwright.types import BoolArray, FloatArray, IntArray

_PULL = 1.0  # of a vertex that draws in full, where an edge to a neighbour counts 1
_LEAST_TURN, _FULL_TURN = 0.4, 1.2  # radians over an edge


def frame_angles(
    positions: FloatArray, triangles: IntArray, frames: Frames, direction: FloatArray, *, among: BoolArray | None = None
) -> FloatArray:
    """Return (n,) the angle, in its vertex's frame, of an arm of the cross that has the (n, 3) direction for one.

    Vertices that no corner with such an arm was found for have nan. ``among`` tells the (m,) triangles that are looked
    at, all if it is None.
    """
    chosen = np.arange(len(triangles)) if among is None else np.flatnonzero(among)
    triangles, start, sweep = triangles[chosen], frames.start[chosen], frames.sweep[chosen]
    p = positions[triangles]
    ahead = np.roll(p, -1, axis=1) - p
    back = np.roll(p, 1, axis=1) - p
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    normal /= np.maximum(norms(normal)[..., None], 1e-300)
    first = ahead / np.maximum(norms(ahead)[..., None], 1e-300)
    second = np.cross(normal[:, None], first)
    corner = np.arctan2(np.einsum("tij,tij->ti", back, second), np.einsum("tij,tij->ti", back, first))
    wished = direction[triangles]
    angle = np.arctan2(np.einsum("tij,tij->ti", wished, second), np.einsum("tij,tij->ti", wished, first))
    out = np.full(len(direction), np.nan)
    for arm in range(4):
        turned = (angle + arm * np.pi / 2) % (2 * np.pi)
        inside = turned <= corner
        share = turned / np.maximum(corner, 1e-9)
        out[triangles[inside]] = (start + share * sweep)[inside]
    return out


def guided_crosses(
    positions: FloatArray,
    triangles: IntArray,
    quadrants: IntArray,
    frames: Frames,
    bending: Bending | None,
    origin: IntArray,
    size: float,
) -> FloatArray:
    """Return (n,) crosses of a piece (see :func:`cross_field`), drawn along the bending of the surface.

    Parameters
    ----------
    bending : of the surface's vertices, or None.
    origin : (n,) vertex of the surface, or a later one that a cut made, which draws nothing.
    size : the wished edge length; the surface draws where its normal turns much more one way over an edge.
    """
    if bending is None:
        return cross_field(positions, triangles, quadrants, frames)
    known = np.minimum(origin, len(bending.excess) - 1)
    turn = bending.excess[known] * size
    weight = _PULL * np.clip((turn - _LEAST_TURN) / (_FULL_TURN - _LEAST_TURN), 0.0, 1.0)
    weight[(origin >= len(bending.excess)) | (origin < 0)] = 0.0
    draws = np.any((weight > 0.0)[triangles], axis=1)
    angle = frame_angles(positions, triangles, frames, bending.direction[known], among=draws)
    weight[~np.isfinite(angle)] = 0.0
    return cross_field(positions, triangles, quadrants, frames, guide=np.nan_to_num(angle), guide_weight=weight)
