"""The stages that plan: the layout, then the segment counts of its arcs."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from loopwright.counts.added_poles import tell_added_poles
from loopwright.counts.count_options import CountOptions
from loopwright.counts.count_program import SumPin
from loopwright.counts.counted_layout import CountedLayout
from loopwright.counts.explain_clash import next_count
from loopwright.counts.find_starved import find_starved
from loopwright.counts.measure_faces import filled_faces
from loopwright.counts.paint_sizes import paint_sizes
from loopwright.counts.read_pins import border_pins, pole_prices, region_sizes, tell_opening_named
from loopwright.counts.solve_counts import arc_targets, solve_for_budget
from loopwright.counts.tell_costly_pins import stretch, tell_costly_pins, tell_far_pins
from loopwright.counts.tell_pin_places import tell_pin_places
from loopwright.counts.tell_sizes_off import tell_sizes_off
from loopwright.errors import ConvergenceError, InfeasibleError
from loopwright.layout.plan_layout import LayoutOptions, plan_layout
from loopwright.layout.types import Layout
from loopwright.options import BuildOptions
from loopwright.quads.build_mesh import place_quads
from loopwright.stages.clock import Clock
from loopwright.stages.layout_style import USUAL_STYLE, LayoutStyle
from loopwright.stages.read_ground import Ground
from loopwright.stages.wished_sizes import face_goal
from loopwright.stages.without_names import without_names
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, IntArray, RegionSurface

_OFF, _FEW = 0.02, 4.0  # share of the budget, and faces, that a mesh may be off without a word
_LESS = (3.0, 1.0)  # factors on the price of unwanted poles, where the full one starves borders
_FREED = 5  # solves without pins in a build
_NEAR = 2.0  # factor between pinned counts and wished ones up to which pins may hold anyway


def lay_out(
    ground: Ground,
    surface: RegionSurface,
    vertex_size: FloatArray,
    wishes: BuildOptions,
    clock: Clock,
    *,
    extent: float,
    style: LayoutStyle = USUAL_STYLE,
    patience: int | None = None,
) -> tuple[CountedLayout, list[Finding]]:
    """Plan corners, poles and patches, and solve the segment counts.

    Parameters
    ----------
    extent : of the surface before lines were drawn on it.
    style : how corners, cuts and counts are weighed.
    patience : branches after which a solve of the counts gives up; None for the best found in time.

    Raises
    ------
    PatienceError : the counts take more branches than that.
    MarksError : a pin or a wish for poles names what is not there.
    InfeasibleError : pins that clash.
    """
    faces = face_goal(surface, wishes)
    unnamed, weights, pins, placed = _lay_pins(ground, surface, vertex_size, wishes, clock, extent, style)
    layout = replace(unnamed, surface=replace(unnamed.surface, regions=surface.regions))
    with clock.stage("counts"):
        counts = _solve_wished(ground, unnamed, pins, replace(weights, patience=patience), wishes, faces)
        total = float(filled_faces(layout, counts).sum())
    told = tell_opening_named(layout) + _tell_faces(ground, total, faces, wishes) + placed
    told += tell_added_poles(layout, counts, pins)
    made = CountedLayout(layout, counts)
    return made, told + _tell_sizes(ground, made, wishes, clock)


def check_pins(
    ground: Ground,
    surface: RegionSurface,
    vertex_size: FloatArray,
    wishes: BuildOptions,
    clock: Clock,
    *,
    extent: float,
) -> None:
    """Raise where pins and wishes for poles can be in no layout, by the usual one and before any count is solved.

    Raises
    ------
    MarksError : what they name is not there, or not where it is said to be.
    """
    if wishes.pins or wishes.poles:
        with contextlib.suppress(InfeasibleError):  # a count that another layout may have
            _lay_pins(ground, surface, vertex_size, wishes, clock, extent, USUAL_STYLE)


def _lay_pins(
    ground: Ground,
    surface: RegionSurface,
    vertex_size: FloatArray,
    wishes: BuildOptions,
    clock: Clock,
    extent: float,
    style: LayoutStyle,
) -> tuple[Layout, CountOptions, tuple[SumPin, ...], list[Finding]]:
    """Return the layout without names, the weights of its counts, the pins on its arcs, and what is told of those."""
    turn_prices, count_factors = pole_prices(surface, wishes.poles)
    options = style.layout_options(surface.regions, turn_prices)
    with clock.stage("layout"):
        unnamed = _plan(ground, without_names(surface), vertex_size, options, extent, clock)
    layout = replace(unnamed, surface=replace(unnamed.surface, regions=surface.regions))
    weights = style.count_options(count_factors)

    def nearest(pin: SumPin, others: tuple[SumPin, ...], way: int) -> int | None:
        return next_count(layout, arc_targets(layout, layout.vertex_size), pin, others, weights, way)

    placed = tell_pin_places(layout, wishes.pins)
    return unnamed, weights, border_pins(layout, wishes.pins, nearest=nearest), placed


def tell_pins(
    ground: Ground,
    surface: RegionSurface,
    made: CountedLayout,
    wishes: BuildOptions,
    clock: Clock,
    *,
    solved: bool,
    style: LayoutStyle = USUAL_STYLE,
) -> list[Finding]:
    """Tell which pins cost much: by what the sizes ask for alone, or by solving the counts without those in doubt.

    Parameters
    ----------
    solved : solve, which takes as long as the counts did for each of a few pins.
    """
    layout, counts = made.layout, made.counts
    pins = border_pins(layout, wishes.pins)
    if not pins:
        return []
    targets = arc_targets(layout, layout.vertex_size)
    if not solved:
        return tell_far_pins(counts, targets, pins)
    weights = style.count_options(pole_prices(surface, wishes.poles)[1])
    unnamed = replace(layout, surface=without_names(layout.surface))

    def solve(kept: tuple[SumPin, ...]) -> IntArray:
        return _solve(ground, unnamed, kept, weights, wishes, face_goal(surface, wishes), stage="freed pins")

    with clock.stage("counts"):
        return tell_costly_pins(layout, counts, targets, pins, solve)


def _solve_wished(
    ground: Ground, layout: Layout, pins: tuple[SumPin, ...], weights: CountOptions, wishes: BuildOptions, faces: float
) -> IntArray:
    """Solve the counts; where regions without poles would take their segments from others, poles cost less and less.

    A border of a few long edges is worse than a pole, which is told (see :func:`loopwright.counts.tell_poles`).
    """

    def solve(least: float) -> IntArray:
        factors = {region: min(factor, least) for region, factor in weights.region_poles.items()}
        chosen = replace(weights, region_poles=factors)
        return _solve_pinned(
            layout, pins, lambda kept, stage: _solve(ground, layout, kept, chosen, wishes, faces, stage=stage)
        )

    counts = solve(np.inf)
    if any(factor > 1.0 for factor in weights.region_poles.values()):
        targets = arc_targets(layout, layout.vertex_size)
        for factor in _LESS:
            if len(find_starved(counts, targets, pins)) == 0:
                break
            counts = solve(factor)
    return counts


def _solve_pinned(
    layout: Layout, pins: tuple[SumPin, ...], solve: Callable[[tuple[SumPin, ...], str], IntArray]
) -> IntArray:
    """Solve the counts; pins that hold without being asked for change none of them.

    Many counts are about equally good, and the solver would find others with such pins. So where all pins are near
    to what the sizes ask for, they are first left out.

    Parameters
    ----------
    solve : with these pins, and the name under which that is kept.
    """
    targets = arc_targets(layout, layout.vertex_size) if pins else np.zeros(0)
    if pins and all(stretch(pin.count, float(targets[list(pin.arcs)].sum())) < _NEAR for pin in pins):
        try:
            free = solve((), "freed pins")
        except ConvergenceError:
            return solve(pins, "counts")
        if all(free[list(pin.arcs)].sum() == pin.count for pin in pins):
            return free
    return solve(pins, "counts")


def _solve(
    ground: Ground,
    layout: Layout,
    pins: tuple[SumPin, ...],
    weights: CountOptions,
    wishes: BuildOptions,
    faces: float,
    *,
    stage: str = "counts",
) -> IntArray:
    """Solve the segment counts, or find them on the shelf."""
    keep, reads = _asks_for_sizes(wishes), replace(weights, patience=None)  # which changes no counts that are found
    return ground.shelf.keep(
        stage,
        (layout, pins, reads, keep, faces),
        lambda: solve_for_budget(
            layout, arc_targets(layout, layout.vertex_size), faces, pins=pins, keep_scale=keep, options=weights
        ),
        parts=1 if stage == "counts" else _FREED,
    )[0]


def _plan(
    ground: Ground,
    surface: RegionSurface,
    vertex_size: FloatArray,
    options: LayoutOptions,
    extent: float,
    clock: Clock,
) -> Layout:
    return ground.shelf.keep(
        "layout",
        (surface, vertex_size, options, extent),
        lambda: plan_layout(
            surface, vertex_size, options=options, extent=extent, shelf=ground.shelf, progress=clock.progress
        ),
    )


def _tell_sizes(ground: Ground, made: CountedLayout, wishes: BuildOptions, clock: Clock) -> list[Finding]:
    if not _asks_for_sizes(wishes):
        return []
    surface = made.layout.surface
    painted = paint_sizes(surface, wishes.size_dabs, ground.given, wishes.vertex_sizes)
    faces = np.array([patch.faces for patch in made.patches], np.int32)
    place = place_quads(made.layout, made.counts, made.layout.vertex_size)
    with clock.stage("quads"):
        return tell_sizes_off(made.layout, faces, place, region_sizes(surface, wishes.sizes), wishes.size_dabs, painted)


def _asks_for_sizes(wishes: BuildOptions) -> bool:
    return bool(wishes.sizes or wishes.size_dabs) or wishes.vertex_sizes is not None


def _tell_faces(ground: Ground, total: float, faces: float, wishes: BuildOptions) -> list[Finding]:
    findings = []
    whole, triangles = total * wishes.budget / faces, len(ground.sculpt.triangles)
    if whole > triangles:
        text = f"The mesh gets {whole:,.0f} faces, but the sculpt has only {plural(triangles, 'triangle')}: "
        findings.append(
            Finding("finer", text + "its facets will show; a smaller budget, or a finer sculpt, is better.")
        )
    if abs(whole - wishes.budget) > max(_OFF * wishes.budget, _FEW):
        asked = wishes.pins or _asks_for_sizes(wishes)
        cause, way = "its regions, rings and openings", "other paint"
        if asked:
            cause, way = "sizes and pins", "one of them less"
        other = "a larger" if whole > wishes.budget else "another"
        text = (
            f"The layout gives {whole:.0f} faces where {wishes.budget} were wished: for {cause} none nearer was found; "
        )
        text += f"{way}, or {other} budget, may free it."
        findings.append(Finding("budget", text))
    return findings
