"""Semi-sharp subdivision as the levels use it, against a reference library."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import lagrange
import numpy as np
import pytest
from scipy.spatial import cKDTree

from loopwright.detail.change_creases import make_creases
from loopwright.numerics.catmull_clark import subdivide, unique_edges
from loopwright.types import QuadMesh

Maker = Callable[..., QuadMesh]


@pytest.mark.parametrize("value", [0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.25, 4.0])
def test_two_levels_with_random_creases_agree_with_reference_library(make_sphere: Maker, value: float) -> None:
    # Outside reference: lagrange.subdivision.subdivide_mesh; its attribute holds sharpness / 10. One value at a time:
    # the library takes means round a vertex in single precision, which are exact where all are equal.
    rng = np.random.default_rng(int(100 * value))
    mesh = make_sphere(4)
    mesh = replace(mesh, positions=mesh.positions + 0.1 * rng.normal(size=mesh.positions.shape))
    edges = unique_edges(mesh.quads)
    chosen = edges[rng.random(len(edges)) < 0.35].astype(np.int32)
    creases = make_creases(chosen, np.full(len(chosen), value))
    ours, _ = subdivide(mesh.positions, mesh.quads, 2, creases.as_sharpness())
    other = lagrange.SurfaceMesh()
    other.add_vertices(mesh.positions)
    other.add_quads(mesh.quads.astype(np.uint32))
    other.initialize_edges()
    sharp = {tuple(pair) for pair in creases.edges.tolist()}
    ends = [tuple(sorted(int(v) for v in other.get_edge_vertices(edge))) for edge in range(other.num_edges)]
    attribute = other.create_attribute(
        "sharpness",
        element=lagrange.AttributeElement.Edge,
        usage=lagrange.AttributeUsage.Scalar,
        initial_values=np.array([value / 10.0 if pair in sharp else 0.0 for pair in ends]),
    )
    theirs = lagrange.subdivision.subdivide_mesh(other, num_levels=2, edge_sharpness_attr=attribute)
    distance, match = cKDTree(np.asarray(theirs.vertices)).query(ours)
    assert distance.max() < 1e-9
    assert len(np.unique(match)) == len(ours) == theirs.num_vertices
