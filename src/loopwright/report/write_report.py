"""Write the report of a build, a plan or an edited mesh: one page with its pictures inside, and the figures as JSON."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from time import perf_counter

import numpy as np

from loopwright.errors import InputError
from loopwright.progress import Progress, silent
from loopwright.report.compose_scene import compose_mesh_scene, compose_scene
from loopwright.report.make_page import make_page
from loopwright.report.measure_distance import Distances, measure_distance
from loopwright.report.parts import BuildLike, PlanLike
from loopwright.report.pick_colors import round_limit
from loopwright.report.picture import Scene
from loopwright.report.report_files import report_files
from loopwright.report.run_drawing import run_drawing
from loopwright.report.summarize import Summary, summarize_build, summarize_plan, tell_finding
from loopwright.report.summarize_edit import EditResult, summarize_edit
from loopwright.reuse.lies_elsewhere import lies_by_limit
from loopwright.surface.project import SurfaceProjector
from loopwright.types import QuadMesh
from loopwright.write_file import write_file
from loopwright.write_json import json_text

STAGE = "report"


def write_report(folder: str | os.PathLike[str], result: PlanLike | BuildLike, *, progress: Progress = silent) -> Path:
    """Write ``index.html`` and ``report.json`` into a folder, which is made if it is missing.

    Parameters
    ----------
    folder
        Where to write; earlier reports in it are replaced.
    result
        What :func:`loopwright.build` or :func:`loopwright.plan` returned.
    progress
        Called while the pictures are drawn.

    Returns
    -------
    The path of the page, which needs no other file.

    Raises
    ------
    InputError
        If the folder cannot be written to.
    """
    started = perf_counter()
    progress(STAGE, 0.0)
    mesh: QuadMesh | None = getattr(result, "mesh", None)
    distances = None if mesh is None else _measure(result, mesh)
    summary = summarize_plan(result) if mesh is None else summarize_build(result, measured=distances)  # type: ignore[arg-type]
    limit = _round_limit(distances, summary)
    heat = limit * summary.diagonal
    scene = compose_scene(result.sculpt, result.surface, result.layout, mesh, distances, heat, result.findings)
    return _draw_and_write(Path(folder), scene, summary, limit, started, progress)


def write_edit_report(folder: str | os.PathLike[str], result: EditResult, *, progress: Progress = silent) -> Path:
    """Write a page of the same kind and its figures for a finished mesh that was edited, and return the page's path.

    Parameters
    ----------
    folder, progress
        As for :func:`write_report`.
    result
        The mesh before and after; with a sculpt, how close it lies is measured and drawn: its smooth limit surface if
        it was fitted, or if that of the mesh before lies nearer than its vertices, else the mesh itself. Areas in
        its open colours are left out.

    Raises
    ------
    InputError
        If the folder cannot be written to.
    """
    started = perf_counter()
    progress(STAGE, 0.0)
    mesh, sculpt = result.mesh, result.sculpt
    distances = None
    if sculpt is not None:
        projector = SurfaceProjector(sculpt.positions, sculpt.triangles)
        use_limit = result.is_fitted or lies_by_limit(result.before, projector)
        distances = measure_distance(
            sculpt, mesh, use_limit=use_limit, open_colors=result.open_colors, kept_colors=result.kept_colors
        )
    summary = summarize_edit(result, measured=distances)
    limit = _round_limit(distances, summary)
    heat = limit * summary.diagonal
    scene = compose_mesh_scene(result.before, mesh, sculpt, distances, heat, result.findings)
    return _draw_and_write(Path(folder), scene, summary, limit, started, progress)


def _draw_and_write(
    folder: Path, scene: Scene, summary: Summary, limit: float, started: float, progress: Progress
) -> Path:
    drawn, findings = run_drawing(scene, progress=progress, stage=STAGE)
    told = tuple(tell_finding(finding) for finding in findings)
    summary = replace(
        summary,
        findings=(*summary.findings, *told),
        timings={**summary.timings, STAGE: perf_counter() - started},
    )
    page = make_page(summary, drawn, heat_limit=limit)
    return _write(folder, page, summary)


def _measure(result: PlanLike | BuildLike, mesh: QuadMesh) -> Distances:
    options = getattr(result, "options", None)
    if options is None:
        return measure_distance(result.sculpt, mesh)
    return measure_distance(result.sculpt, mesh, use_limit=options.fit_limit, open_colors=options.leave_open)


def _round_limit(distances: Distances | None, summary: Summary) -> float:
    """Return the end of the heat maps' scale, in diagonals."""
    return 1.0 if distances is None else round_limit(_typical_largest(distances) / summary.diagonal)


def _typical_largest(distances: Distances) -> float:
    """Return a distance that all but a few vertices keep below, for the scale of the heat maps."""
    covered = distances.sculpt_to_surface[~distances.is_beyond]
    return max(float(np.percentile(values, 98)) for values in (covered, distances.surface_to_sculpt) if len(values))


def _write(folder: Path, page: str, summary: Summary) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: the report cannot be written here ({error.strerror})", places=[folder]) from error
    page_file, figures_file = report_files(folder)
    for file, text in ((figures_file, json_text(summary.as_json(), indent=2)), (page_file, page)):
        with write_file(file) as stream:
            stream.write(text.encode("utf-8"))
    return page_file
