"""The figures of an edited mesh: those of a build as far as they apply, and those of the mesh before."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from loopwright.fit.measure_quality import measure_quality
from loopwright.options import RGB, format_color
from loopwright.report.measure_distance import Distances
from loopwright.report.measure_poles import measure_poles
from loopwright.report.measure_symmetry import measure_symmetry
from loopwright.report.summarize import Summary, region_rows, tell_finding
from loopwright.types import Finding, QuadMesh, Sculpt


@dataclass(frozen=True)
class EditResult:
    """A finished mesh that was edited.

    Attributes
    ----------
    name : of the mesh, for the page's title.
    before, mesh : the whole mesh before and after.
    sculpt : that new and moved vertices were put on, or None.
    is_fitted : whether the mesh was fitted to the sculpt afterwards.
    findings : what the edits did.
    timings : seconds by stage.
    open_colors, kept_colors : painted colours of the sculpt that the mesh leaves open, and the others.
    """

    name: str
    before: QuadMesh
    mesh: QuadMesh
    sculpt: Sculpt | None
    is_fitted: bool
    findings: tuple[Finding, ...]
    timings: Mapping[str, float]
    open_colors: tuple[RGB, ...] = ()
    kept_colors: tuple[RGB, ...] = ()


def summarize_edit(result: EditResult, *, measured: Distances | None = None) -> Summary:
    """Return the figures of an edited mesh; ``measured`` are its distances from the sculpt, if there is one."""
    mesh, sculpt, poles = result.mesh, result.sculpt, measure_poles(result.mesh)
    places = mesh.positions if sculpt is None else sculpt.positions
    diagonal = float(np.linalg.norm(np.ptp(places, axis=0)))
    return Summary(
        sculpt=result.name,
        triangles=0 if sculpt is None else len(sculpt.triangles),
        diagonal=diagonal,
        wishes={"leave_open": [format_color(color) for color in result.open_colors]} if result.open_colors else {},
        regions=region_rows(mesh, poles),
        faces=len(mesh.quads),
        faces_before=len(result.before.quads),
        vertices=len(mesh.positions),
        poles=poles.count_by_valence(),
        poles_by_place=poles.count_by_place(),
        rim_turns=poles.rim_turns,
        quality=measure_quality(mesh.positions, mesh.quads).summary(),
        quality_before=measure_quality(result.before.positions, result.before.quads).summary(),
        distances={} if measured is None else measured.summarize(diagonal),
        measured_surface="" if measured is None else "limit" if measured.is_limit else "faces",
        symmetry=measure_symmetry(mesh, mesh.mirror),
        findings=tuple(tell_finding(finding) for finding in result.findings),
        timings=dict(result.timings),
    )
