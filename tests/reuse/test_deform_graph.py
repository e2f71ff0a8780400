"""The coarse graph and one step of bending it."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix
from scipy.spatial.transform import Rotation

from loopwright.reuse.bend_graph import Pull, bend_graph
from loopwright.reuse.deform_graph import build_deform_graph
from loopwright.reuse.template import template_of_quads
from loopwright.types import FloatArray, QuadMesh


def pull_to(goals: FloatArray, normals: FloatArray, marks: list[int]) -> Pull:
    n = len(goals)
    rows = csr_matrix((np.ones(len(marks)), (np.arange(len(marks)), marks)), shape=(len(marks), n))
    return Pull(goals, normals, np.ones(n), rows, goals[marks])


def test_unmoved_nodes_move_nothing(lump_mesh: QuadMesh) -> None:
    template = template_of_quads(lump_mesh.positions, lump_mesh.quads)
    graph = build_deform_graph(template.positions, template.edges, 60)
    assert np.allclose(graph.apply(graph.identity()), template.positions, atol=1e-13)


def test_equal_affine_maps_are_that_map(lump_mesh: QuadMesh) -> None:
    """All nodes with the same map p -> A p + b: so do all vertices, whatever the weights, as they sum to one."""
    template = template_of_quads(lump_mesh.positions, lump_mesh.quads)
    graph = build_deform_graph(template.positions, template.edges, 60)
    rng = np.random.default_rng(0)
    linear, shift = rng.normal(size=(3, 3)), rng.normal(size=3)
    shifts = graph.nodes @ linear.T + shift - graph.nodes
    maps = np.concatenate([np.broadcast_to(linear.T, (60, 3, 3)), shifts[:, None]], axis=1).reshape(-1, 3)
    assert np.allclose(graph.apply(maps), template.positions @ linear.T + shift, atol=1e-12)


def test_pieces_are_tied_together() -> None:
    rng = np.random.default_rng(0)
    points = np.vstack([rng.normal(size=(40, 3)), rng.normal(size=(40, 3)) + 9.0])
    chain = np.stack([np.arange(39), np.arange(1, 40)], axis=1)
    graph = build_deform_graph(points, np.vstack([chain, chain + 40]).astype(np.int32), 16)
    reached = {0}
    for _ in range(16):
        reached |= {int(b) for a, b in np.vstack([graph.links, graph.links[:, ::-1]]) if int(a) in reached}
    assert reached == set(range(16))


def test_a_turn_costs_nothing(lump_mesh: QuadMesh) -> None:
    """Goals that are a turned copy are reached however stiff the graph is: turning bends nothing."""
    template = template_of_quads(lump_mesh.positions, lump_mesh.quads)
    graph = build_deform_graph(template.positions, template.edges, 40)
    turn = Rotation.from_rotvec([0.3, 0.2, -0.25]).as_matrix()
    goals = template.positions @ turn.T
    normals = template.normals(template.positions) @ turn.T
    maps = graph.identity()
    marks = list(range(0, len(goals), 40))
    for _ in range(30):
        maps = bend_graph(graph, maps, pull_to(goals, normals, marks), stiffness=1.0, mark_weight=10.0, extent=3.0)
    assert np.abs(graph.apply(maps) - goals).max() <= 1e-3
