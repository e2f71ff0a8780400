"""Regions in which many quads are far from rectangles are told, with how many and where."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import mesh_of

from loopwright.fit.measure_quality import measure_quality
from loopwright.handover.tell_poor import tell_poor
from loopwright.types import Finding, QuadMesh, Region


def sheared(angle: float, columns: int = 12) -> QuadMesh:
    """A flat sheet of two regions, of which the right one is sheared to rhombi with this angle, in degrees."""
    base = mesh_of("flat disc")
    x, y = np.meshgrid(np.arange(columns + 1.0), np.arange(7.0))
    lean = np.clip(x - columns / 2, 0.0, None)
    # rows lean by the angle, so that each quad of the right half is a rhombus of sides 1
    points = np.stack(
        [np.minimum(x, columns / 2) + lean * np.sin(np.radians(angle)), y + lean * np.cos(np.radians(angle)), 0 * x], 2
    )
    first = (np.arange(6)[:, None] * (columns + 1) + np.arange(columns)).ravel()
    quads = np.stack([first, first + 1, first + columns + 2, first + columns + 1], axis=1).astype(np.int32)
    right = (first % (columns + 1) >= columns // 2).astype(np.int32)
    count = points.size // 3
    return replace(
        base,
        positions=points.reshape(-1, 3),
        quads=quads,
        quad_region=right,
        regions=(Region("left", (1, 2, 3)), Region("right", (4, 5, 6))),
        vertex_curve=np.full(count, -1, np.int32),
        curves=(),
        is_fixed=np.zeros(count, bool),
        on_mirror=np.zeros(count, bool),
        mirror=None,
    )


def told(mesh: QuadMesh) -> list[Finding]:
    return tell_poor(mesh, measure_quality(mesh.positions, mesh.quads))


def test_rhombi_are_told_by_the_sine_of_their_angle() -> None:
    # the scaled Jacobian of a rhombus is the sine of its angle: sin 40 = .643, sin 41 = .656
    assert told(sheared(41.0)) == []
    (finding,) = told(sheared(40.0))
    assert finding.kind == "poor_quads" and finding.count == 36 and finding.names == ("right",)
    assert "36 of the 36 in right, most near (" in finding.text


def test_the_place_lies_among_them() -> None:
    mesh = sheared(30.0)
    (finding,) = told(mesh)
    place = [float(value) for value in finding.text.split("most near (")[1].split(")")[0].split(",")]
    middles = mesh.positions[mesh.quads[finding.elements]].mean(axis=1)
    assert np.linalg.norm(middles - place, axis=1).min() == pytest.approx(0.0, abs=1e-2)


def test_few_poor_quads_are_not_told() -> None:
    mesh = sheared(30.0)
    column = np.arange(len(mesh.quads)) % 12
    kept = (column == 11) | (mesh.quad_region == 0)  # six rhombi, all there are on the right
    few = replace(mesh, quads=mesh.quads[kept], quad_region=mesh.quad_region[kept])
    assert len(told(few)) == 1
    assert told(replace(few, quads=few.quads[:-1], quad_region=few.quad_region[:-1])) == []
    assert told(sheared(90.0)) == []
