"""The smoothest cross field in a piece, aligned to its boundary, with the planned turns built in.

Directions live in polar frames at vertices whose angles are rescaled: the
angles round an interior vertex sum to 2 pi, those inside the piece at a
boundary vertex to quadrants * pi/2.  Both boundary edges of a corner are
then exactly along the cross whatever the angle on the surface is.  Where
each planned corner is within half a quarter turn of the angle on the
surface, the poles that the field gets inside are the planned ones; where
one is farther off, a pole that makes up for it stays at the corner.

References
----------
Knoeppel, Crane, Pinkall, Schroeder, "Globally optimal direction fields",
ACM TOG 32(4), 2013, doi:10.1145/2461912.2462005 (rescaled vertex frames,
smoothness as a quadratic form); the boundary scaling is our own addition.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import SuperLU

from loopwright.numerics.factorize import factorize
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import directed_edges, twin_corners
from loopwright.types import FloatArray, IntArray


@dataclass(frozen=True)
class Frames:
    """Polar frames at the vertices of a piece.

    Attributes
    ----------
    start : (m, 3) angle, in the frame of corner i's vertex, of the edge to corner i+1.
    sweep : (m, 3) rescaled angle of each corner; the edge to corner i-1 is at start + sweep.
    twin : (3m,) the directed edge on the other side, or -1.
    scale : (n,) rescaled angle per angle on the surface.
    """

    start: FloatArray
    sweep: FloatArray
    twin: IntArray
    scale: FloatArray


def corner_angles(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return the (m, 3) inner angles in radians."""
    p = positions[triangles]
    forward = np.roll(p, -1, axis=1) - p
    back = np.roll(p, 1, axis=1) - p
    cross = norms(np.cross(forward, back))
    angles = np.arctan2(cross, np.einsum("tij,tij->ti", forward, back))
    bounded: FloatArray = np.maximum(angles, 1e-4)
    return bounded


def polar_frames(positions: FloatArray, triangles: IntArray, quadrants: IntArray) -> Frames:
    """Lay rescaled polar frames at all vertices (see :class:`Frames`)."""
    count = len(quadrants)
    angles = corner_angles(positions, triangles)
    flat = triangles.reshape(-1)
    total = np.bincount(flat, weights=angles.reshape(-1), minlength=count)
    wished = np.where(quadrants > 0, quadrants * (np.pi / 2), 2 * np.pi)
    scale = wished / total
    sweep = angles * scale[triangles]
    twin = twin_corners(triangles)
    # the corner that the fan at each vertex starts with: on the boundary the one whose outgoing edge has no twin
    size = 3 * len(triangles)
    first = np.full(count, -1, np.int64)
    first[flat[::-1]] = np.arange(size)[::-1]
    rim = np.flatnonzero(twin < 0)
    first[flat[rim]] = rim
    start = np.zeros(size)
    at = first.copy()
    angle = np.zeros(count)
    live = np.ones(count, bool)
    flat_sweep = sweep.reshape(-1)
    while live.any():
        c = at[live]
        start[c] = angle[live]
        angle[live] += flat_sweep[c]
        before = 3 * (c // 3) + (c + 2) % 3  # the directed edge that arrives at this corner
        following = twin[before]  # leaves the same vertex, next counter-clockwise
        at[live] = following
        index = np.flatnonzero(live)
        live[index[(following < 0) | (following == first[index])]] = False
    return Frames(start.reshape(-1, 3), sweep, twin, scale)


def transport(frames: Frames) -> FloatArray:
    """Return (3m,) rotations: an angle at the tail of a directed edge plus this is the angle at its head."""
    leave = frames.start.reshape(-1)
    head = (frames.start + frames.sweep)[:, [1, 2, 0]].reshape(-1)  # edge head -> tail, in the head's frame
    return head + np.pi - leave


def cross_field(
    positions: FloatArray,
    triangles: IntArray,
    quadrants: IntArray,
    frames: Frames,
    *,
    rounds: int = 3,
    guide: FloatArray | None = None,
    guide_weight: FloatArray | None = None,
) -> FloatArray:
    """Return (n,) angles of one arm of the smoothest cross at every vertex.

    Boundary vertices have angle 0: their frame starts along the boundary.

    Parameters
    ----------
    rounds : solves in all; after each the crosses are brought to unit length
        and drawn to once more, which spreads the poles.
    guide, guide_weight : wished angles and their weights, or None.
    """
    count = len(quadrants)
    edges = directed_edges(triangles)
    keep = (frames.twin < 0) | (np.arange(len(edges)) < frames.twin)
    tail, head = edges[keep, 0], edges[keep, 1]
    turn = np.exp(4j * transport(frames)[keep])
    fixed = quadrants > 0
    inner = np.flatnonzero(~fixed)
    cross = np.ones(count, complex)
    if len(inner) == 0:
        return np.zeros(count)
    # the form's rows of inner vertices: what comes of fixed neighbours, whose crosses are 1, goes to the right side
    to_head, to_tail = fixed[tail] & ~fixed[head], ~fixed[tail] & fixed[head]
    drawn = np.concatenate([head[to_head], tail[to_tail]])
    draw = np.concatenate([turn[to_head], np.conj(turn[to_tail])])
    right = (np.bincount(drawn, draw.real, count) + 1j * np.bincount(drawn, draw.imag, count))[inner]
    degree = np.bincount(np.concatenate([tail, head]), minlength=count)[inner].astype(np.float64)
    held = degree
    if guide is not None and guide_weight is not None:
        held = degree + guide_weight[inner]
        right = right + guide_weight[inner] * np.exp(4j * guide[inner])
    both = ~fixed[tail] & ~fixed[head]
    place = np.cumsum(~fixed) - 1
    index, one, other = np.arange(len(inner)), place[tail[both]], place[head[both]]
    rows, cols = np.concatenate([one, other, index]), np.concatenate([other, one, index])
    off = np.concatenate([-np.conj(turn[both]), -turn[both]])

    def form(pull: FloatArray) -> SuperLU:
        entries = (np.concatenate([off, held + pull]), (rows, cols))
        return factorize(csc_matrix(entries, shape=(len(inner), len(inner))))

    pull = 0.02 * degree
    cross[inner] = form(1e-9 * degree).solve(right)
    if rounds > 1:
        again = form(pull)
        for _ in range(rounds - 1):
            unit = cross[inner] / np.maximum(np.abs(cross[inner]), 1e-12)
            cross[inner] = again.solve(right + pull * unit)
    return np.angle(cross) / 4
