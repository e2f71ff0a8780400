"""Pieces of paint keep their areas, but none gets it where it has no votes."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import rectangle

from loopwright.marks.smooth_labels import smooth_labels
from loopwright.surface.net import make_net
from loopwright.types import FloatArray, IntArray

COLUMNS, ROWS = 60, 30
BLOCK = 0.25  # width of the square in the corner that is the third piece


def labelled(asked: float) -> tuple[FloatArray, IntArray]:
    """Labels of a board of two halves, split roughly, and a block in a corner that asks for so many times its area."""
    points, triangles = rectangle(COLUMNS, ROWS)
    size = np.full(len(points), 2.0 / COLUMNS)
    x, y = (points - points.min(axis=0)).T[:2]
    rng = np.random.default_rng(3)
    voted = np.where(x + rng.normal(0.0, 0.05, len(x)) > 1.0, 1, 0)
    voted[(x < BLOCK) & (y < BLOCK)] = 2
    votes = np.zeros((len(points), 3))
    votes[np.arange(len(points)), voted] = (2.0 / COLUMNS) ** 2
    area = votes.sum(axis=0) * np.array([1.0, 1.0, asked])
    labels = np.arange(3, dtype=np.int32)
    values = smooth_labels(make_net(points, triangles, size), votes, area, labels, 3, scale=2.0).values
    return np.stack([x, y], axis=1), values.argmax(axis=1).astype(np.int32)


@pytest.mark.parametrize("asked", [1.0, 2.0, 40.0])
def test_a_piece_stays_where_it_has_votes(asked: float) -> None:
    """Asked for more than there is, it took places where two others have as many votes each."""
    at, label = labelled(asked)
    mine = at[label == 2]
    assert len(mine) > 0.5 * BLOCK**2 / (2.0 / COLUMNS) ** 2
    assert mine.max() < 0.75


def test_a_piece_keeps_its_area() -> None:
    at, label = labelled(1.0)
    assert (label == 2).sum() == pytest.approx(((at < BLOCK).all(axis=1)).sum(), rel=0.1)
