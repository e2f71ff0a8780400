"""Which ways edges will tend to run: crosses on a surface, along its borders and its bending, smooth between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.spatial import cKDTree

from loopwright.marks.surface_cutter import find_borders
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import distinct_edges
from loopwright.surface.measure_bending import measure_bending
from loopwright.types import FloatArray, IntArray, RegionSurface

_BORDER = 20.0  # how much a border draws, where an edge to a neighbour counts 1
_PULL = 1.0  # how much the bending draws where it does in full
_PRECISION, _MOST = 1e-3, 300  # of the solve, which only a direction is taken from
_LEAST_TURN, _FULL_TURN = 0.4, 1.2  # radians over an edge of the mesh


@dataclass(frozen=True)
class FlowField:
    """One arm of the cross at each vertex of a surface.

    Attributes
    ----------
    arms : (n, 3) unit tangents.
    strength : (n,) from 0, where nothing or nothing clear draws, to about 1.
    tree : of the vertices.
    """

    arms: FloatArray
    strength: FloatArray
    tree: cKDTree

    def near(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return arms and strengths near (k, 3) points."""
        at = self.tree.query(points)[1]
        return self.arms[at], self.strength[at]


def make_flow_field(surface: RegionSurface, reach: FloatArray) -> FlowField:
    """Return the smoothest crosses along the borders and rims of a surface, and along where it bends one way.

    Parameters
    ----------
    reach : (n,) about the edge length that the mesh will have at each vertex.

    References
    ----------
    F. Knoeppel, K. Crane, U. Pinkall, P. Schroeder, "Globally optimal direction fields", ACM TOG 32(4), 2013,
    doi:10.1145/2461912.2462005: smoothness as a quadratic form of the fourth power of a direction.
    """
    positions, triangles = surface.positions, surface.triangles
    first, second = _frames(positions, triangles)
    edges = distinct_edges(triangles)
    tail, head = edges[:, 0], edges[:, 1]
    count = len(positions)
    turn = _turns(positions, first, second, tail, head) ** 4
    wish, weight = _wishes(surface, reach, first, second)
    degree = np.bincount(edges.reshape(-1), minlength=count).astype(np.float64)
    index = np.arange(count)
    rows = np.concatenate([tail, head, index])
    cols = np.concatenate([head, tail, index])
    values = np.concatenate([-np.conj(turn), -turn, degree * (1.0 + 1e-6) + weight + 1e-12])
    system = coo_matrix((values, (rows, cols)), shape=(count, count)).tocsr()
    cross = _solve(system, wish)
    angle = np.angle(cross) / 4.0
    arms = np.cos(angle)[:, None] * first + np.sin(angle)[:, None] * second
    return FlowField(arms, np.minimum(np.abs(cross), 1.0), cKDTree(positions, balanced_tree=False))


def _solve(system: csr_matrix, right: np.ndarray) -> np.ndarray:
    """Solve a Hermitian positive definite system by conjugate gradients, on one thread.

    The numbers are too few for several threads to pay, and a few digits of the solution do.

    References
    ----------
    M. R. Hestenes, E. Stiefel, "Methods of conjugate gradients for solving linear systems", Journal of Research of
    the National Bureau of Standards 49(6), 1952, doi:10.6028/jres.049.044; the diagonal preconditions.
    """
    diagonal = system.diagonal().real
    out, rest = np.zeros_like(right), right
    step = ready = rest / diagonal
    now = goal = _dot(rest, ready)
    for _ in range(_MOST):
        if now <= _PRECISION**2 * goal or now <= 0.0:
            break
        image = system @ step
        share = now / _dot(step, image)
        out, rest = out + share * step, rest - share * image
        ready = rest / diagonal
        before, now = now, _dot(rest, ready)
        step = ready + now / before * step
    return out


def _dot(a: np.ndarray, b: np.ndarray) -> float:
    return float((a.real * b.real + a.imag * b.imag).sum())


def _frames(positions: FloatArray, triangles: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return two unit tangents at right angles at each vertex."""
    p = positions[triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    up: FloatArray = np.zeros_like(positions)
    for corner in range(3):
        np.add.at(up, triangles[:, corner], normal)
    up /= np.maximum(norms(up)[..., None], 1e-300)
    axis = np.eye(3)[np.abs(up).argmin(axis=1)]
    first = np.cross(axis, up)
    first /= np.maximum(norms(first)[..., None], 1e-300)
    return first, np.cross(up, first)


def _turns(positions: FloatArray, first: FloatArray, second: FloatArray, tail: IntArray, head: IntArray) -> np.ndarray:
    """Return for each edge the unit complex number that carries a direction from its tail's frame to its head's."""
    along = positions[head] - positions[tail]
    here = _in_frame(along, first[tail], second[tail])
    there = _in_frame(along, first[head], second[head])
    turn: np.ndarray = there * np.conj(here)
    turn[np.abs(turn) < 0.5] = 1.0
    return turn


def _in_frame(vectors: FloatArray, first: FloatArray, second: FloatArray) -> np.ndarray:
    """Return directions in frames as unit complex numbers; 0 for what stands upright on its frame."""
    flat = np.einsum("ij,ij->i", vectors, first) + 1j * np.einsum("ij,ij->i", vectors, second)
    size = np.abs(flat)
    out: np.ndarray = np.where(size > 1e-9 * norms(vectors), flat / np.maximum(size, 1e-300), 0.0)
    return out


def _wishes(
    surface: RegionSurface, reach: FloatArray, first: FloatArray, second: FloatArray
) -> tuple[np.ndarray, FloatArray]:
    """Return (n,) weighted fourth powers of the wished directions, and their weights."""
    count = len(surface.positions)
    bending = measure_bending(surface.positions, surface.triangles, reach)
    turn = bending.excess * reach
    weight: FloatArray = _PULL * np.clip((turn - _LEAST_TURN) / (_FULL_TURN - _LEAST_TURN), 0.0, 1.0)
    wish = weight * _in_frame(bending.direction, first, second) ** 4
    for edges in (find_borders(surface), surface.flow_edges):
        tail, head = edges[:, 0], edges[:, 1]
        along = surface.positions[head] - surface.positions[tail]
        for ends in (tail, head):
            power = _in_frame(along, first[ends], second[ends]) ** 4
            wish = wish + _BORDER * (np.bincount(ends, power.real, count) + 1j * np.bincount(ends, power.imag, count))
            weight = weight + _BORDER * np.bincount(ends, minlength=count)
    return wish, weight
