"""A triangulation while it is being remeshed, with what has to be kept."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loopwright.surface.edges import EdgeTable, KeyArray, contains_keys, drop_unused_vertices, edge_keys, key_pairs
from loopwright.types import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Net:
    """A manifold triangulation, its wished edge lengths, and edges that have to stay.

    The boundary is always kept; ``feature_keys`` name further edges (borders
    of regions).  A kept edge may be split or shortened along its own chain,
    never flipped away.

    Attributes
    ----------
    positions : (n, 3) float64.
    triangles : (m, 3) int32.
    size : (n,) float64, wished edge length at each vertex.
    is_fixed : (n,) bool, vertices that are not moved; on a chain they may be removed along it.
    feature_keys : (k,) int64, ascending, see :func:`loopwright.surface.edges.edge_keys`.
    triangle_label : (m,) int32, carried along.
    origin : (n,) int32, the vertex of the first net that each vertex was; for a new
        vertex one near by, or -1 where none is known.
    """

    positions: FloatArray
    triangles: IntArray
    size: FloatArray
    is_fixed: BoolArray
    feature_keys: KeyArray
    triangle_label: IntArray
    origin: IntArray


def make_net(positions: FloatArray, triangles: IntArray, size: FloatArray) -> Net:
    """Return a net without features, fixed vertices or labels."""
    n = len(positions)
    return Net(
        positions,
        triangles,
        size,
        np.zeros(n, dtype=bool),
        np.zeros(0, dtype=np.int64),
        np.zeros(len(triangles), dtype=np.int32),
        np.arange(n, dtype=np.int32),
    )


def kept_edges(net: Net, table: EdgeTable) -> BoolArray:
    """Return (e,) whether an edge is a feature or boundary."""
    return table.is_boundary() | contains_keys(net.feature_keys, table.keys)


def kept_degree(table: EdgeTable, kept: BoolArray, n_vertices: int) -> IntArray:
    """Return (n,) the number of kept edges at each vertex."""
    return np.bincount(table.edges[kept].ravel(), minlength=n_vertices).astype(np.int32)


def compact(net: Net) -> tuple[Net, IntArray]:
    """Drop unused vertices; also return (n,) the new id of each old vertex, -1 where it went."""
    n = len(net.positions)
    triangles, kept = drop_unused_vertices(net.triangles, n)
    renumber = np.full(n, -1, dtype=np.int32)
    renumber[kept] = np.arange(len(kept), dtype=np.int32)
    pairs = renumber[key_pairs(net.feature_keys, n)]
    pairs = pairs[(pairs >= 0).all(axis=1)]
    out = replace(
        net,
        positions=np.ascontiguousarray(net.positions[kept]),
        triangles=triangles,
        size=net.size[kept],
        is_fixed=net.is_fixed[kept],
        feature_keys=np.sort(edge_keys(pairs, len(kept))),
        origin=net.origin[kept],
    )
    return out, renumber
