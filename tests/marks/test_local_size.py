"""Sizes near places, and at the vertices of a surface that was cut further."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from tests.conftest import surface_of

from loopwright.marks.local_size import LocalSize


def test_vertices_that_stay_keep_their_sizes_and_others_have_those_near_them() -> None:
    surface = surface_of("quilt")
    rng = np.random.default_rng(3)
    sizes = rng.uniform(0.5, 2.0, len(surface.positions))
    local = LocalSize(surface, sizes)
    middles = surface.positions[surface.triangles[:9]].mean(axis=1)
    moved = surface.positions.copy()
    moved[5] = surface.positions[11] + 1e-9
    cut = replace(surface, positions=np.concatenate([moved, middles]))
    found = local.at_vertices(cut)
    assert np.array_equal(found, local(cut.positions))
    assert np.array_equal(np.delete(found[: len(sizes)], 5), np.delete(sizes, 5)) and found[5] == sizes[11]
