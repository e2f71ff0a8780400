"""Cut a piece in which no way along its crosses was found: on finer triangles, and by the shortest way.

A piece may be so thin that the crosses find no way through its few
triangles, as between two lines that nearly touch.  A cut that brings it
nearer to patches has to be made all the same.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.layout.judge_cuts import is_patch
from loopwright.layout.make_cut import Growing
from loopwright.layout.piece import Piece, side_chains
from loopwright.layout.refine_narrow import split_triangles
from loopwright.layout.trace_cuts import CutGraph, Steps
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import directed_edges, twin_corners
from loopwright.types import FloatArray, IntArray

_ROOM = 8  # triangles that a part needs to be cut further


def refine_piece(piece: Piece, surface: Growing) -> Piece:
    """Return the piece with every inner edge halved; its boundary, which others share, stays.

    The middles are added to the surface.
    """
    twin, edges = twin_corners(piece.triangles), directed_edges(piece.triangles)
    half = np.flatnonzero((twin >= 0) & (np.arange(len(twin)) < twin))
    count = len(piece.origin)
    middle = np.full(len(twin), -1, np.int32)
    middle[half] = middle[twin[half]] = count + np.arange(len(half), dtype=np.int32)
    triangles, _ = split_triangles(piece.triangles, middle.reshape(-1, 3))
    ends = surface.positions[piece.origin[edges[half]]]
    origin = np.concatenate([piece.origin, surface.add(ends.mean(axis=1))]).astype(np.int32)
    quadrants = np.concatenate([piece.quadrants, np.zeros(len(half), np.int32)])
    return replace(piece, triangles=triangles, origin=origin, quadrants=quadrants)


def can_go_on(part: Piece) -> bool:
    """Whether a part is a patch, or has room for further cuts: some triangles, and no side of a single edge."""
    if is_patch(part):
        return True
    sides = [side for loop in part.loops for side in side_chains(loop, part.quadrants)]
    return len(part.triangles) >= _ROOM and all(len(side) > 2 for side in sides)


def shortest_graph(piece: Piece, points: FloatArray) -> CutGraph:
    """Return the graph in which the cuts of a piece are traced, as the crosses give it, but without crosses.

    Ways run along edges of the piece, cost what they are long, and leave and
    arrive in any direction.  No way runs from the boundary straight to the boundary.

    Parameters
    ----------
    points : (n, 3) places of the piece's vertices.
    """
    steps = _ring_steps(piece, points)
    rows, cols, ids = [], [], []
    for leave in range(4):
        for arrive in range(4):
            usable = _has_arm(piece.quadrants[steps.tail], leave) & _has_arm(piece.quadrants[steps.head], arrive)
            usable &= (piece.quadrants[steps.tail] == 0) | (piece.quadrants[steps.head] == 0)
            index = np.flatnonzero(usable)
            rows.append(4 * steps.tail[index].astype(np.int64) + leave)
            cols.append(4 * steps.head[index].astype(np.int64) + arrive)
            ids.append(index)
    row, col, step = np.concatenate(rows), np.concatenate(cols), np.concatenate(ids)
    size = 4 * len(piece.quadrants)
    col = np.where(piece.quadrants[col // 4] > 0, col + size, col)
    order = np.lexsort((col, row))
    row, col, step = row[order], col[order], step[order]
    matrix = csr_matrix((np.maximum(steps.length[step], 1e-12), (row, col)), shape=(2 * size, 2 * size))
    return CutGraph(matrix, steps, row * (2 * size) + col, step.astype(np.int32), piece.quadrants)


def _has_arm(quadrants: IntArray, arm: int) -> np.ndarray:
    """Whether ways may go by an arm: the first of inner vertices, those between the borders of others."""
    return np.where(quadrants == 0, arm == 0, (arm >= 1) & (arm < quadrants))


def _ring_steps(piece: Piece, points: FloatArray) -> Steps:
    edges = directed_edges(piece.triangles)
    rim = edges[twin_corners(piece.triangles) < 0]
    both: IntArray = np.concatenate([edges, rim[:, ::-1]]).astype(np.int32)
    length = norms(points[both[:, 1]] - points[both[:, 0]])
    none = np.zeros(len(both))
    return Steps(both[:, 0], both[:, 1], length, none, none, np.full(len(both), -1, np.int32), none)
