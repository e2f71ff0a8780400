"""Vertices held in bends of borders are let go where quads came out flat by that."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from tests.fit.painted_board import Maker, two_regions

from loopwright.stages.lay_on import _free_bends


def test_only_bends_at_flat_quads_are_let_go(make_square: Maker) -> None:
    mesh = two_regions(make_square, 12)
    on_border = np.flatnonzero((mesh.vertex_curve == len(mesh.curves) - 1) & ~mesh.is_fixed)
    bends = on_border[[2, 8]]
    positions, is_fixed = mesh.positions.copy(), mesh.is_fixed.copy()
    positions[bends, 1] += 0.05
    is_fixed[bends] = True
    drawn = replace(mesh, positions=positions, is_fixed=is_fixed)
    assert _free_bends(mesh, drawn, drawn) is None
    flat = positions.copy()
    flat[bends[0], :2] += [0.16, 0.11]  # all but in the opposite corner of a quad
    freed = _free_bends(mesh, drawn, replace(drawn, positions=flat))
    assert freed is not None
    assert np.array_equal(np.flatnonzero(drawn.is_fixed & ~freed.is_fixed), bends[:1])
    assert np.array_equal(freed.positions[bends[0]], mesh.positions[bends[0]])
    assert np.array_equal(freed.positions[bends[1]], drawn.positions[bends[1]])
