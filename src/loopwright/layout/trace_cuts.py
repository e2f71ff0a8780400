"""Trace candidate cuts through a piece along its cross field.

A cut is a shortest path in a graph whose states are (vertex, arm of the
cross).  Steps go to the ring neighbours and, across the edge opposite, to
the vertex behind it; they cost their length, raised by how far they drift
from the arm.  Turning is impossible within a state, so a cut leaves one
boundary at a right angle and arrives at the other at one.

References
----------
Pietroni, Puppo, Marcias, Scopigno, Cignoni, "Tracing field-coherent quad
layouts", CGF 35(7), 2016, doi:10.1111/cgf.13045 (paths in a graph of
directed states; from the idea).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from loopwright.layout.cross_field import Frames, transport
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import directed_edges
from loopwright.surface.sort_pairs import sort_pairs
from loopwright.types import FloatArray, IntArray

DRIFT_WEIGHT = 6.0
DRIFT_LIMIT = np.radians(50.0)


@dataclass(frozen=True)
class Steps:
    """Directed steps between vertices: ring edges and hinges across one edge.

    ``angle`` is the direction in the tail's frame; ``turn`` carries an angle
    at the tail to the head; ``across`` is the directed edge that a hinge
    crosses, -1 for a ring edge; ``share`` is where on it, from its tail.
    """

    tail: IntArray
    head: IntArray
    length: FloatArray
    angle: FloatArray
    turn: FloatArray
    across: IntArray
    share: FloatArray


def collect_steps(positions: FloatArray, triangles: IntArray, quadrants: IntArray, frames: Frames) -> Steps:
    """Return all steps of a piece (see :class:`Steps`)."""
    edges = directed_edges(triangles)
    turn = transport(frames)
    leave = frames.start.reshape(-1)
    tail, head = edges[:, 0], edges[:, 1]
    length = norms(positions[head] - positions[tail])
    # rim edges exist in one direction only; their reverse is the sweep side of the same triangle
    rim = np.flatnonzero(frames.twin < 0)
    reverse_angle = (frames.start + frames.sweep)[:, [1, 2, 0]].reshape(-1)[rim]
    hinges = _hinges(positions, triangles, frames, turn)
    return Steps(
        tail=np.concatenate([tail, head[rim], hinges.tail]).astype(np.int32),
        head=np.concatenate([head, tail[rim], hinges.head]).astype(np.int32),
        length=np.concatenate([length, length[rim], hinges.length]),
        angle=np.concatenate([leave, reverse_angle, hinges.angle]),
        turn=np.concatenate([turn, -turn[rim], hinges.turn]),
        across=np.concatenate([np.full(len(tail) + len(rim), -1), hinges.across]).astype(np.int32),
        share=np.concatenate([np.zeros(len(tail) + len(rim)), hinges.share]),
    )


def _hinges(positions: FloatArray, triangles: IntArray, frames: Frames, turn: FloatArray) -> Steps:
    """Steps from a vertex straight across the opposite edge of one of its triangles."""
    edges = directed_edges(triangles)
    cross = np.flatnonzero(frames.twin >= 0)
    other = frames.twin[cross]
    apex = triangles[cross // 3, (cross + 2) % 3]
    far = triangles[other // 3, (other + 2) % 3]
    a, b = edges[cross, 0], edges[cross, 1]
    # unfold both triangles into a plane: a at 0, b on the x axis
    axis = positions[b] - positions[a]
    base = norms(axis)
    axis = axis / np.maximum(base, 1e-300)[:, None]

    def flat(p: FloatArray, side: float) -> FloatArray:
        rel = p - positions[a]
        along = np.einsum("ij,ij->i", rel, axis)
        return np.stack([along, side * norms(rel - along[:, None] * axis)], axis=1)

    pa, pf = flat(positions[apex], 1.0), flat(positions[far], -1.0)
    share = pa[:, 1] / np.maximum(pa[:, 1] - pf[:, 1], 1e-300)
    hit = (pa[:, 0] + share * (pf[:, 0] - pa[:, 0])) / np.maximum(base, 1e-300)
    fine = (hit > 0.12) & (hit < 0.88)
    to_a, to_far = -pa, pf - pa
    bend = np.arctan2(to_a[:, 0] * to_far[:, 1] - to_a[:, 1] * to_far[:, 0], (to_a * to_far).sum(axis=1))
    out = 3 * (cross // 3) + (cross + 2) % 3  # directed edge apex -> a
    angle = frames.start.reshape(-1)[out] + bend * frames.scale[apex]
    # a -> far is the directed edge after the twin b -> a
    onward = 3 * (other // 3) + (other + 1) % 3
    carried = turn[out] + turn[onward]
    length = norms(to_far)
    picked = cross.astype(np.int32)
    return Steps(apex[fine], far[fine], length[fine], angle[fine], carried[fine], picked[fine], hit[fine])


@dataclass(frozen=True)
class CutGraph:
    """States (vertex, arm) of a piece and the costs between them.

    State ``4 v + j`` at an inner vertex is arm j; at a boundary vertex it is
    the inward direction j quadrants from the outgoing boundary edge
    (1 <= j < quadrants).  Only boundary states of the starts have steps out.
    ``keys`` are the pairs of states, ascending, as one number each (row *
    number of states + column), and ``step`` is the step between each pair.
    """

    matrix: csr_matrix
    steps: Steps
    keys: np.ndarray
    step: IntArray
    quadrants: IntArray


def build_graph(steps: Steps, field: FloatArray, quadrants: IntArray, *, drift_limit: float = DRIFT_LIMIT) -> CutGraph:
    """Build the state graph; see :class:`CutGraph`."""
    tail, head = steps.tail, steps.head
    quarter = np.pi / 2
    rows, cols, costs, ids = [], [], [], []
    inner_tail, inner_head = quadrants[tail] == 0, quadrants[head] == 0
    for arm in range(4):
        direction = field[tail] + arm * quarter
        drift = _wrap(steps.angle - direction)
        usable = inner_tail | ((arm >= 1) & (arm < quadrants[tail]))
        # at the boundary angles do not wrap: frames there span less than a full turn
        near = np.flatnonzero(usable & (np.abs(drift) < drift_limit))
        ends, is_inner, drift = head[near], inner_head[near], drift[near]
        arrival = direction[near] + steps.turn[near]
        arm_head = np.rint((arrival - field[ends]) / quarter)
        misfit = _wrap(arrival - field[ends] - arm_head * quarter)
        # at a boundary vertex: the state is the inward direction, opposite to the arrival
        inward = np.where(is_inner, arm_head, np.rint(_wrap_positive(arrival + np.pi) / quarter))
        at_head = np.where(is_inner, inward % 4, inward)
        cost = steps.length[near] * (1.0 + DRIFT_WEIGHT * (drift / (np.pi / 4)) ** 2 + (misfit / (np.pi / 4)) ** 2)
        arrives = is_inner | ((inward >= 1) & (inward < quadrants[ends]))
        rows.append(4 * tail[near[arrives]] + arm)
        cols.append(4 * ends[arrives] + at_head[arrives].astype(np.int64))
        costs.append(cost[arrives])
        ids.append(near[arrives])
    row, col = np.concatenate(rows).astype(np.int64), np.concatenate(cols).astype(np.int64)
    cost, ident = np.concatenate(costs), np.concatenate(ids)
    # boundary states are split in two: 4v+j to start from, 4v+j+size to arrive at, so that no path runs through them
    size = 4 * len(quadrants)
    col = np.where(quadrants[col // 4] > 0, col + size, col)
    order = sort_pairs(row, col, 2 * size)
    row, col, cost, ident = row[order], col[order], cost[order], ident[order]
    again = np.flatnonzero((row[1:] == row[:-1]) & (col[1:] == col[:-1])) + 1
    if len(again):  # of several steps between two states the cheapest counts
        order = np.lexsort((cost, col, row))
        row, col, cost, ident = row[order], col[order], cost[order], ident[order]
        row, col, cost, ident = (np.delete(each, again) for each in (row, col, cost, ident))
    matrix = csr_matrix((np.maximum(cost, 1e-12), (row, col)), shape=(2 * size, 2 * size))
    return CutGraph(matrix, steps, row * (2 * size) + col, ident.astype(np.int32), quadrants)


@dataclass(frozen=True)
class Cut:
    """A traced cut: from boundary vertex ``start`` (leaving ``start_arm`` quadrants in) to ``end``."""

    start: int
    start_arm: int
    end: int
    end_arm: int
    cost: float


@dataclass(frozen=True)
class Cuts:
    """Many cuts: (k,) each what :class:`Cut` says of one, and in ``row`` the start that it comes from."""

    row: IntArray
    start: IntArray
    start_arm: IntArray
    end: IntArray
    end_arm: IntArray
    cost: FloatArray

    def __len__(self) -> int:
        return len(self.cost)

    def __getitem__(self, k: int) -> Cut:
        start, start_arm, end, end_arm = (int(each[k]) for each in (self.start, self.start_arm, self.end, self.end_arm))
        return Cut(start, start_arm, end, end_arm, float(self.cost[k]))


def trace_from(graph: CutGraph, starts: Sequence[tuple[int, int]], *, limit: float = np.inf) -> tuple[Cuts, IntArray]:
    """Trace from (vertex, arm) boundary states to every boundary state within ``limit``.

    Returns the cuts, and Dijkstra's predecessors per start for :func:`cut_steps`.
    """
    size = 4 * len(graph.quadrants)
    vertex, arm = np.array(starts, np.int32).reshape(-1, 2).T
    if not len(vertex):
        none: IntArray = np.zeros(0, np.int32)
        return Cuts(none, none, none, none, none, np.zeros(0)), none
    cost, before = dijkstra(graph.matrix, indices=4 * vertex + arm, return_predecessors=True, limit=limit)
    arrived = cost[:, size:]
    row, state = np.nonzero(np.isfinite(arrived))
    leaves = state // 4 != vertex[row]
    row, state = row[leaves].astype(np.int32), state[leaves].astype(np.int32)
    return Cuts(row, vertex[row], arm[row], state // 4, state % 4, arrived[row, state]), before


def cut_steps(graph: CutGraph, cut: Cut, before: IntArray) -> list[int]:
    """Return the step ids of a cut, from its start to its end, given its start's predecessors."""
    size = 4 * len(graph.quadrants)
    states = [size + 4 * cut.end + cut.end_arm]
    source = 4 * cut.start + cut.start_arm
    while states[-1] != source:
        states.append(int(before[states[-1]]))
    run = np.array(states[::-1], np.int64)
    found: list[int] = graph.step[np.searchsorted(graph.keys, run[:-1] * (2 * size) + run[1:])].tolist()
    return found


def _wrap(angle: FloatArray) -> FloatArray:
    return (angle + np.pi) % (2 * np.pi) - np.pi


def _wrap_positive(angle: FloatArray) -> FloatArray:
    return angle % (2 * np.pi)
