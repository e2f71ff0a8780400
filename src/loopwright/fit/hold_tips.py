"""Hold the vertices at tips of regions, which else slide off them and cut them short."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.slide_curves import lay_curves
from loopwright.surface.edges import cross_rows, dot_rows
from loopwright.surface.project import unit
from loopwright.types import BoolArray, QuadMesh

_SHARP = np.radians(80.0)  # that a border turns by at a vertex: it is a tip by itself, or ...
_TIP, _BEND = np.radians(120.0), np.radians(35.0)  # ... at two in a row, and at each of them
_TIMES = 1.6  # ... and so many times what a closed one of as many edges turns by everywhere
_TOOTH = 0.4  # of a sharp turn, the other way, beside it: a tooth of a jagged border is no tip
_ON_CURVE = 0.05  # of the mean edge along a curve: what is fixed and lies this near to it is on it


def hold_tips(mesh: QuadMesh) -> QuadMesh:
    """Return the mesh with those vertices fixed at which their curve, as the edges follow it, turns back at a tip.

    A tip is one vertex, or two in a row: round corners and jagged borders are none.
    """
    is_fixed = mesh.is_fixed.copy()
    for index in range(len(mesh.curves)):
        is_fixed[_at_tips(mesh, index)] = True
    return replace(mesh, is_fixed=is_fixed)


def _at_tips(mesh: QuadMesh, index: int) -> NDArray[np.int64]:
    """Return the vertices that slide on a curve and are at a tip of it."""
    curves = lay_curves((mesh.curves[index],))
    closed, length = bool(curves.closed[0]), float(curves.length[0])
    slides: BoolArray = (mesh.vertex_curve == index) & ~mesh.is_fixed
    asked = np.flatnonzero(slides | mesh.is_fixed)
    along, off = curves.locate(0, mesh.positions[asked])
    on = slides[asked] | (off < _ON_CURVE * length / (slides.sum() + 1))
    order = np.argsort(along[on], kind="stable")
    vertices = asked[on][order]
    if len(vertices) < 3:
        return np.zeros(0, np.int64)
    points = mesh.positions[vertices]
    way = unit(np.roll(points, -1, axis=0) - points)
    axis = cross_rows(np.roll(way, 1, axis=0), way)
    turn = np.arccos(np.clip(dot_rows(np.roll(way, 1, axis=0), way), -1.0, 1.0))
    if not closed:
        turn[[0, -1]] = 0.0
    whole = turn.copy()
    least = _TIMES * 2.0 * np.pi / len(vertices) if closed else 0.0
    turn[turn < max(_BEND, least)] = 0.0
    both = np.where((dot_rows(axis, np.roll(axis, -1, axis=0)) > 0) & (turn > 0), turn + np.roll(turn, -1), 0.0)
    both[np.roll(turn, -1) == 0.0] = 0.0
    is_tooth = np.zeros(len(turn), np.bool_)
    for step in (-1, 1):  # beside it the border turns back
        is_back = dot_rows(axis, np.roll(axis, step, axis=0)) < 0
        is_tooth |= is_back & (np.roll(whole, step) > _TOOTH * whole)
    is_tip = ((turn > _SHARP) & ~is_tooth) | (both > _TIP) | (np.roll(both, 1) > _TIP)
    bent: NDArray[np.int64] = vertices[is_tip & slides[vertices]]
    return bent
