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
    held = np.linalg.norm(mesh.positions - [0.25, 0.0, 0.0], axis=1) < 1e-9
    free, _ = take_near(mesh, other, chosen, np.zeros_like(held))
    joined, moved = take_near(mesh, other, chosen, held)
    assert np.array_equal(joined.positions[held], mesh.positions[held])
    assert np.array_equal(joined.positions[~held], free.positions[~held])
    assert (free.positions[held, 2] > 0.0).all()
    rows = np.round(12 * np.abs(mesh.positions[:, :2]).max(axis=1))  # of vertices about the middle
    taken = free.positions[:, 2]
    assert np.array_equal(free.positions[:, :2], mesh.positions[:, :2])
    assert (taken[mesh.quads[chosen]] == 1.0).all()
    assert (taken[rows > 8] == 0.0).all()
    assert np.array_equal(moved, (taken > 0.0) & ~held)
    means = [taken[rows == row].mean() for row in range(9)]
    assert means == sorted(means, reverse=True)
    assert len({round(float(mean), 6) for mean in means}) > 4
