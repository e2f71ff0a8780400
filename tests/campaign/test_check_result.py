"""The check of results finds what it is there to find."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchmarks.check_result import check_quads, corner_sines, piece_counts, topology  # noqa: E402


def grid(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Return a flat n by n grid of quads."""
    x, y = np.meshgrid(np.arange(n + 1.0), np.arange(n + 1.0), indexing="ij")
    ids = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    quads = np.stack([ids[:-1, :-1], ids[1:, :-1], ids[1:, 1:], ids[:-1, 1:]], axis=-1).reshape(-1, 4)
    return np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1), quads.astype(np.int32)


def test_a_grid_is_sound() -> None:
    points, quads = grid(4)
    assert check_quads(points, quads) == []
    # Euler: a disc has V - E + F = 1
    assert topology(quads) == {"components": 1, "rims": 1, "euler": 1}
    assert corner_sines(points, quads).min() == 1.0


def test_a_grid_with_a_hole_is_an_annulus() -> None:
    points, quads = grid(5)
    assert topology(np.delete(quads, 12, axis=0)) == {"components": 1, "rims": 2, "euler": 0}


def test_faults_are_found() -> None:
    points, quads = grid(4)
    turned = quads.copy()
    turned[5] = turned[5, ::-1]
    assert "not an oriented manifold" in check_quads(points, turned)
    assert "pinched vertices" in check_quads(points, np.delete(quads, [5, 10], axis=0))
    assert "vertices unused" in check_quads(np.vstack([points, points[:1]]), quads)
    assert "double quads" in check_quads(points, np.vstack([quads, np.roll(quads[:1], 1, axis=1)]))
    flat = quads.copy()
    flat[5, 1] = flat[5, 0]
    assert "degenerate quads" in check_quads(points, flat)
    moved = points.copy()
    moved[12] = [4.5, 4.5, 0.0]
    assert corner_sines(moved, quads).min() < 0.0


def test_pieces_hang_together_along_edges_only() -> None:
    _, quads = grid(3)
    chess = (np.indices((3, 3)).sum(axis=0) % 2).ravel().astype(np.int32)
    assert piece_counts(quads, chess) == {0: 5, 1: 4}
