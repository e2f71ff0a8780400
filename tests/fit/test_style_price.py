"""What a mesh costs when styles are compared: poles beyond what is fair, and long quads where there are many."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from loopwright.fit.measure_quality import measure_quality
from loopwright.stages import try_style as trying
from loopwright.stages.layout_style import USUAL_STYLE
from loopwright.types import FloatArray, MirrorPlane, QuadMesh


def test_poles_cost_more_beyond_what_any_mesh_may_have_and_long_quads_where_there_are_many(
    make_square: Callable[..., QuadMesh],
) -> None:
    mesh = make_square(20, 20)
    lead = np.ones(len(mesh.quads))

    def priced(made: QuadMesh, poles: int, goal: float) -> trying.Try:
        quality = replace(measure_quality(made.positions, made.quads), poles={3: poles - poles // 2, 5: poles // 2})
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(trying, "measure_quality", lambda *_: quality)
            return trying._weigh(USUAL_STYLE, made, lead, goal, is_last=True)

    plane = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)
    half = replace(mesh, mirror=plane, on_mirror=mesh.positions[:, 0] == mesh.positions[:, 0].min())
    assert not priced(half, 50, 1250.0).has_many_poles
    assert priced(half, 51, 1250.0).has_many_poles
    for goal, most in ((2500.0, 100), (5000.0, 100), (10_000.0, 200)):  # 2 % of the quads, but never less than 100
        within, beyond = priced(mesh, most, goal), priced(mesh, most + 1, goal)
        assert not within.has_many_poles
        assert beyond.has_many_poles
        assert beyond.price * len(mesh.quads) - within.price * len(mesh.quads) > 5.0

    costs = [priced(mesh, poles, 2500.0).price * len(mesh.quads) for poles in (49, 50, 51, 100, 101)]
    assert 0.0 < costs[1] - costs[0] < costs[2] - costs[1] < costs[4] - costs[3]
    few, many = (priced(replace(mesh, positions=_longer(mesh.positions, share)), 0, 5000.0) for share in (0.05, 0.2))
    assert many.price / 0.2 > 1.5 * few.price / 0.05 > 0.0


def _longer(points: FloatArray, share: float) -> FloatArray:
    """Return the points of a square grid with this share of its columns three times as wide."""
    x = np.where(points[:, 0] > 1.0 - 2.0 * share, 3.0 * points[:, 0] - 2.0 * (1.0 - 2.0 * share), points[:, 0])
    return np.column_stack([x, points[:, 1:]])
