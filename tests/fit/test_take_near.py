"""Two ways in which a mesh was laid are joined: near some quads the one, elsewhere the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from loopwright.fit.take_near import take_near
from loopwright.types import QuadMesh


def test_the_other_counts_near_the_quads_alone_and_less_farther_away(make_square: Callable[..., QuadMesh]) -> None:
    mesh = make_square(24, 24)
    other = replace(mesh, positions=mesh.positions + [0.0, 0.0, 1.0])
    chosen = np.zeros(len(mesh.quads), bool)
    chosen[np.linalg.norm(mesh.positions[mesh.quads].mean(axis=1), axis=1).argmin()] = True
    joined, moved = take_near(mesh, other, chosen)
    rows = np.round(12 * np.abs(mesh.positions[:, :2]).max(axis=1))  # of vertices about the middle
    taken = joined.positions[:, 2]
    assert np.array_equal(joined.positions[:, :2], mesh.positions[:, :2])
    assert (taken[mesh.quads[chosen]] == 1.0).all()
    assert (taken[rows > 8] == 0.0).all()
    assert np.array_equal(moved, taken > 0.0)
    means = [taken[rows == row].mean() for row in range(9)]
    assert means == sorted(means, reverse=True)
    assert len({round(float(mean), 6) for mean in means}) > 4
