"""Pieces: cutting open keeps what Euler's formula counts, and planned turns fix the sum of the poles."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra
from tests.conftest import SURFACES, flat_disc, globe, link, ring_torus, surface_of, tube

from loopwright.errors import InternalError
from loopwright.layout.open_along import open_along
from loopwright.layout.piece import Piece, boundary_loops, cut_open, extract, side_chains
from loopwright.surface.half_edges import arc_length, directed_edges, edge_keys, twin_corners
from loopwright.types import FloatArray, IntArray

NETS: dict[str, tuple[Callable[[], tuple[FloatArray, IntArray]], int, int]] = {
    "sphere": (lambda: globe(6), 2, 0),
    "torus": (lambda: ring_torus(12, 8), 0, 0),
    "disc": (lambda: flat_disc(5), 1, 1),
    "tube": (lambda: tube(10, 4), 0, 2),
}
NO_CUT = np.zeros(0, np.int64)


def as_piece(net: tuple[FloatArray, IntArray], corners: int = 0) -> Piece:
    points, triangles = net
    quadrants = np.zeros(len(points), np.int32)
    for loop in boundary_loops(triangles):
        quadrants[loop] = 2
        quadrants[loop[np.arange(corners) * (len(loop) // max(corners, 1))]] = 1
    return Piece(triangles, np.arange(len(points), dtype=np.int32), quadrants, 0)


@pytest.mark.parametrize("name", NETS)
def test_euler_and_loops_of_known_shapes(name: str) -> None:
    make, euler, rims = NETS[name]
    piece = as_piece(make())
    assert piece.euler == euler
    assert len(piece.loops) == rims


@pytest.mark.parametrize("name", NETS)
def test_loops_run_along_the_rim_with_the_surface_on_the_left(name: str) -> None:
    points, triangles = NETS[name][0]()
    edges = {tuple(e) for e in directed_edges(triangles).tolist()}
    rim = {(a, b) for a, b in edges if (b, a) not in edges}
    walked = [
        (int(a), int(b)) for loop in boundary_loops(triangles) for a, b in zip(loop, np.roll(loop, -1), strict=True)
    ]
    assert len(walked) == len(rim) and set(walked) == rim


def test_twins_are_mutual_and_reversed() -> None:
    _, triangles = flat_disc(5)
    twin, edges = twin_corners(triangles), directed_edges(triangles)
    inner = np.flatnonzero(twin >= 0)
    assert (twin[twin[inner]] == inner).all()
    assert (edges[twin[inner]] == edges[inner][:, ::-1]).all()


def test_index_sum_follows_from_euler() -> None:
    # 4 chi - sum of (2 - quadrants): derived from Euler's formula.  A disc with N corners: 4 - N.
    for corners in range(7):
        assert as_piece(flat_disc(7), corners).index_sum == 4 - corners
    assert as_piece(tube(12, 4)).index_sum == 0
    assert as_piece(tube(12, 4), 2).index_sum == -4


@pytest.mark.parametrize("name", NETS)
def test_no_cut_changes_nothing(name: str) -> None:
    points, triangles = NETS[name][0]()
    wedges, origin, component = cut_open(triangles, NO_CUT, len(points))
    assert (origin == np.arange(len(points))).all() and (wedges == triangles).all() and (component == 0).all()


@pytest.mark.parametrize("name", SURFACES)
def test_cutting_along_borders_gives_manifold_pieces_of_one_region(name: str) -> None:
    surface = surface_of(name)
    count = len(surface.positions)
    edges = np.sort(directed_edges(surface.triangles), axis=1)
    twin = twin_corners(surface.triangles)
    region = np.repeat(surface.triangle_region, 3)
    border = (twin >= 0) & (region != region[np.maximum(twin, 0)])
    wedges, origin, component = cut_open(surface.triangles, edge_keys(edges[border], count), count)
    assert (origin[wedges] == surface.triangles).all()
    euler = 0
    for c in range(int(component.max()) + 1):
        local, below, _ = extract(wedges, origin, component == c)
        links = link(local, len(below))  # checks that the piece is a manifold
        assert links.components == 1
        assert len(set(surface.triangle_region[component == c].tolist())) == 1
        assert links.rims == len(boundary_loops(local))
        euler += links.euler
    # sum over the pieces of chi = chi + (copies of vertices and edges along the cuts) (derived)
    cut_edges = len(np.unique(edges[border], axis=0))
    assert euler == link(surface.triangles, count).euler + (len(origin) - count) - cut_edges


def test_a_region_that_meets_itself_is_cut_into_wedges() -> None:
    points, triangles = globe(6)
    corner = points[triangles].mean(axis=1)
    opposite = corner[:, 0] * corner[:, 1] > 0  # two pairs of lunes that meet at both poles only
    edges = np.sort(directed_edges(triangles), axis=1)
    twin = twin_corners(triangles)
    label = np.repeat(opposite, 3)
    keys = edge_keys(edges[label != label[twin]], len(points))
    wedges, origin, component = cut_open(triangles, keys, len(points))
    assert component.max() + 1 == 4
    assert (np.bincount(origin)[[0, len(points) - 1]][:1] == 4).all()  # the pole falls into four wedges
    assert wedges.max() + 1 == len(origin)


def way_across(triangles: IntArray, rim: IntArray, start: int, end: int) -> list[int]:
    """A shortest chain of edges between two rim vertices that touches the rim nowhere else."""
    edges = directed_edges(triangles)
    allowed = ~np.isin(edges, np.setdiff1d(rim, [start, end])).any(axis=1)
    allowed &= ~np.isin(edges, [start, end]).all(axis=1)
    tail, head = edges[allowed].T
    size = int(triangles.max()) + 1
    graph = csr_matrix((np.ones(len(tail)), (tail, head)), shape=(size, size))
    before = dijkstra(graph, directed=False, indices=start, return_predecessors=True)[1]
    way = [end]
    while way[-1] != start:
        way.append(int(before[way[-1]]))
    return way[::-1]


@pytest.mark.parametrize("seed", range(6))
def test_opening_along_a_path_is_cutting_along_its_edges(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points, triangles = flat_disc(7)
    triangles, rim = rng.permutation(triangles), boundary_loops(triangles)[0]
    start, end = rng.choice(rim, 2, replace=False).tolist()
    path = way_across(triangles, rim, start, end)
    keys = edge_keys(np.array([path[:-1], path[1:]], np.int32).T, len(points))
    opened = open_along(triangles, path, len(points))
    wedges, origin, component = cut_open(triangles, keys, len(points))
    assert opened is not None and component.max() == 1
    assert (opened.wedges == wedges).all() and (opened.origin == origin).all()
    assert (origin[opened.first] == np.arange(len(points))).all()
    sides = directed_edges(wedges)[twin_corners(wedges) < 0]
    touching = sides[np.isin(origin[sides], path).any(axis=1)]
    assert sorted(opened.rim.tolist()) == sorted(touching.tolist())
    assert open_along(triangles, [start, 0], len(points)) is None  # the middle is not next to the rim


def test_sides_lie_between_corners_and_cover_the_loop() -> None:
    piece = as_piece(flat_disc(8), 5)
    sides = side_chains(piece.loops[0], piece.quadrants)
    assert len(sides) == 5
    assert [s[0] for s in sides[1:]] + [sides[0][0]] == [s[-1] for s in sides]
    assert sorted(np.concatenate([s[:-1] for s in sides]).tolist()) == sorted(piece.loops[0].tolist())
    (closed,) = side_chains(piece.loops[0], np.full(len(piece.origin), 2))
    assert closed[0] == closed[-1] and len(closed) == len(piece.loops[0]) + 1


def test_what_is_no_manifold_is_refused() -> None:
    with pytest.raises(InternalError, match="oriented manifold"):
        twin_corners(np.array([[0, 1, 2], [0, 1, 3]], np.int32))
    with pytest.raises(InternalError, match="twice through one vertex"):
        boundary_loops(np.array([[0, 1, 2], [0, 3, 4]], np.int32))


def test_running_length() -> None:
    assert arc_length(np.array([[0.0, 0, 0], [3, 4, 0], [3, 4, 2]])).tolist() == [0.0, 5.0, 7.0]
