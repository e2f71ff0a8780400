"""Hold a vertex in each sharp bend of a border, so that no edge cuts across the bend."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.border_sides import BorderSides
from loopwright.fit.slide_curves import CurveSet
from loopwright.surface.edges import dot_rows
from loopwright.surface.project import unit
from loopwright.types import BoolArray, FloatArray, QuadMesh

_SHARP = np.cos(np.deg2rad(40.0))  # of the angle between half an edge before and half an edge after: less is a bend
_PER_EDGE = 8  # places looked at
_APART = 0.8  # edges between two bends, at least, and between a bend and its vertex, at most


def hold_bends(mesh: QuadMesh, sides: BorderSides, curves: CurveSet) -> tuple[FloatArray, BoolArray]:
    """Return positions with a vertex in each sharp bend of these border edges, and (n,) which vertices those are.

    It is the nearest end of an edge that slides on the border.
    """
    positions, held = mesh.positions.copy(), np.zeros(len(mesh.positions), np.bool_)
    slides = (mesh.vertex_curve >= 0) & ~mesh.is_fixed & ~mesh.on_mirror
    for index in np.unique(sides.curve):
        part = sides.take(sides.curve == index)
        edge = float((part.along[:, 1] - part.along[:, 0]).mean())
        ends, along = part.ends.ravel(), part.along.ravel()
        for bend in _find_bends(int(index), part, curves, edge):
            gap = np.abs(along - bend)
            nearest = int(gap.argmin())
            if gap[nearest] < _APART * edge and slides[ends[nearest]] and not held[ends[nearest]]:
                positions[ends[nearest]] = curves.position(np.array([index]), np.array([bend]))[0]
                held[ends[nearest]] = True
    return positions, held


def _find_bends(index: int, sides: BorderSides, curves: CurveSet, edge: float) -> list[float]:
    """Return where the curve bends sharply within these edges, the sharpest first."""
    share = (np.arange(_PER_EDGE) + 0.5) / _PER_EDGE
    along = (sides.along[:, :1] + share * (sides.along[:, 1:] - sides.along[:, :1])).ravel()
    which: NDArray[np.int64] = np.full(len(along), index)
    before, here, after = (curves.position(which, along + step) for step in (-0.5 * edge, 0.0, 0.5 * edge))
    straight = dot_rows(unit(here - before), unit(after - here))
    bends: list[float] = []
    for place in np.argsort(straight, kind="stable"):
        if straight[place] >= _SHARP:
            break
        if all(abs(along[place] - other) > _APART * edge for other in bends):
            bends.append(float(along[place]))
    return bends
