"""Links of quad meshes against brute force and against counts that follow from the shape."""

from __future__ import annotations

import numpy as np
import pytest
from tests.edit.conftest import cubed_sphere, grid, shuffled, torus

from loopwright.edit.quad_links import link_quads
from loopwright.errors import InternalError
from loopwright.types import QuadMesh


def test_twins_agree_with_brute_force(any_mesh: QuadMesh) -> None:
    mesh = any_mesh
    links = link_quads(mesh.quads, len(mesh.positions))
    ways = {(int(q[i]), int(q[(i + 1) % 4])): 4 * f + i for f, q in enumerate(mesh.quads) for i in range(4)}
    for (a, b), half in ways.items():
        assert links.twin[half] == ways.get((b, a), -1)
        assert sorted((a, b)) == links.edges[links.quad_edge.ravel()[half]].tolist()
    neighbours: dict[int, set[int]] = {}
    for a, b in ways:
        neighbours.setdefault(a, set()).add(b)
        neighbours.setdefault(b, set()).add(a)
    assert links.valence.tolist() == [len(neighbours.get(v, ())) for v in range(len(mesh.positions))]


@pytest.mark.parametrize(
    ("mesh", "lengths"),
    [
        # A grid of c x r quads: r strips that cross c + 1 edges, c that cross r + 1.
        (grid(5, 3), [6] * 3 + [4] * 5),
        (torus(9, 6), [9] * 6 + [6] * 9),
        # A cubed sphere: three bundles of n strips, each round four faces.
        (cubed_sphere(4), [16] * 12),
    ],
)
def test_strips_of_known_shapes(mesh: QuadMesh, lengths: list[int]) -> None:
    strips = link_quads(mesh.quads, len(mesh.positions)).strips
    assert sorted(np.bincount(strips.of_edge).tolist()) == sorted(lengths)


def test_every_quad_is_crossed_twice_and_rails_stay_on_their_side(any_mesh: QuadMesh) -> None:
    links = link_quads(any_mesh.quads, len(any_mesh.positions))
    strips = links.strips
    assert np.array_equal(strips.of_edge[links.quad_edge[:, 0]], strips.of_edge[links.quad_edge[:, 2]])
    assert np.array_equal(strips.of_edge[links.quad_edge[:, 1]], strips.of_edge[links.quad_edge[:, 3]])
    total = sum(len(links.strip_quads(s)) for s in range(strips.count))
    assert total == 2 * len(any_mesh.quads)  # none of these strips crosses itself
    left = links.edges[np.arange(len(links.edges)), strips.side]
    for quad, edges in zip(any_mesh.quads, links.quad_edge, strict=True):
        for i in (0, 1):
            near, far = int(left[edges[i]]), int(left[edges[i + 2]])
            assert (near == quad[i]) == (far == quad[(i + 3) % 4])


def test_loops_of_known_shapes() -> None:
    for mesh, lengths in ((torus(9, 6), {9, 6}), (grid(5, 3), {5, 3, 16}), (cubed_sphere(4), {16, 4})):
        links = link_quads(mesh.quads, len(mesh.positions))
        found = set()
        for edge in range(len(links.edges)):
            loop, is_closed = links.trace_loop(edge)
            assert edge in loop
            assert len(np.unique(loop)) == len(loop)
            found.add(len(loop))
            ends = np.bincount(links.edges[loop].ravel())
            assert sorted(np.unique(ends[ends > 0]).tolist()) == ([2] if is_closed else [1, 2])
            assert sorted(links.trace_loop(int(loop[-1]))[0].tolist()) == sorted(loop.tolist())
        assert found == lengths


def test_links_do_not_depend_on_the_order(any_mesh: QuadMesh) -> None:
    def tally(mesh: QuadMesh) -> list[int]:
        return sorted(np.bincount(link_quads(mesh.quads, len(mesh.positions)).strips.of_edge).tolist())

    assert tally(any_mesh) == tally(shuffled(any_mesh, 3))


def test_broken_meshes_are_refused() -> None:
    mesh = grid(2, 1)
    with pytest.raises(InternalError, match="opposite ways"):
        link_quads(np.array([mesh.quads[0], mesh.quads[1][::-1]]), len(mesh.positions))
    with pytest.raises(InternalError, match="More than two"):
        link_quads(np.vstack([mesh.quads, mesh.quads[:1], mesh.quads[:1]]), len(mesh.positions))
    band = np.array([[0, 1, 3, 2], [2, 3, 5, 4], [4, 5, 0, 1]], np.int32)  # a twisted band of three quads
    with pytest.raises(InternalError, match="opposite ways|one-sided"):
        _ = link_quads(band, 6).strips
