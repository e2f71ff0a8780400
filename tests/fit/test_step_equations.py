"""The equations of a round of relaxing: held against dense ones and numpy's solver."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.fit.conftest import MeshMaker

from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.shape_energy import build_shape_energy
from loopwright.fit.step_equations import StepEquations
from loopwright.types import MirrorPlane


@pytest.mark.parametrize("is_half", [False, True])
def test_the_steps_are_those_of_the_dense_equations(make_square: MeshMaker, is_half: bool) -> None:
    mesh = make_square(4, 4)
    if is_half:
        plane = MirrorPlane(np.array([1.0, 0.0, 0.0]), -1.0)
        mesh = replace(mesh, mirror=plane, on_mirror=np.abs(plane.signed_distance(mesh.positions)) < 1e-9)
        assert mesh.on_mirror.any()
    fold, kept = fold_mirror(mesh).keep_images(build_shape_energy(mesh, fold_mirror(mesh)).rows.indices)
    rows = build_shape_energy(mesh, fold_mirror(mesh)).rows[:, kept].tocsr()
    assert (len(fold.source) > 0) == is_half
    rng = np.random.default_rng(4)
    count = len(mesh.positions)
    weights, bases, pull = (
        rng.uniform(0.5, 2, rows.shape[0]),
        rng.normal(size=(count, 2, 3)),
        rng.normal(size=(count, 2)),
    )
    moves = np.zeros((fold.whole_count, 3, 2 * count))
    for step in range(2 * count):
        alone = np.zeros((count, 3))
        alone[step // 2] = bases[step // 2, step % 2]
        moves[:, :, step] = fold.unfold_vectors(alone)
    seen = np.einsum("rv,vks->rks", rows.toarray(), moves)
    dense = np.einsum("rks,r,rkt->st", seen, weights, seen)
    own = fold.fold_scalars(np.einsum("rv,r->v", rows.toarray() ** 2, weights))
    dense += np.diag(1e-3 * np.repeat(own, 2))
    found = StepEquations(rows, fold).solve(weights, bases, pull, 2000)
    # the solver stops at 1e-4 of the first residual
    assert np.linalg.norm(dense @ found.ravel() - pull.ravel()) < 1e-2 * np.linalg.norm(pull)
