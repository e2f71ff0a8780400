"""The part of a cage near some faces: a mesh of its own, and what is done there is what the whole does."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from loopwright.detail.change_creases import make_creases
from loopwright.detail.cut_near import cut_near
from loopwright.detail.fit_creases import fit_creases
from loopwright.detail.try_creases import TRIAL_FIT
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.numerics.catmull_clark import unique_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.types import QuadMesh

Maker = Callable[..., QuadMesh]


def fans(mesh: QuadMesh) -> set[int]:
    """Faces less inner edges round each vertex of the whole: 0 inside, 1 on a rim, more where it touches itself."""
    fold = fold_mirror(mesh)
    pairs = np.sort(np.stack([fold.quads, np.roll(fold.quads, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    edges, uses = np.unique(pairs, axis=0, return_counts=True)
    faces = np.bincount(fold.quads.ravel(), minlength=fold.whole_count)
    return set((faces - np.bincount(edges[uses == 2].ravel(), minlength=fold.whole_count))[faces > 0].tolist())


@pytest.mark.parametrize("half", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_part_is_made_of_whole_fans(make_sphere: Maker, half: bool, seed: int) -> None:
    mesh = make_sphere(8, half=half)
    rng = np.random.default_rng(seed)
    faces = np.sort(rng.choice(len(mesh.quads), 12, replace=False))
    for rings in (0, 1):
        part = cut_near(mesh, faces, rings)
        assert np.isin(faces, part.faces).all()
        assert np.array_equal(part.vertices[part.mesh.quads], mesh.quads[part.faces])
        assert np.array_equal(part.faces[part.find_faces(faces)], faces)
        assert fans(part.mesh) <= {0, 1}


def test_creases_of_the_part_are_its_own_edges(make_sphere: Maker) -> None:
    mesh = make_sphere(6)
    edges = np.asarray(unique_edges(mesh.quads), np.int32)
    part = cut_near(mesh, np.array([0, 1, 50]), 1)
    found = part.creases(make_creases(edges, np.arange(1.0, len(edges) + 1.0)))
    assert np.array_equal(found.edges, unique_edges(part.mesh.quads))
    value = dict(zip(map(tuple, edges.tolist()), np.arange(1.0, len(edges) + 1.0), strict=True))
    assert found.sharpness.tolist() == [value[tuple(pair)] for pair in part.vertices[found.edges].tolist()]


def test_fit_of_the_part_is_that_of_the_whole_within(
    make_box: Maker, sculpt_box: Callable[..., SurfaceProjector]
) -> None:
    mesh, sculpt = make_box(0.06, 12), sculpt_box(0.06)
    ridge = unique_edges(mesh.quads)
    ends = mesh.positions[ridge]
    ridge = ridge[((ends[:, :, 0] > 0.9) & (ends[:, :, 1] > 0.9)).all(axis=1)]
    creases = make_creases(np.asarray(ridge, np.int32), np.full(len(ridge), 2.0))
    faces = np.flatnonzero(np.isin(mesh.quads, ridge).any(axis=1))
    whole, _ = fit_creases(mesh, sculpt, creases, options=TRIAL_FIT)
    moved = np.linalg.norm(whole.positions - mesh.positions, axis=1).max()
    off = []
    for rings in (1, 2, 3):
        part = cut_near(mesh, faces, rings)
        fitted, _ = fit_creases(part.mesh, sculpt, part.creases(creases), options=TRIAL_FIT)
        inside = np.unique(mesh.quads[faces])
        off.append(np.linalg.norm(fitted.positions[part.place[inside]] - whole.positions[inside], axis=1).max() / moved)
    assert off[1] < 0.1 and off[2] < 0.05
    assert off[2] < off[0]
