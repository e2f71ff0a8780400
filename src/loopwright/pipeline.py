"""The corridor: the stages in order, from a sculpt to a plan or a finished mesh."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.counts.check_resolved import check_resolved
from loopwright.counts.check_sizes import check_sizes
from loopwright.counts.count_program import CountOptions
from loopwright.counts.counted_layout import CountedLayout
from loopwright.counts.merge_unresolved import merge_unresolved
from loopwright.counts.paint_sizes import paint_sizes
from loopwright.counts.read_pins import border_pins, pole_prices, region_sizes
from loopwright.counts.size_field import mean_size, size_field
from loopwright.counts.solve_counts import arc_targets, solve_for_budget
from loopwright.counts.tell_poles import tell_poles
from loopwright.edit.run_edits import check_region_names, run_edits
from loopwright.fit.fit_limit import fit_limit
from loopwright.fit.fit_with_paint import fit_with_paint
from loopwright.fit.hold_points import hold_points
from loopwright.fit.keep_paint import keep_paint
from loopwright.fit.measure_quality import QualityReport, measure_quality
from loopwright.fit.own_sides import own_sides
from loopwright.fit.reflect import reflect_half
from loopwright.fit.relax import relax
from loopwright.fit.ridge_edges import ridge_edges
from loopwright.handover.tell_folded import tell_folded
from loopwright.handover.tell_loosened import tell_loosened
from loopwright.layout.plan_layout import LayoutOptions, plan_layout
from loopwright.layout.plan_turns import TurnOptions
from loopwright.layout.types import Layout
from loopwright.marks.add_flow_lines import add_flow_lines
from loopwright.marks.find_ridges import add_ridges
from loopwright.marks.options import MarksOptions
from loopwright.marks.region_surface import make_region_surface
from loopwright.options import BuildOptions
from loopwright.progress import Progress, silent
from loopwright.quads.build_mesh import build_mesh
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.read import read_sculpt
from loopwright.surface.repair import repair_sculpt
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, Paint, QuadMesh, RegionSurface, Sculpt
from loopwright.wishes import FlowLine

if TYPE_CHECKING:
    from collections.abc import Iterator

Source = Sculpt | str | Path

_UNEQUAL = 1e-3  # of the diagonal: halves that differ by more (rms) were made to differ


@dataclass(frozen=True)
class PlanResult:
    """A plan: the sculpt, its regions, the layout with counts; nothing is filled yet.

    Attributes
    ----------
    sculpt : the sculpt after repair.
    surface : the proxy with its regions; a half where there is a mirror plane.
    layout : arcs with counts, patches, planned poles.
    findings : what was found and done on the way.
    timings : seconds per stage.
    options : the wishes.
    """

    sculpt: Sculpt
    surface: RegionSurface
    layout: CountedLayout
    findings: tuple[Finding, ...]
    timings: Mapping[str, float]
    options: BuildOptions


@dataclass(frozen=True)
class BuildResult(PlanResult):
    """A finished mesh and all that led to it.

    Attributes
    ----------
    mesh : the whole mesh.
    half : the half that was mirrored, or None.
    quality : shape of the quads and poles by valence.
    distances : rms distances by name, as shares of the sculpt's diagonal.
    """

    mesh: QuadMesh
    half: QuadMesh | None
    quality: QualityReport
    distances: Mapping[str, float]


@dataclass
class _Clock:
    """Runs stages, times them, and passes progress on."""

    progress: Progress
    timings: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        self.progress(name, 0.0)
        start = time.perf_counter()
        yield
        self.timings[name] = self.timings.get(name, 0.0) + time.perf_counter() - start
        self.progress(name, 1.0)


def plan(source: Source, *, options: BuildOptions | None = None, progress: Progress = silent) -> PlanResult:
    """Plan the layout and solve the segment counts.

    Parameters
    ----------
    source : a sculpt, or the path of a file with one.

    Raises
    ------
    InputError, MarksError, InfeasibleError : see :mod:`loopwright.errors`.
    """
    wishes = options or BuildOptions()
    clock = _Clock(progress)
    sculpt, findings, painted = _open(source, wishes, clock)
    projector = _grow_trees(sculpt, clock)
    surface, more, _ = _find_regions(sculpt, projector, wishes, clock)
    surface, drawn, _ = _draw_lines(sculpt, projector, surface, wishes, clock)
    surface, vertex_size, tiny = _find_sizes(surface, wishes, painted, clock)
    layout, last = _lay_out(sculpt, surface, vertex_size, wishes, clock)
    return PlanResult(sculpt, surface, layout, (*findings, *more, *drawn, *tiny, *last), clock.timings, wishes)


def build(source: Source, *, options: BuildOptions | None = None, progress: Progress = silent) -> BuildResult:
    """Make the mesh: plan, fill, place, even out, fit, mirror.

    Parameters
    ----------
    source : a sculpt, or the path of a file with one.

    Raises
    ------
    InputError, MarksError, InfeasibleError : see :mod:`loopwright.errors`.

    Examples
    --------
    >>> from loopwright import BuildOptions, build
    >>> result = build("bust.ply", options=BuildOptions(budget=4000))  # doctest: +SKIP
    >>> result.mesh.quads.shape[1]  # doctest: +SKIP
    4
    """
    wishes = options or BuildOptions()
    clock = _Clock(progress)
    sculpt, findings, painted = _open(source, wishes, clock)
    projector = _grow_trees(sculpt, clock)
    surface, more, paint = _find_regions(sculpt, projector, wishes, clock)
    surface, drawn, ridges = _draw_lines(sculpt, projector, surface, wishes, clock)
    surface, vertex_size, tiny = _find_sizes(surface, wishes, painted, clock)
    layout, last = _lay_out(sculpt, surface, vertex_size, wishes, clock)
    with clock.stage("quads"):
        mesh = build_mesh(layout.layout, layout.counts, layout.layout.vertex_size, progress=progress)
    with clock.stage("relax"):
        asked = hold_points(mesh, wishes.points, projector)
        mesh = relax(asked, projector, progress=progress)
    loosened = tell_loosened(asked, mesh)
    edited: list[Finding] = []
    if wishes.edits:
        with clock.stage("edits"):
            mesh, edited = run_edits(mesh, wishes.edits, projector, progress=progress)
    half = mesh if mesh.mirror is not None else None
    if half is not None and not wishes.mirror_shape:
        with clock.stage("own sides"):
            mesh = own_sides(half, projector, progress=progress)
    distances: dict[str, float] = {}
    with clock.stage("fit"):
        if wishes.fit_limit:
            sharp = ridge_edges(mesh, ridges)
            mesh, report = fit_with_paint(
                mesh,
                projector,
                paint,
                lambda kept: fit_limit(kept, projector, sharpness=sharp, progress=progress),
                progress=lambda _, done: progress("fit", done),
            )
        else:
            mesh = keep_paint(mesh, projector, paint, progress=lambda _, done: progress("fit", done))
    if wishes.fit_limit:
        rms = {"limit before fit, rms": report.before.rms, "limit after fit, rms": report.after.rms}
        distances = {name: value / report.diagonal for name, value in rms.items()}
    with clock.stage("mirror"):
        if mesh.mirror is not None:
            half, mesh = mesh, reflect_half(mesh)
    quality = measure_quality(mesh.positions, mesh.quads)
    told = (*tell_poles(mesh, wishes.poles), *loosened, *tell_folded(mesh, quality, wishes.budget))
    return BuildResult(
        sculpt,
        surface,
        layout,
        (*findings, *more, *drawn, *tiny, *last, *edited, *told),
        clock.timings,
        wishes,
        mesh,
        half,
        quality,
        distances,
    )


SizePaint = Callable[[RegionSurface], FloatArray | None]


def _open(source: Source, wishes: BuildOptions, clock: _Clock) -> tuple[Sculpt, list[Finding], SizePaint]:
    """Read and repair; what is returned last looks up the sizes painted on the sculpt as it came."""
    if isinstance(source, Sculpt):
        sculpt = source
    else:
        with clock.stage("read"):
            sculpt = read_sculpt(source, progress=clock.progress)
    with clock.stage("repair"):
        repaired, findings = repair_sculpt(sculpt)
    return repaired, findings, lambda surface: paint_sizes(surface, wishes.size_dabs, sculpt, wishes.vertex_sizes)


def _grow_trees(sculpt: Sculpt, clock: _Clock) -> SurfaceProjector:
    with clock.stage("trees"):
        return SurfaceProjector(sculpt.positions, sculpt.triangles)


def _find_regions(
    sculpt: Sculpt, projector: SurfaceProjector, wishes: BuildOptions, clock: _Clock
) -> tuple[RegionSurface, list[Finding], Paint]:
    marks = MarksOptions(
        open_colors=wishes.leave_open,
        proxy_faces=wishes.proxy_faces,
        mirror=wishes.mirror,
        region_names=wishes.region_names,
    )
    with clock.stage("marks"):
        surface, report = make_region_surface(sculpt, options=marks, projector=projector, progress=clock.progress)
    check_region_names(surface.regions, wishes.edits)
    findings = []
    if report.dropped_specks:
        count = report.dropped_specks
        specks = plural(count, "painted speck was", "painted specks were")
        theirs = "its surroundings got it" if count == 1 else "their surroundings got them"
        findings.append(Finding("specks", f"{specks} too small to be meant; {theirs}.", count))
    if report.mirror is None:
        findings.append(Finding("no_mirror", "No mirror plane is used: the mesh covers the sculpt as a whole."))
    else:
        share = 100 * report.mirror_rms
        done = "one half is meshed and mirrored" if wishes.mirror_shape else "the topology of one half is mirrored"
        text = f"The halves mirror each other to {share:.3f} % of the diagonal (rms); {done}."
        if wishes.mirror_shape and report.mirror_rms > _UNEQUAL:
            text += " They differ visibly: with own sides (--own-sides) each keeps its shape."
        findings.append(Finding("mirror", text))
    return surface, findings, report.paint


def _draw_lines(
    sculpt: Sculpt, projector: SurfaceProjector, surface: RegionSurface, wishes: BuildOptions, clock: _Clock
) -> tuple[RegionSurface, list[Finding], tuple[FlowLine, ...]]:
    """Cut drawn lines into the surface; where nothing is painted, sharp ridges too, which are returned last."""
    ridges: tuple[FlowLine, ...] = ()
    with clock.stage("lines"):
        reach = mean_size(surface, _face_goal(surface, wishes))
        surface, findings = add_flow_lines(surface, wishes.lines, reach=reach)
        if len(surface.regions) == 1 and sculpt.colors is None:
            surface, ridges = add_ridges(surface, projector, reach=reach)
            if ridges:
                lines = plural(len(ridges), "sharp ridge or crease", "sharp ridges and creases")
                text = f"{lines} of the shape {'is' if len(ridges) == 1 else 'are'} followed like drawn lines."
                findings.append(Finding("ridges", text, len(ridges)))
    return surface, findings, ridges


def _face_goal(surface: RegionSurface, wishes: BuildOptions) -> float:
    return wishes.budget / (2 if surface.mirror is not None else 1)


def _find_sizes(
    surface: RegionSurface, wishes: BuildOptions, size_paint: SizePaint, clock: _Clock
) -> tuple[RegionSurface, FloatArray, list[Finding]]:
    """Return the wished edge lengths, and the surface without painted pieces that are smaller than a face."""
    with clock.stage("sizes"):
        painted = size_paint(surface)
        findings = check_sizes(surface, region_sizes(surface, wishes.sizes), painted, wishes.budget)

        def sizes_at(budget: int, on: RegionSurface = surface) -> FloatArray:
            faces = _face_goal(on, replace(wishes, budget=budget))
            return size_field(on, faces, sizes=region_sizes(on, wishes.sizes), painted=painted)

        vertex_size = sizes_at(wishes.budget)
        kept, merged = merge_unresolved(surface, vertex_size)
        if merged:
            check_resolved(surface, kept, wishes, sizes_at)
            vertex_size = sizes_at(wishes.budget, kept)
            pieces = plural(merged, "painted piece is", "painted pieces are")
            theirs = "its surroundings got it" if merged == 1 else "their surroundings got them"
            findings.append(Finding("unresolved", f"{pieces} smaller than a face of this mesh; {theirs}.", merged))
    return kept, vertex_size, findings


def _lay_out(
    sculpt: Sculpt, surface: RegionSurface, vertex_size: FloatArray, wishes: BuildOptions, clock: _Clock
) -> tuple[CountedLayout, list[Finding]]:
    faces = _face_goal(surface, wishes)
    turn_prices, count_factors = pole_prices(surface, wishes.poles)
    options = LayoutOptions(turns=TurnOptions(region_poles=turn_prices))
    with clock.stage("layout"):
        layout = plan_layout(surface, vertex_size, options=options, progress=clock.progress)
    pins = border_pins(layout, wishes.pins)
    with clock.stage("counts"):
        targets = arc_targets(layout, layout.vertex_size)
        keep = bool(wishes.sizes or wishes.size_dabs) or wishes.vertex_sizes is not None
        weights = CountOptions(region_poles=count_factors)
        counts, total = solve_for_budget(layout, targets, faces, pins=pins, keep_scale=keep, options=weights)
    findings = []
    whole = total * wishes.budget / faces
    if whole > len(sculpt.triangles):
        text = (
            f"The mesh gets {whole:,.0f} faces, but the sculpt has only {plural(len(sculpt.triangles), 'triangle')}: "
        )
        findings.append(
            Finding("finer", text + "its facets will show; a smaller budget, or a finer sculpt, is better.")
        )
    if abs(total - faces) > 0.05 * faces:
        text = f"The layout gives {whole:.0f} faces where {wishes.budget} were wished: sizes and pins leave no other."
        findings.append(Finding("budget", text))
    return CountedLayout(layout, counts), findings


__all__ = ["BuildResult", "Layout", "PlanResult", "build", "plan"]
