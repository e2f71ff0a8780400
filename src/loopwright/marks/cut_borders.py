"""Cut triangles where the label changes, so that borders are chains of edges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.numerics.norms import norms
from loopwright.surface.edges import EdgeTable, build_edges
from loopwright.surface.net import Net
from loopwright.types import BoolArray, FloatArray, IntArray

_LEAST = 0.08  # of an edge: a cut lies at least so far from its ends


def cut_borders(net: Net, values: FloatArray) -> Net:
    """Cut a net along the lines where the two largest values are equal.

    A triangle with two labels is cut by one segment; one with three gets a
    centre point from which three segments go.  Cut points are shared by the
    triangles at an edge, so the result is a manifold of the same topology.

    Parameters
    ----------
    values : (n, r) float64, the largest in a row is the vertex's label.

    Returns
    -------
    net : ``triangle_label`` holds the labels, ``feature_keys`` the borders.
    """
    n = len(net.positions)
    label = values.argmax(axis=1).astype(np.int32)
    table = build_edges(net.triangles, n)
    cut, new_vertex, points, sizes = _cut_points(net, table, label, values)
    corner = label[net.triangles]
    kinds = (corner[:, 0] != corner[:, 1]).astype(int) + (corner[:, 1] != corner[:, 2]) + (corner[:, 2] != corner[:, 0])
    whole, two, three = kinds == 0, kinds == 2, kinds == 3
    triangles, labels = [net.triangles[whole]], [corner[whole, 0]]
    middle = new_vertex[table.triangle_edges]
    part = _cut_in_two(net, corner, middle, two, points)
    triangles.append(part[0])
    labels.append(part[1])
    centres, part = _cut_in_three(net, corner, middle, three, values, n + len(points))
    triangles.append(part[0])
    labels.append(part[1])
    extra = np.concatenate([points, centres])
    centre_size = net.size[net.triangles[three]].mean(axis=1)
    out = replace(
        net,
        positions=np.concatenate([net.positions, extra]),
        triangles=np.ascontiguousarray(np.concatenate(triangles), dtype=np.int32),
        size=np.concatenate([net.size, sizes, centre_size]),
        is_fixed=np.concatenate([net.is_fixed, np.zeros(len(extra), dtype=bool)]),
        triangle_label=np.concatenate(labels).astype(np.int32),
        origin=np.concatenate([net.origin, np.full(len(extra), -1, dtype=np.int32)]),
        feature_keys=np.zeros(0, dtype=np.int64),
    )
    return mark_borders(out)


def mark_borders(net: Net) -> Net:
    """Return the net with its features set to the edges between triangles of different label."""
    table = build_edges(net.triangles, len(net.positions))
    inner = ~table.is_boundary()
    sides = table.edge_triangles
    differs = np.zeros(len(sides), dtype=bool)
    differs[inner] = net.triangle_label[sides[inner, 0]] != net.triangle_label[sides[inner, 1]]
    return replace(net, feature_keys=table.keys[differs])


def _cut_points(
    net: Net, table: EdgeTable, label: IntArray, values: FloatArray
) -> tuple[BoolArray, IntArray, FloatArray, FloatArray]:
    a, b = table.edges[:, 0], table.edges[:, 1]
    cut = label[a] != label[b]
    a, b = a[cut], b[cut]
    at_a = values[a, label[a]] - values[a, label[b]]
    at_b = values[b, label[b]] - values[b, label[a]]
    share = at_a / np.maximum(at_a + at_b, 1e-300)
    share = np.clip(np.where(np.isfinite(share), share, 0.5), _LEAST, 1.0 - _LEAST)
    points = net.positions[a] + share[:, None] * (net.positions[b] - net.positions[a])
    new_vertex = np.full(len(table.edges), -1, dtype=np.int32)
    new_vertex[cut] = len(net.positions) + np.arange(int(cut.sum()), dtype=np.int32)
    return cut, new_vertex, points, 0.5 * (net.size[a] + net.size[b])


def _cut_in_two(
    net: Net, corner: IntArray, middle: IntArray, two: BoolArray, points: FloatArray
) -> tuple[IntArray, IntArray]:
    which = np.flatnonzero(two)
    turn = np.where(corner[which, 1] == corner[which, 2], 0, np.where(corner[which, 2] == corner[which, 0], 1, 2))
    p, q, r = (net.triangles[which, (turn + k) % 3] for k in range(3))
    pq, rp = middle[which, turn], middle[which, (turn + 2) % 3]
    everywhere = np.concatenate([net.positions, points])
    across = norms(everywhere[pq] - everywhere[r]) < norms(everywhere[rp] - everywhere[q])
    third = np.where(across, r, rp)
    fourth = np.where(across, pq, q)
    triangles = np.concatenate(
        [np.stack([p, pq, rp], axis=1), np.stack([pq, q, third], axis=1), np.stack([fourth, r, rp], axis=1)]
    )
    lone, rest = corner[which, turn], corner[which, (turn + 1) % 3]
    return triangles, np.concatenate([lone, rest, rest])


def _cut_in_three(
    net: Net, corner: IntArray, middle: IntArray, three: BoolArray, values: FloatArray, first_id: int
) -> tuple[FloatArray, tuple[IntArray, IntArray]]:
    which = np.flatnonzero(three)
    weights = _equal_point(values, net.triangles[which], corner[which])
    centres = np.einsum("ik,ikj->ij", weights, net.positions[net.triangles[which]])
    centre = first_id + np.arange(len(which), dtype=np.int32)
    triangles, labels = [], []
    for k in range(3):
        p, q = net.triangles[which, k], net.triangles[which, (k + 1) % 3]
        pq = middle[which, k]
        triangles += [np.stack([p, pq, centre], axis=1), np.stack([pq, q, centre], axis=1)]
        labels += [corner[which, k], corner[which, (k + 1) % 3]]
    return centres, (np.concatenate(triangles), np.concatenate(labels))


def _equal_point(values: FloatArray, triangles: IntArray, corner: IntArray) -> FloatArray:
    """Return (k, 3) weights of the point where the three labels' linear values are equal, kept well inside."""
    table = np.stack(
        [np.take_along_axis(values[triangles[:, k]], corner.astype(np.intp), axis=1) for k in range(3)], axis=2
    )
    table = np.where(np.isfinite(table), table, -1.0)
    rows = np.stack([table[:, 0] - table[:, 1], table[:, 1] - table[:, 2], np.ones_like(table[:, 0])], axis=1)
    right = np.tile(np.array([0.0, 0.0, 1.0]), (len(rows), 1))
    good = np.abs(np.linalg.det(rows)) > 1e-12
    weights = np.full((len(rows), 3), 1.0 / 3.0)
    if good.any():
        weights[good] = np.linalg.solve(rows[good], right[good][:, :, None])[:, :, 0]
    weights = np.clip(weights, 0.15, None)
    out: FloatArray = weights / weights.sum(axis=1, keepdims=True)
    return out
