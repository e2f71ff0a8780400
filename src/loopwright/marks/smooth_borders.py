"""Smooth the border chains of a net on the surface; junctions and real bends stay.

Each chain is the smoothing spline of its own points: least squares with a
penalty on second differences, whose half-power wavelength is a few edges.
At the mirror plane a chain is continued by its reflection, so it arrives at a
right angle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix, csc_matrix, diags
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from loopwright.numerics.norms import norms
from loopwright.surface.clip import drop_to_plane
from loopwright.surface.edges import EdgeTable, build_edges, row_lengths, triangle_normals, vertex_normals
from loopwright.surface.net import Net, kept_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.relax import take_back_folds
from loopwright.types import BoolArray, FloatArray, IntArray, MirrorPlane

_LEAST_BITE = 0.05  # share of a ring's radius that one pass may take: its square is lost in two
_HELD = 1e6


@dataclass(frozen=True)
class Chains:
    """The kept edges of a net, with how chains run on at their vertices.

    Attributes
    ----------
    through : (t, 3) int32, rows (before, vertex, after) where a chain runs through a vertex.
    ends_on_mirror : (m, 2) int32, rows (vertex in the plane, its neighbour on the border that ends there).
    on_mirror : (n,) bool.
    stiffness : (t,) float64, weight of the bending penalty where a chain runs through a vertex.
    """

    through: IntArray
    ends_on_mirror: IntArray
    on_mirror: BoolArray
    stiffness: FloatArray


def find_chains(net: Net, on_mirror: BoolArray, stiffness: float) -> Chains:
    """Sort out how the borders and open rims of a net run through its vertices."""
    n = len(net.positions)
    table = build_edges(net.triangles, n)
    kept = kept_edges(net, table)
    a, b = table.edges[:, 0], table.edges[:, 1]
    in_plane = kept & table.is_boundary() & on_mirror[a] & on_mirror[b]
    lines = kept & ~in_plane
    inner = lines & ~table.is_boundary()
    lines_at, rims_at = (_neighbours(table, which, n) for which in (lines, lines & ~inner))
    degree = np.bincount(table.edges[lines].ravel(), minlength=n)
    rim_degree = np.bincount(table.edges[lines & ~inner].ravel(), minlength=n)
    plain = np.flatnonzero((degree == 2) & ~on_mirror)
    crossed = np.flatnonzero((degree > 2) & (rim_degree == 2) & ~on_mirror)
    through = [
        np.stack([lines_at[plain, 0], plain, lines_at[plain, 1]], axis=1),
        np.stack([rims_at[crossed, 0], crossed, rims_at[crossed, 1]], axis=1),
    ]
    ends = np.flatnonzero((degree == 1) & on_mirror)
    along = _neighbours(table, in_plane, n)
    count = np.bincount(table.edges[in_plane].ravel(), minlength=n)
    sliding = np.flatnonzero((count == 2) & (degree == 0))
    through.append(np.stack([along[sliding, 0], sliding, along[sliding, 1]], axis=1))
    rows = np.concatenate(through).astype(np.int32)
    length = _chain_lengths(table, kept, (degree == 2) & ~on_mirror, n)
    most = _LEAST_BITE * (length[rows[:, 1]] / (2.0 * np.pi)) ** 4
    return Chains(
        rows,
        np.stack([ends, lines_at[ends, 0]], axis=1).astype(np.int32),
        on_mirror,
        np.minimum(stiffness, most),
    )


def _chain_lengths(table: EdgeTable, kept: BoolArray, inside: BoolArray, n: int) -> FloatArray:
    """Return (n,) the points of the loop that each chain vertex is on; twice the points where the chain has ends."""
    joins = kept & inside[table.edges].all(axis=1)
    a, b = table.edges[joins, 0], table.edges[joins, 1]
    _, chain = connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(n, n)), directed=False)
    points = np.bincount(chain[inside], minlength=int(chain.max()) + 1)
    edges = np.bincount(chain[a], minlength=len(points))
    turns = np.where(edges >= points, points, 2 * (points + 1))
    length: FloatArray = np.where(inside, turns[chain], np.inf).astype(np.float64)
    return length


def _neighbours(table: EdgeTable, which: BoolArray, n: int) -> IntArray:
    """Return (n, 2) the first and last neighbour along the chosen edges, -1 where there is none."""
    a, b = table.edges[which, 0], table.edges[which, 1]
    start, end = np.concatenate([a, b]), np.concatenate([b, a])
    out = np.full((n, 2), -1, dtype=np.int32)
    out[start, 1] = end
    out[start[::-1], 0] = end[::-1]
    return out


def smooth_borders(
    net: Net,
    on_mirror: BoolArray,
    plane: MirrorPlane | None,
    projector: SurfaceProjector,
    *,
    stiffness: float = 6.0,
) -> Net:
    """Move the vertices of borders and open rims onto smooth curves on the sculpt.

    Parameters
    ----------
    on_mirror : (n,) bool, vertices in the mirror plane; they stay in it.
    stiffness : weight of the bending penalty in units of the point spacing.
    """
    chains = find_chains(net, on_mirror, stiffness)
    moving = np.zeros(len(net.positions), dtype=bool)
    moving[chains.through[:, 1]] = True
    moving[chains.ends_on_mirror[:, 0]] = True
    moving &= ~net.is_fixed
    ids = np.flatnonzero(moving)
    if len(ids) == 0:
        return net
    target = _spline(net.positions, chains, moving, plane)
    target = target + 0.5 * _along_chain(target, chains) * moving[:, None]
    normals = vertex_normals(net.positions, net.triangles)
    after = net.positions.copy()
    after[ids] = projector.project(target[ids], normals[ids]).points
    if plane is not None:
        after[on_mirror & moving] = drop_to_plane(plane, after[on_mirror & moving])
    return replace(net, positions=take_back_folds(net.positions, after, net.triangles, min_quality=0.2))


def _spline(points: FloatArray, chains: Chains, moving: BoolArray, plane: MirrorPlane | None) -> FloatArray:
    """Return the minimiser of |p - points|^2 + stiffness |second differences|^2, with what it lost smoothed and added.

    The second pass (Tukey's twicing) keeps rings from shrinking.
    """
    n = len(points)
    rows = np.arange(len(chains.through))
    data = np.sqrt(chains.stiffness)[:, None] * np.array([1.0, -2.0, 1.0])
    bend = coo_matrix((data.ravel(), (np.repeat(rows, 3), chains.through.ravel())), shape=(len(rows), n)).tocsr()
    count = len(chains.ends_on_mirror)
    two = np.tile(np.array([-2.0, 2.0]), count)
    at = (np.repeat(np.arange(count), 2), chains.ends_on_mirror.ravel())
    arrive = coo_matrix((two, at), shape=(count, n)).tocsr()
    free = np.where(moving, 1.0, _HELD)
    flat = _Smoother(csc_matrix(diags(free) + bend.T @ bend + 0.5 * arrive.T @ arrive), free)
    if plane is None:
        return flat(points)
    height = plane.signed_distance(points)
    in_plane = points - height[:, None] * plane.normal
    held = np.where(moving & ~chains.on_mirror, 1.0, _HELD)
    upright = _Smoother(csc_matrix(diags(held) + bend.T @ bend), held)
    level = flat(in_plane)
    level -= ((level - in_plane) @ plane.normal)[:, None] * plane.normal
    return level + upright(height[:, None]) * plane.normal


class _Smoother:
    """Solves with one matrix, twice: what the first solution lost is smoothed and added."""

    def __init__(self, matrix: csc_matrix, weight: FloatArray) -> None:
        self._factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        self._weight = weight[:, None]

    def __call__(self, points: FloatArray) -> FloatArray:
        first: FloatArray = self._factor.solve(np.ascontiguousarray(points * self._weight))
        second: FloatArray = self._factor.solve(np.ascontiguousarray((points - first) * self._weight))
        return first + second


def _along_chain(points: FloatArray, chains: Chains) -> FloatArray:
    """Return (n, 3) how far each chain vertex lies from halfway between its neighbours, along the chain."""
    before, at, after = (points[chains.through[:, k]] for k in range(3))
    direction = after - before
    direction /= np.maximum(norms(direction)[..., None], 1e-300)
    gap = ((0.5 * (before + after) - at) * direction).sum(axis=1)
    out = np.zeros_like(points)
    out[chains.through[:, 1]] = gap[:, None] * direction
    return out


def smallest_angles(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return (m,) the smallest angle of each triangle in degrees."""
    corners = positions[triangles]
    double_area = row_lengths(triangle_normals(positions, triangles))
    sides = np.sort(norms(np.roll(corners, -1, axis=1) - corners), axis=1)
    sine = double_area / np.maximum(sides[:, 1] * sides[:, 2], 1e-300)
    angles: FloatArray = np.rad2deg(np.arcsin(np.clip(sine, 0.0, 1.0)))
    return angles
