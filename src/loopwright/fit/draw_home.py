"""Draw quads that lie nearer to another part of the sculpt, such as the other lip, back to their own."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import Fold
from loopwright.fit.part_crossings import quads_astray
from loopwright.numerics.norms import norms
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh

Moves = tuple[NDArray[np.bool_], FloatArray]
"""(k, 4) which corners of a quad a move takes along, and (k, 3) where to, on the side of the half."""

_ROUNDS = 4
_SHARES = (0.5, 1.0, 2.0)  # of the way home
_SIZES = (0.03, 0.07, 0.15, 0.3)  # of an edge
_SPOKES = 8
_TRIED = 40  # moves of one quad that are tested for crossings, at most


def draw_home(
    mesh: QuadMesh,
    fold: Fold,
    crossings: CrossingFinder,
    positions: FloatArray,
    projector: SurfaceProjector,
    spoilt: Callable[[FloatArray], BoolArray],
) -> FloatArray:
    """Return (n, 3) positions with quads that lie nearer to another part of the sculpt drawn to their own.

    Where two parts touch, such as lips at the corner of the mouth, the middle of a quad may lie beyond its own
    by less than the gap. One quad after the other is moved, as a whole or by a corner or a side, by the smallest
    of many moves that leaves fewer such quads, spoils none and lets none cross.
    """
    free = (mesh.vertex_curve < 0) & ~mesh.is_fixed & ~mesh.on_mirror
    own = len(mesh.quads)
    away = np.flatnonzero(quads_astray(fold.unfold_points(positions), fold.quads, projector))
    if not len(away):
        return positions
    crossing = len(crossings.find(positions))
    for _ in range(_ROUNDS):
        before = len(away)
        for quad in away.tolist():
            if quad not in away:
                continue
            vertices = mesh.quads[quad % own]
            near = np.flatnonzero(np.isin(mesh.quads, vertices).any(axis=1))
            near = np.union1d(near, near + own) if len(fold.quads) > own else near
            there = int(np.isin(away, near).sum())
            corners, steps = _ways_home(fold, quad, positions, projector)
            corners = corners & free[vertices]
            left = _left_astray(fold, near, vertices, (corners, steps), positions, projector)
            for k in np.flatnonzero((left.sum(axis=1) < there) & corners.any(axis=1))[:_TRIED].tolist():
                moved = positions.copy()
                moved[vertices[corners[k]]] += steps[k]
                if not spoilt(moved).any() and len(crossings.find(moved)) <= crossing:
                    positions, away = moved, np.union1d(away[~np.isin(away, near)], near[left[k]])
                    break
        if len(away) in (0, before):
            break
    return positions


def _left_astray(
    fold: Fold,
    near: NDArray[np.integer],
    vertices: IntArray,
    moves: Moves,
    positions: FloatArray,
    projector: SurfaceProjector,
) -> BoolArray:
    """Return (k, q) which of the quads near by are astray after each move of these four vertices."""
    corners, steps = moves
    quads = fold.quads[near]
    is_image = quads >= fold.count
    half = quads.copy()
    half[is_image] = fold.source[quads[is_image] - fold.count]
    moved = np.zeros((len(steps), *quads.shape), bool)
    for corner in range(4):
        moved |= corners[:, corner, None, None] & (half == vertices[corner])
    step = np.broadcast_to(steps[:, None, None, :], (*moved.shape, 3))
    if fold.mirror is not None:
        step = np.where(is_image[..., None], _mirrored(fold, steps)[:, None, None, :], step)
    here = fold.unfold_points(positions)[quads]
    out = np.repeat(_astray(here, projector)[None], len(steps), axis=0)
    of_move, touched = np.nonzero(moved.any(axis=2))
    steps_there = np.where(moved[of_move, touched, :, None], step[of_move, touched], 0.0)
    out[of_move, touched] = _astray(here[touched] + steps_there, projector)
    return out


def _astray(corners: FloatArray, projector: SurfaceProjector) -> BoolArray:
    """Return (q,) which of the quads of (q, 4, 3) corners are astray."""
    local = np.arange(4 * len(corners), dtype=np.int32).reshape(-1, 4)
    return quads_astray(corners.reshape(-1, 3), local, projector)


def _ways_home(fold: Fold, quad: int, positions: FloatArray, projector: SurfaceProjector) -> Moves:
    """Return moves that may bring a quad back to its own part of the sculpt, the smallest first.

    All four corners go to the nearest place whose normal agrees; or a corner, a side or all go inward, outward,
    along the quad, or both inward and along it.
    """
    corners = fold.unfold_points(positions)[fold.quads[quad]]
    middle, edge = corners.mean(axis=0), float(norms(corners - np.roll(corners, 1, axis=0)).mean())
    normal = unit(np.cross(corners[2] - corners[0], corners[3] - corners[1])[None])
    way = projector.project(middle[None], normal).points - middle
    along = unit((corners[2] - corners[0])[None])
    across = np.cross(normal, along)
    angle = 2.0 * np.pi * np.arange(_SPOKES)[:, None] / _SPOKES
    circle = np.cos(angle) * along + np.sin(angle) * across
    directions = np.vstack([-normal, normal, circle, unit(circle - normal)])
    chosen = np.vstack([np.eye(4), np.eye(4) + np.roll(np.eye(4), 1, axis=1), np.ones((1, 4))]) > 0.0
    tried = np.concatenate([edge * size * directions for size in _SIZES])
    taken = np.vstack([np.ones((len(_SHARES), 4), bool), np.repeat(chosen, len(tried), axis=0)])
    steps = np.vstack([np.outer(_SHARES, way[0]), np.tile(tried, (len(chosen), 1))])
    order = np.argsort(norms(steps) * taken.sum(axis=1), kind="stable")
    if quad >= len(fold.quads) // 2:
        steps = _mirrored(fold, steps)
    return taken[order], steps[order]


def _mirrored(fold: Fold, steps: FloatArray) -> FloatArray:
    if fold.mirror is None:
        return steps
    mirrored: FloatArray = steps - 2.0 * np.outer(steps @ fold.mirror.normal, fold.mirror.normal)
    return mirrored
