"""Painted pieces that are one on the sculpt stay one, however thin they get, unless that parts others."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.sparse import coo_matrix, csr_matrix

from loopwright.marks.join_parted import join_parted
from loopwright.marks.keep_apart import keep_apart
from loopwright.marks.options import MarksOptions
from loopwright.marks.painted_pieces import PaintedPieces, most_held, painted_pieces, spread
from loopwright.marks.region_surface import make_region_surface
from loopwright.types import BoolArray, FloatArray, IntArray

RED, BLUE, BLACK = np.array([[200.0, 60, 60], [60, 160, 220], [20, 20, 20]])
LIP = "#c83c3c"


def away_from(points: FloatArray, tilt: float) -> FloatArray:
    """Return the angles to a place so far from the pole."""
    place = np.array([np.sin(tilt), 0.0, np.cos(tilt)])
    return np.asarray(np.arccos(np.clip(points @ place, -1.0, 1.0)), np.float64)


@pytest.mark.parametrize("thinnest", [0.02, 0.03])
def test_a_ring_that_gets_thinner_than_the_net_stays_closed(tools: Any, thinnest: float) -> None:
    # the opening is off the ring's middle, so that the ring is widest on one side and thinnest on the other
    points, triangles = tools.icosphere(6)
    tilt = 0.12
    opening = 0.4 - tilt - thinnest
    ring = np.where(away_from(points, 0.0)[:, None] < 0.4, RED, BLUE)
    colors = np.where(away_from(points, tilt)[:, None] < opening, BLACK, ring)
    options = MarksOptions(mirror="none", proxy_faces=1500, open_colors=((20, 20, 20),))
    surface, _ = make_region_surface(tools.paint(points, triangles, colors), options=options)
    tools.assert_laws(surface)
    pieces = tools.region_pieces(surface)
    assert len(pieces[LIP]) == 1
    # closed, it keeps the rest of the sphere off the opening: of the two edges of the ring, one is all of the rim
    others = surface.triangle_region != [r.name for r in surface.regions].index(LIP)
    assert not np.isin(surface.triangles[others], rim_vertices(surface.triangles)).any()


def rim_vertices(triangles: IntArray) -> IntArray:
    pairs = np.sort(np.concatenate([triangles[:, [k, (k + 1) % 3]] for k in range(3)]), axis=1)
    edges, count = np.unique(pairs, axis=0, return_counts=True)
    rim: IntArray = np.unique(edges[count == 1])
    return rim


def grid_graph(rows: int, columns: int) -> csr_matrix:
    """Return the graph of a grid of unit squares with one diagonal each."""
    at = np.arange(rows * columns).reshape(rows, columns)
    pairs = [(at[:-1], at[1:]), (at[:, :-1], at[:, 1:]), (at[:-1, :-1], at[1:, 1:])]
    a, b = (np.concatenate([pair[k].ravel() for pair in pairs]) for k in (0, 1))
    half = coo_matrix((np.ones(len(a)), (a, b)), shape=(at.size, at.size)).tocsr()
    return half + half.T


def two_blobs(columns: slice) -> tuple[IntArray, csr_matrix, IntArray]:
    """Return labels of a grid with two blobs of label 1 in these columns, what one piece holds, and the piece's label.

    Between them lies label 0, of whose vertices in the middle row the piece holds a third.
    """
    label = np.zeros((9, 15), np.int32)
    label[3:6, columns] = 1
    held = np.where(label == 1, 1.0, 0.0)
    label[3:6, 6:9] = 0
    held[3:6, 6:9] = [[0.0], [1.0 / 3.0], [0.0]]
    return label.ravel(), csr_matrix(held.ravel()[None]), np.array([1], np.int32)


def test_parts_of_a_piece_are_joined_where_it_has_a_share() -> None:
    label, weights, colors = two_blobs(slice(2, 13))
    joined = join_parted(grid_graph(9, 15), label, weights, colors, 9.0)
    assert np.flatnonzero(joined != label).tolist() == [4 * 15 + 6, 4 * 15 + 7, 4 * 15 + 8]


def test_a_bridge_that_would_part_another_label_or_is_too_long_is_left_out() -> None:
    graph = grid_graph(9, 15)
    label, weights, colors = two_blobs(slice(0, 15))  # from end to end: the gap alone joins what is on both sides
    assert np.array_equal(join_parted(graph, label, weights, colors, 9.0), label)
    label, weights, colors = two_blobs(slice(2, 13))
    assert np.array_equal(join_parted(graph, label, weights, colors, 2.0), label)


def test_of_pieces_that_do_not_touch_the_one_between_keeps_them_apart() -> None:
    # a wall of label 1 between labels 0 and 2 has a hole, where it still has a share of one column
    graph = grid_graph(6, 7)
    edges = np.stack(graph.nonzero(), axis=1).astype(np.int32)
    label = np.repeat([[0, 0, 0, 1, 2, 2, 2]], 6, axis=0).astype(np.int32)
    held = np.stack([label == k for k in range(3)]).astype(np.float64)
    label[2:4, 3] = 2
    held[:, 2:4, 3] = [[0.0], [0.4], [0.6]]
    touch = np.array([[True, True, False], [True, True, True], [False, True, True]])
    colors, shares = np.arange(3, dtype=np.int32), csr_matrix(held.reshape(3, -1))
    piece = most_held(shares, colors, label.ravel(), np.arange(42, dtype=np.int32))
    none = np.zeros(3, bool)

    def keep(touch: BoolArray, is_open: BoolArray) -> IntArray:
        painted = PaintedPieces(shares, colors, touch, is_open)
        return keep_apart(edges, label.ravel(), piece, painted).reshape(6, 7)

    kept = keep(touch, colors == 0)
    assert (kept[:, 3] == 1).all() and (kept != label).sum() == 2
    for kept in (keep(touch | True, colors == 0), keep(touch, none), keep(touch, colors == 1)):
        assert np.array_equal(kept, label)


def test_blank_vertices_take_the_nearest_piece() -> None:
    chain = np.array([[0, 1], [1, 2], [2, 3], [3, 4], [4, 5], [6, 7]], np.int32)
    found = spread(chain, np.array([7, -1, -1, -1, -1, 3, -1, -1], np.int32)).tolist()
    assert found == [7, 7, 7, 3, 3, 3, -1, -1]
    assert spread(chain[-1:], np.array([-1] * 8, np.int32)).tolist() == [-1] * 8


def test_strokes_that_are_no_pieces_of_the_net_do_not_come_back(tools: Any) -> None:
    # an outline between two halves, thinner than a net of so few faces shows anywhere
    points, triangles = tools.icosphere(6)
    half = np.where(points[:, :1] > 0.0, RED, BLUE)
    colors = np.where(np.abs(points[:, :1]) < 0.012, BLACK, half)
    options = MarksOptions(mirror="none", proxy_faces=1500)
    surface, report = make_region_surface(tools.paint(points, triangles, colors), options=options)
    assert len(surface.regions) == 2 and report.dropped_specks > 0


def test_a_piece_of_the_same_colour_is_not_joined_to_another() -> None:
    label, weights, colors = two_blobs(slice(2, 13))
    left, right = weights.toarray().reshape(9, 15).copy(), weights.toarray().reshape(9, 15).copy()
    left[:, 8:], right[:, :7] = 0.0, 0.0
    left[4, 8], right[4, 6] = 0.1, 0.1  # each has a little of what lies beside the other
    both = csr_matrix(np.stack([left.ravel(), right.ravel()]))
    assert np.array_equal(join_parted(grid_graph(9, 15), label, both, np.array([1, 1], np.int32), 9.0), label)


def test_painted_pieces_are_found_by_colour_and_contact() -> None:
    # a pair of one colour, a blank vertex, a pair of another colour, and the first colour again by itself
    chain = np.array([[0, 1], [1, 2], [2, 3], [3, 4], [4, 5]], np.int32)
    label = np.array([0, 0, -1, 1, 1, 0], np.int32)
    area, cluster = np.array([1.0, 2.0, 9.0, 1.0, 1.0, 4.0]), np.array([0, 0, 1, 1, 2, 2], np.int32)
    is_open = np.array([False, True])

    def find(least: float, net_label: list[int]) -> tuple[PaintedPieces, IntArray]:
        parts = np.arange(3, dtype=np.int32)
        net = np.array(net_label, np.int32)
        return painted_pieces(chain, label, area, cluster, net, parts, is_open=is_open, min_area=least)

    found, at = find(2.0, [0, 1, 0])
    assert found.colors.tolist() == [0, 1, 0] and at.tolist() == [0, 1, 2]
    assert found.weights.toarray().tolist() == [[3.0, 0.0, 0.0], [0.0, 1.0, 1.0], [0.0, 0.0, 4.0]]
    assert found.touch[0].tolist() == [True, True, False] and found.touch[1, 2] and found.touch[2, 1]
    assert found.is_open.tolist() == [False, True, False]
    assert find(3.5, [0, 1, 0])[0].colors.tolist() == [0]
    lost, at = find(2.0, [0, 0, 0])  # the net has nothing of the second: the others count as touching
    assert lost.colors.tolist() == [0, 0] and lost.touch[0, 1] and at.tolist() == [0, -1, 1]
