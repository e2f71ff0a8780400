"""Laws of the topological fill: valences, Euler, index sums, orientation, and which counts have a fill at all."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.errors import InfeasibleError, InternalError
from loopwright.patterns.embed_fill import convex_corners, embed_tutte, points_on_sides, quad_edges, scaled_jacobians
from loopwright.patterns.fill_patch import PatchFill, fill_patch, is_fillable, pole_count
from loopwright.patterns.one_pole import solve_spokes

LARGEST = {2: 8, 3: 6, 4: 5, 5: 4, 6: 3}
SMALL = [
    counts
    for n, top in LARGEST.items()
    for counts in product(range(1, top + 1), repeat=n)
    if sum(counts) % 2 == 0 and counts == min(counts[k:] + counts[:k] for k in range(n))
]


def check_laws(fill: PatchFill, counts: tuple[int, ...]) -> None:
    """Assert every law that a fill promises."""
    n, rim = len(counts), sum(counts)
    assert fill.quads.dtype == np.int32 and fill.boundary.dtype == np.int32
    assert fill.boundary.size == rim and np.array_equal(np.sort(fill.boundary), np.arange(rim))
    quads_at = np.bincount(fill.quads.ravel(), minlength=fill.vertex_count)
    wanted = np.full(rim, 2)
    wanted[np.cumsum([0, *counts[:-1]])] = 1
    assert np.array_equal(quads_at[fill.boundary], wanted)
    inner = quads_at[rim:]
    assert inner.size == 0 or (inner.min() >= 3 and inner.max() <= 5)
    # index sum of a patch with N corners, derived from Euler's formula
    assert int((4 - inner).sum()) == 4 - n
    assert int((inner != 4).sum()) == pole_count(counts)
    # disc: F = V - 1 - B / 2, derived from Euler's formula
    assert fill.quads.shape[0] == fill.vertex_count - 1 - rim // 2
    check_manifold(fill)


def check_manifold(fill: PatchFill) -> None:
    """Assert that every directed edge has one quad, the rim is the given one, and two quads share one edge at most."""
    owner: dict[tuple[int, int], int] = {}
    for index, quad in enumerate(fill.quads.tolist()):
        assert len(set(quad)) == 4
        for k in range(4):
            edge = (quad[k], quad[(k + 1) % 4])
            assert edge not in owner
            owner[edge] = index
    ring = fill.boundary.tolist()
    rim = set(zip(ring, ring[1:] + ring[:1], strict=True))
    assert {edge for edge in owner if edge[::-1] not in owner} == rim
    pairs = [(owner[e], owner[e[::-1]]) for e in owner if e[::-1] in owner]
    assert len(set(pairs)) == len(pairs)


@pytest.mark.parametrize("side_count", sorted(LARGEST))
def test_every_small_count_obeys_the_laws_or_is_refused(side_count: int) -> None:
    for counts in (c for c in SMALL if len(c) == side_count):
        if is_fillable(counts):
            check_laws(fill_patch(counts), counts)
        else:
            with pytest.raises(InfeasibleError):
                fill_patch(counts)


def test_refused_counts_are_the_impossible_ones() -> None:
    # Derived: with regular boundaries a side of one edge occurs in grids only.  The quads round two neighbouring
    # sides of two edges are forced and leave a patch with one side less, which must itself be possible.  A lens
    # of 2 and 2 or 2 and 4 edges has no fill (all fills with up to 14 quads were tried).  Everything else is filled,
    # which agrees with Takayama, Panozzo, Sorkine-Hornung, CGF 33(5), 2014 (from memory; their sides may have
    # irregular vertices, so that smaller counts are possible there).
    for counts in SMALL:
        assert is_fillable(counts) == _can_exist(counts), counts


def _can_exist(counts: tuple[int, ...]) -> bool:
    n = len(counts)
    if n == 4 and counts[0] == counts[2] and counts[1] == counts[3]:
        return True
    if counts == (2, 2, 2):
        return True
    if min(counts) < 2 or (n == 2 and sorted(counts) in ([2, 2], [2, 4])):
        return False
    for k in range(n if n > 2 else 0):
        turned = counts[k:] + counts[:k]
        if turned[:2] == (2, 2):
            rest = list(turned[1:])
            rest[1] -= 1
            rest[-1] -= 1
            return _can_exist(tuple(rest))
    return True


def test_worked_example_of_five_spokes() -> None:
    # Tarini, "Closed-form quadrangulation of n-sided patches", 2021, arXiv 2101.11569, figure 1; spokes recomputed
    counts = (6, 4, 3, 5, 4)
    assert solve_spokes(counts) == (3, 2, 1, 1, 4)
    assert pole_count(counts) == 1
    check_laws(fill_patch(counts), counts)


def test_one_pole_in_a_triangle_exactly_under_the_triangle_condition() -> None:
    # derived: (e_i + e_j - e_k) / 2 must be a positive integer for all three
    for counts in product(range(2, 9), repeat=3):
        if sum(counts) % 2 == 0 and is_fillable(counts):
            halves = [(sum(counts) - 2 * side) // 2 for side in counts]
            assert (pole_count(counts) == 1) == (min(halves) >= 1)


def test_equal_opposite_sides_give_a_grid() -> None:
    fill = fill_patch((7, 4, 7, 4))
    assert pole_count((7, 4, 7, 4)) == 0 and fill.quads.shape == (28, 4)


@pytest.mark.parametrize(
    ("counts", "poles"),
    [((10, 10, 10, 12), 2), ((12, 8, 10, 6), 2), ((8, 8), 2), ((9, 9, 9, 9, 9, 9), 2), ((10, 10, 10, 11, 11, 12), 2)],
)
def test_pairs_of_poles_where_two_suffice(counts: tuple[int, ...], poles: int) -> None:
    assert pole_count(counts) == poles
    check_laws(fill_patch(counts), counts)


@pytest.mark.parametrize(
    "counts",
    [
        (40, 3, 5, 2),
        (2, 20),
        (2, 40),
        (20, 6, 6, 6, 6),
        (45, 2, 2, 40, 4, 3),
        (60, 4, 60),
        (14, 3, 3),
        (5, 3, 44, 24, 2),
    ],
)
def test_far_from_even_counts_obey_the_laws(counts: tuple[int, ...]) -> None:
    check_laws(fill_patch(counts), counts)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.integers(3, 40), min_size=2, max_size=6))
def test_larger_counts_obey_the_laws(drawn: list[int]) -> None:
    counts = (drawn[0] + sum(drawn) % 2, *drawn[1:])
    check_laws(fill_patch(counts), counts)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.lists(st.integers(6, 16), min_size=3, max_size=6), st.integers(0, 5))
def test_turned_and_mirrored_requests_give_turned_and_mirrored_fills(drawn: list[int], turn: int) -> None:
    counts = (drawn[0] + sum(drawn) % 2, *drawn[1:])
    turn %= len(counts)
    plain = _rim_signature(fill_patch(counts), counts)
    turned = counts[turn:] + counts[:turn]
    assert np.array_equal(np.roll(plain, -sum(counts[:turn])), _rim_signature(fill_patch(turned), turned))
    mirrored = _rim_signature(fill_patch(counts[::-1]), counts[::-1])
    assert np.array_equal(plain[np.r_[0, np.arange(plain.size - 1, 0, -1)]], mirrored)


def _rim_signature(fill: PatchFill, counts: tuple[int, ...]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return for every boundary vertex a hash of how far it is from each kind of pole: free of vertex numbers."""
    edges = quad_edges(fill.quads)
    valence = np.bincount(fill.quads.ravel(), minlength=fill.vertex_count)
    label = np.where(np.arange(fill.vertex_count) < sum(counts), valence + 10, valence).astype(np.int64)
    for _ in range(fill.vertex_count):
        total = np.zeros(fill.vertex_count, dtype=np.int64)
        np.add.at(total, edges[:, 0], label[edges[:, 1]])
        np.add.at(total, edges[:, 1], label[edges[:, 0]])
        label = (label * 31 + total * 17 + 7) % 1_000_003
    return label[fill.boundary]


@pytest.mark.parametrize("counts", [(8, 8, 8), (10, 10, 10, 12), (7, 8, 9, 10, 8), (9, 8, 9, 8, 9, 9), (8, 10)])
def test_fills_embed_without_folds_and_well_shaped(counts: tuple[int, ...]) -> None:
    # Tutte 1963: barycentric embedding in a convex polygon has convex faces
    fill = fill_patch(counts)
    corners = convex_corners([float(c) for c in counts])
    rim = points_on_sides(corners, [np.arange(k) / k for k in counts], bulge=0.2 if len(counts) == 2 else 0.02)
    points = embed_tutte(quad_edges(fill.quads), fill.vertex_count, fill.boundary, rim)
    shape = scaled_jacobians(points, fill.quads)
    assert shape.min() > 0.25
    assert shape.mean() > 0.85


def test_same_request_gives_the_same_bytes() -> None:
    first, second = (fill_patch((9, 7, 11, 9), side_lengths=(2.0, 1.0, 2.0, 1.0)) for _ in range(2))
    assert first.quads.tobytes() == second.quads.tobytes()


@pytest.mark.parametrize("counts", [(3, 3, 3), (4,), (2, 2, 2, 2, 2, 2, 2), (0, 2), (4, 4, -4)])
def test_counts_no_caller_may_ask_for(counts: tuple[int, ...]) -> None:
    with pytest.raises(InternalError):
        fill_patch(counts)
    assert not is_fillable(counts)


def test_refusal_names_the_patch() -> None:
    with pytest.raises(InfeasibleError, match=r"\(1, 1\)"):
        fill_patch((1, 1))
    with pytest.raises(InfeasibleError):
        pole_count((1, 3))
