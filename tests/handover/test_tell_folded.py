"""A mesh with folded quads says so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import mesh_of

from loopwright import pipeline
from loopwright.fit import relax as fit_module
from loopwright.fit.measure_quality import measure_quality
from loopwright.handover.tell_folded import tell_folded
from loopwright.options import LARGEST_BUDGET, BuildOptions
from loopwright.stages import even_out, lay_on
from loopwright.types import Finding, QuadMesh, Sculpt


def told(mesh: QuadMesh, budget: int = 500) -> list[Finding]:
    return tell_folded(mesh, measure_quality(mesh.positions, mesh.quads), budget)


def spoiled(mesh: QuadMesh, quad: int, *, collapsed: bool) -> QuadMesh:
    """Let two neighbouring corners of a quad change places, or fall together."""
    a, b, _, _ = mesh.quads[quad].tolist()
    positions = mesh.positions.copy()
    if collapsed:
        positions[a] = positions[b]
    else:
        positions[[a, b]] = positions[[b, a]]
    return replace(mesh, positions=positions)


def test_a_sound_mesh_has_no_finding() -> None:
    assert told(mesh_of("cube")) == []


@pytest.mark.parametrize("collapsed", [False, True])
def test_folded_quads_are_counted_and_placed(collapsed: bool) -> None:
    mesh = spoiled(mesh_of("cube"), 7, collapsed=collapsed)
    (finding,) = told(mesh)
    assert finding.kind == "folded" and 7 in finding.elements and finding.count == len(finding.elements)
    assert ("edge without length" in finding.text) == collapsed
    named = mesh.regions[mesh.quad_region[7]].name
    assert f"in {named} near (" in finding.text and "A larger budget or fewer" in finding.text
    assert "larger budget" not in told(mesh, LARGEST_BUDGET)[0].text


def test_places_are_those_of_the_quads() -> None:
    mesh = spoiled(mesh_of("flat disc"), 3, collapsed=False)
    (finding,) = told(mesh)
    first = ", ".join(f"{value:.3g}" for value in mesh.positions[mesh.quads[finding.elements[0]]].mean(axis=0))
    assert f"{finding.count:,} in area 0 near ({first})" in finding.text


def test_a_build_tells_of_them(monkeypatch: pytest.MonkeyPatch) -> None:
    points = np.array([(x, y, 0.1 * x * y) for x in range(9) for y in range(9)], np.float64)
    corner = (np.arange(8)[:, None] * 9 + np.arange(8)).ravel()
    triangles = np.concatenate([corner[:, None] + [0, 9, 10], corner[:, None] + [0, 10, 1]]).astype(np.int32)
    options = BuildOptions(budget=100, proxy_faces=2000, mirror="none")
    sculpt = Sculpt(points, triangles)
    assert "folded" not in [finding.kind for finding in pipeline.build(sculpt, options=options).findings]
    relax = fit_module.relax
    monkeypatch.setattr(even_out, "relax", lambda *a, **k: spoiled(relax(*a, **k), 5, collapsed=True))
    monkeypatch.setattr(lay_on, "touch_up", lambda mesh, *a: mesh)
    options = replace(options, fit_limit=False)
    assert "folded" in [finding.kind for finding in pipeline.build(sculpt, options=options).findings]
