"""The corridor: the stages in order, from a sculpt to a plan or a finished mesh."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

from loopwright.counts.counted_layout import CountedLayout
from loopwright.counts.find_region import find_region
from loopwright.counts.read_pins import is_opening, pole_prices
from loopwright.counts.tell_poles import tell_poles
from loopwright.edit.run_edits import run_edits
from loopwright.errors import (
    Cancelled,
    ConvergenceError,
    InfeasibleError,
    InternalError,
    LoopwrightError,
    TightBudgetError,
    UnlikeHalvesError,
)
from loopwright.fit.hold_points import check_points, tell_points, without_openings
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.reach_tips import tell_tips
from loopwright.fit.reflect import reflect_half
from loopwright.fit.tell_loosened import tell_loosened
from loopwright.handover.tell_folded import tell_folded
from loopwright.handover.tell_missed_shape import tell_missed_shape
from loopwright.handover.tell_poor import tell_poor
from loopwright.layout.size_steps import surface_extent
from loopwright.layout.tell_astray import mesh_chains, names_told, tell_astray
from loopwright.layout.types import Layout
from loopwright.marks.stopped_lines import names_adding_nothing
from loopwright.options import BuildOptions
from loopwright.progress import Progress, silent
from loopwright.results import BuildResult, PlanResult
from loopwright.shelf import Shelf
from loopwright.stages.choose_style import choose_style
from loopwright.stages.clock import Clock
from loopwright.stages.even_out import even_out
from loopwright.stages.explain_tight import explain_tight
from loopwright.stages.find_regions import FoundRegions, find_regions
from loopwright.stages.find_sizes import find_sizes
from loopwright.stages.hold_places import check_places, hold_places
from loopwright.stages.judge_pins import judge_mesh_pins, judge_planned_pins, tell_lost_pins
from loopwright.stages.judge_wishes import judge_mesh, judge_plan, tell_missed
from loopwright.stages.lay_on import distances_told, lay_on
from loopwright.stages.lay_out import check_pins, lay_out, tell_pins
from loopwright.stages.layout_style import USUAL_STYLE, LayoutStyle
from loopwright.stages.make_quads import make_quads
from loopwright.stages.place_poles import place_added_poles
from loopwright.stages.read_ground import Ground, Source, read_ground
from loopwright.stages.sample_on import sample_on
from loopwright.stages.take_sides import FOLDED_SIDES, UNLIKE_HALVES, take_sides
from loopwright.stages.without_names import without_names
from loopwright.types import Finding, QuadMesh, RegionSurface
from loopwright.wishes import name_apart

Value = TypeVar("Value")


def plan(source: Source, *, options: BuildOptions | None = None, progress: Progress = silent) -> PlanResult:
    """Plan the layout and solve the segment counts; with held places also find out whether vertices can be there.

    Parameters
    ----------
    source : a sculpt, or the path of a file with one.

    Raises
    ------
    InputError, MarksError, InfeasibleError : see :mod:`loopwright.errors`.
    """
    clock = Clock(progress)
    return plan_on(read_ground(source, Shelf(depth=0), clock), options or BuildOptions(), clock)


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
    clock = Clock(progress)
    return build_on(read_ground(source, Shelf(depth=0), clock), options or BuildOptions(), clock)


@dataclass(frozen=True)
class _Plan:
    """All that was planned, with what the mesh needs beyond a :class:`PlanResult`."""

    regions: FoundRegions
    surface: RegionSurface
    layout: CountedLayout
    style: LayoutStyle
    tried: Shelf | None
    findings: tuple[Finding, ...]


def plan_on(ground: Ground, wishes: BuildOptions, clock: Clock) -> PlanResult:
    """Plan on a sculpt that is open already."""
    asked, wishes = wishes, _name_apart(wishes)
    made = _plan(ground, wishes, clock)
    off = check_places(ground, made.layout, made.surface.positions, wishes.points, clock)
    later = (
        [Finding("edits", "What is planned is the mesh before its edits; a build makes them.")] if wishes.edits else []
    )
    pins = tell_pins(ground, made.surface, made.layout, wishes, clock, solved=False, style=made.style)
    findings = (*made.findings, *pins, *off, *later)
    outcomes = (*judge_plan(wishes, made.regions.promises, findings), *judge_planned_pins(wishes.pins, made.layout))
    return PlanResult(ground.sculpt, made.surface, made.layout, findings, clock.timings, asked, outcomes=outcomes)


def build_on(ground: Ground, wishes: BuildOptions, clock: Clock) -> BuildResult:
    """Make the mesh of a sculpt that is open already."""
    asked, wishes = wishes, _name_apart(wishes)
    try:
        return _build_as(ground, asked, wishes, clock)
    except UnlikeHalvesError:
        pass
    try:
        return _build_as(ground, asked, replace(wishes, mirror="none"), clock, UNLIKE_HALVES)
    except Cancelled:
        raise
    except LoopwrightError:  # what is wished for may have no place in a mesh without a mirror
        pass
    return _build_as(ground, asked, replace(wishes, mirror_shape=True), clock, FOLDED_SIDES)


def _build_as(ground: Ground, asked: BuildOptions, wishes: BuildOptions, clock: Clock, *told: Finding) -> BuildResult:
    """Plan and make the mesh, with what was found before in front of what is found."""
    made = _plan(ground, wishes, clock)
    if told:  # the plane that was not used
        made = replace(made, findings=(*told, *(each for each in made.findings if each.kind != "no_mirror")))
    with ground.shelf.borrowing(made.tried):
        return _build(ground, asked, wishes, made, clock)


def _build(ground: Ground, asked: BuildOptions, wishes: BuildOptions, made: _Plan, clock: Clock) -> BuildResult:
    """Make the mesh that was planned; the wishes are those asked for with names that messages can tell apart."""
    pins = tell_pins(ground, made.surface, made.layout, wishes, clock, solved=True, style=made.style)
    keep, projector, progress = ground.shelf.keep, ground.projector, clock.progress
    mesh, regions = make_quads(ground, made.layout, clock), made.layout.layout.surface.regions
    with clock.stage("relax"):
        off = tell_points(mesh, wishes.points, projector, made.surface.positions)
        points = without_openings(wishes.points, off)
        held, kept = hold_places(mesh, points, projector)
        mesh = even_out(ground, held, made.surface.positions, clock)
    even, loosened = mesh, tell_loosened(held, mesh)
    edited: list[Finding] = []
    if wishes.edits:
        with clock.stage("edits"):
            given = replace(mesh, regions=regions)
            mesh, edited = keep(
                "edits",
                (given, wishes.edits, kept),
                lambda: run_edits(
                    given, wishes.edits, projector, held=kept, names=[p.name for p in points], progress=progress
                ),
            )
            regions, mesh = mesh.regions, without_names(mesh)
    shared = mesh
    half = mesh if mesh.mirror is not None else None
    if half is not None and not made.regions.is_equal:
        with clock.stage("own sides"):
            mesh, apart = take_sides(ground, half, made.regions, wishes, even.positions[list(kept)], progress)
            loosened += apart
    with clock.stage("fit"):
        places = even.positions[list(kept)]
        mesh, report = lay_on(ground, mesh, made.regions, wishes, places, shared, progress)
    with clock.stage("mirror"):
        mesh = replace(mesh, regions=regions)
        half = half and replace(half, regions=regions)
        if mesh.mirror is not None:
            half, mesh = mesh, reflect_half(mesh)
    quality = measure_quality(mesh.positions, mesh.quads)
    one = mesh if half is None else replace(half, positions=mesh.positions[: len(half.positions)])
    astray = _tell_lines(made, one) + tell_tips(one, made.surface.positions)
    outcomes = judge_mesh(wishes, made.regions.promises, made.findings, mesh, one, projector)
    poor = (*tell_folded(mesh, quality, wishes.budget), *tell_poor(mesh, quality))
    missed = tell_missed_shape(mesh, sample_on(ground, made.regions.paint, wishes), use_limit=wishes.fit_limit)
    told = (*astray, *tell_poles(mesh, wishes.poles), *loosened, *poor, *missed)
    planned_findings = place_added_poles(made.findings, made.layout, wishes, even, mesh)
    return BuildResult(
        ground.sculpt,
        made.surface,
        made.layout,
        (*planned_findings, *pins, *off, *tell_missed(outcomes, off), *edited, *tell_lost_pins(wishes, mesh), *told),
        clock.timings,
        asked,
        mesh,
        half,
        quality,
        distances_told(report),
        outcomes=(*outcomes, *judge_mesh_pins(wishes, made.layout, mesh)),
    )


def _name_apart(wishes: BuildOptions) -> BuildOptions:
    """Return the wishes with lines and places that messages can tell apart."""
    return replace(wishes, lines=name_apart(wishes.lines, "line"), points=name_apart(wishes.points, "point"))


def _tell_lines(made: _Plan, mesh: QuadMesh) -> list[Finding]:
    """Tell which drawn lines the edges of the mesh, or of its half, leave, but for those that the plan told of."""
    promises = made.regions.promises
    if not promises:
        return []
    told = {*names_told(made.findings, promises), *names_adding_nothing(made.findings)}
    return tell_astray(promises, *mesh_chains(mesh), told=told)


def _plan(ground: Ground, wishes: BuildOptions, clock: Clock) -> _Plan:
    check_points(wishes.points, ground.projector)
    regions = find_regions(ground, wishes, clock)
    surface, vertex_size, sized = find_sizes(ground, regions, wishes, clock)
    extent = surface_extent(regions.painted)
    _look_up_names(surface, wishes)
    style, shelf = choose_style(
        ground,
        regions,
        wishes,
        clock,
        before=lambda: check_pins(ground, surface, vertex_size, wishes, clock, extent=extent),
    )
    try:
        with ground.shelf.borrowing(shelf, anew=("layout",)):
            style, (layout, counted) = _lay_out_in(
                style, lambda each: lay_out(ground, surface, vertex_size, wishes, clock, extent=extent, style=each)
            )
    except TightBudgetError as error:
        raise explain_tight(error, ground, regions, wishes, clock) from error
    return _Plan(regions, surface, layout, style, shelf, (*ground.findings, *regions.findings, *sized, *counted))


def _look_up_names(surface: RegionSurface, wishes: BuildOptions) -> None:
    """Raise where a pin or a wish for poles names no region, before a style is chosen for what takes its time."""
    pole_prices(surface, wishes.poles)
    for pin in wishes.pins:
        for name in (pin.region_a, pin.region_b):
            if not is_opening(surface.regions, name):
                find_region(surface.regions, name)


def _lay_out_in(style: LayoutStyle, lay: Callable[[LayoutStyle], Value]) -> tuple[LayoutStyle, Value]:
    """Return what is laid out in a style, or in the usual one where what is wished for has no place in it."""
    if style != USUAL_STYLE:
        try:
            return style, lay(style)
        except Cancelled:
            raise
        except (InfeasibleError, ConvergenceError, InternalError):
            pass
    return USUAL_STYLE, lay(USUAL_STYLE)


__all__ = ["BuildResult", "Layout", "PlanResult", "build", "build_on", "plan", "plan_on"]
