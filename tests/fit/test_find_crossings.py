"""Crossings found where something moved are those that a look at all quads finds."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import X_PLANE, globe

from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.part_crossings import StrayFinder, loosen_crossings, quads_astray
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, MirrorPlane, QuadMesh, Region

SEED = 5


def two_sheets(mirror: MirrorPlane | None) -> QuadMesh:
    """Two sheets of 12 x 12 quads over x from 0 on, one just above the other, not touching."""
    at = np.arange(13) / 12.0
    x, y = (grid.ravel() for grid in np.meshgrid(at, at, indexing="ij"))
    corner = (np.arange(12)[:, None] * 13 + np.arange(12)).ravel()
    quads = np.stack([corner, corner + 13, corner + 14, corner + 1], axis=1)
    points = np.vstack([np.stack([x, y, np.full(len(x), height)], axis=1) for height in (0.0, 0.02)])
    count = len(points)
    return QuadMesh(
        points,
        np.vstack([quads, quads + 169]).astype(np.int32),
        np.zeros(288, np.int32),
        (Region("all", (0, 0, 0)),),
        np.full(count, -1, np.int32),
        (),
        np.zeros(count, bool),
        (points[:, 0] == 0.0) & (mirror is not None),
        mirror,
    )


def whole_look(mesh: QuadMesh, positions: FloatArray) -> list[int]:
    """The crossing quads when all are looked at, the images too: a finder that has seen nothing before."""
    fold = fold_mirror(mesh)
    blank = CrossingFinder(fold)
    pairs = blank._cross(fold.unfold_points(positions), np.arange(len(fold.quads)))
    found: list[int] = np.unique(pairs % len(mesh.quads)).tolist()
    return found


@pytest.mark.parametrize("mirror", [None, X_PLANE])
@pytest.mark.parametrize("moved", [1, 6, 150])
def test_a_second_look_finds_what_a_first_one_would(mirror: MirrorPlane | None, moved: int) -> None:
    mesh, rng = two_sheets(mirror), np.random.default_rng(SEED)
    finder, positions = CrossingFinder(fold_mirror(mesh)), mesh.positions
    assert finder.find(positions).tolist() == []
    for _ in range(6):
        positions = positions.copy()
        chosen = rng.choice(np.flatnonzero(~mesh.on_mirror), moved, replace=False)
        positions[chosen] += rng.normal(0.0, 0.03, (moved, 3))
        assert finder.find(positions).tolist() == whole_look(mesh, positions), f"seed {SEED}"
    assert finder.find(mesh.positions).tolist() == []


def test_a_half_that_strays_over_the_plane_meets_its_image() -> None:
    mesh = two_sheets(X_PLANE)
    slope = mesh.positions.copy()
    stray = (np.abs(slope[:, 1] - 0.5) < 0.1) & (np.abs(slope[:, 0] - 2 / 12) < 0.01) & (slope[:, 2] == 0.0)
    slope[stray] += [-0.3, 0.0, 0.01]
    found = CrossingFinder(fold_mirror(mesh)).find(slope)
    assert len(found) and found.tolist() == whole_look(mesh, slope)


def test_strays_that_are_looked_up_bit_by_bit_are_those_of_a_whole_look() -> None:
    points, triangles = globe(16)
    thin = points * np.array([1.0, 1.0, 0.05])
    projector = SurfaceProjector(thin, triangles)
    step = np.linspace(-0.6, 0.6, 9)
    x, y = np.meshgrid(step, step)
    positions = np.stack([x.ravel(), y.ravel(), np.full(x.size, 0.04)], axis=1)
    corner = (np.arange(8)[:, None] * 9 + np.arange(8)).ravel()
    quads = np.stack([corner, corner + 1, corner + 10, corner + 9], axis=1).astype(np.int32)
    finder, rng = StrayFinder(quads, projector), np.random.default_rng(3)
    seen = 0
    for _ in range(12):
        moved = positions.copy()
        moved[rng.integers(0, len(positions), 6), 2] = -0.04
        found = finder.find(moved)
        assert (found == quads_astray(moved, quads, projector)).all()
        seen += int(found.sum())
        positions = moved
    assert seen > 0


@pytest.mark.parametrize("mirror", [None, X_PLANE])
@pytest.mark.parametrize("guarded", [1, 3])
def test_where_a_quad_may_not_move_what_lies_round_it_gives_way(mirror: MirrorPlane | None, guarded: int) -> None:
    mesh = two_sheets(mirror)
    positions = mesh.positions.copy()
    middle = 6 * 13 + 6
    positions[middle] += [0.02, 0.03, 0.04]  # through the other sheet
    finder = CrossingFinder(fold_mirror(mesh))
    crossing = finder.find(positions)
    assert 0 < len(crossing) <= 0.05 * len(mesh.quads)
    # quads beside those that cross, which every smoothing of them and their neighbours moves
    beside = np.flatnonzero(np.isin(mesh.quads, mesh.quads[crossing]).any(axis=1) & (mesh.quads < 169).all(axis=1))
    kept = np.setdiff1d(beside, np.flatnonzero((mesh.quads == middle).any(axis=1)))[:guarded]

    def spoilt(moved: FloatArray) -> BoolArray:
        out = np.zeros(len(mesh.quads), np.bool_)
        out[kept] = (moved[mesh.quads[kept]] != positions[mesh.quads[kept]]).any(axis=(1, 2))
        return out

    freed = loosen_crossings(mesh, fold_mirror(mesh), finder, positions, spoilt)
    assert finder.find(freed).tolist() == []
    assert not spoilt(freed).any()
    plain = loosen_crossings(mesh, fold_mirror(mesh), finder, positions, lambda moved: np.zeros(len(mesh.quads), bool))
    assert spoilt(plain).sum() == len(kept)  # left to itself it would move them
