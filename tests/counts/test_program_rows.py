"""What unlike opposite sides of a patch cost."""

from __future__ import annotations

import numpy as np
import pytest

from loopwright.counts.count_options import CountOptions
from loopwright.counts.program_rows import add_loop_rows, add_patch_rows
from loopwright.layout.border_graph import ArcKind
from loopwright.layout.types import Arc, Layout
from loopwright.numerics.integer_program import IntegerProgram
from loopwright.types import RegionSurface


def price(sides: list[int], rows: float) -> float:
    """The least price of a patch with these counts that wished for so many rows between its first and third side."""
    program = IntegerProgram()
    columns = [[program.integer(0.0, float(count), float(count))] for count in sides]
    wished = [float(sides[0]), rows, float(sides[2]), rows]
    add_patch_rows(program, columns, [50.0] * 4, wished, 5.0, CountOptions())
    solution = program.solve()
    assert solution is not None
    return solution.price


def test_like_sides_cost_nothing() -> None:
    assert price([12, 3, 12, 3], 3.0) == pytest.approx(0.0)


def test_unlike_ones_cost_more_where_few_rows_are_left_to_end_columns_in() -> None:
    options = CountOptions()
    for rows in (2.0, 5.0, 10.0):
        # the poles, and each of the eight segments that the sides differ by
        assert price([20, 4, 12, 4], rows) == pytest.approx(5.0 + 8 * options.uneven_rows / rows)
    assert price([20, 40, 12, 40], 40.0) == pytest.approx(5.0 + 8 * options.uneven)


def loop_layout(ends: list[tuple[int, int]], on_mirror: list[int], kind: ArcKind = "border") -> Layout:
    """Return a layout of arcs between nodes, of which some lie on the mirror plane; nothing else of it is used."""
    count = 1 + max(max(pair) for pair in ends)
    is_on = np.isin(np.arange(count), on_mirror)
    none = np.zeros((0, 3))
    arcs = tuple(Arc(np.array(pair, np.int32), none, kind, (0, 1), 1.0) for pair in ends)
    empty = np.zeros(0, np.int32)
    regions = RegionSurface(none, np.zeros((0, 3), np.int32), empty, (), None, np.zeros(0, bool))
    return Layout(regions, np.zeros(0), none, is_on, empty, empty, arcs, ())


@pytest.mark.parametrize(
    ("ends", "on_mirror", "least"),
    [
        ([(0, 0)], [], 3),  # a loop of one arc
        ([(0, 1), (1, 0)], [], 3),  # of two
        ([(0, 1), (1, 2), (2, 0)], [], 3),  # three arcs of one segment each are a loop of three
        ([(0, 1)], [0, 1], 2),  # of an arc and its image: four segments in all
        ([(0, 1)], [0], 1),
    ],
)
def test_loops_are_no_edge_there_and_back(ends: list[tuple[int, int]], on_mirror: list[int], least: int) -> None:
    program = IntegerProgram()
    arcs = np.array([program.integer(1.0, 1.0, 9.0) for _ in ends], np.int32)
    program.add_terms(0.0, np.inf, (arcs.tolist(), 1.0))  # a program without rows has no solver
    add_loop_rows(program, loop_layout(ends, on_mirror), arcs)
    solution = program.solve()
    assert solution is not None
    assert solution.values[arcs].sum() == pytest.approx(least)


def test_arcs_in_the_mirror_plane_have_no_image_to_close_a_loop_with() -> None:
    program = IntegerProgram()
    arcs = np.array([program.integer(1.0, 1.0, 9.0)], np.int32)
    program.add_terms(0.0, np.inf, (arcs.tolist(), 1.0))
    add_loop_rows(program, loop_layout([(0, 1)], [0, 1], "mirror"), arcs)
    solution = program.solve()
    assert solution is not None and solution.values[arcs].sum() == pytest.approx(1.0)
