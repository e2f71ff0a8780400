"""The stages that plan: the layout, then the segment counts of its arcs."""

from __future__ import annotations

from dataclasses import replace

from loopwright.counts.added_poles import tell_added_poles
from loopwright.counts.count_program import CountOptions
from loopwright.counts.counted_layout import CountedLayout
from loopwright.counts.read_pins import border_pins, pole_prices
from loopwright.counts.solve_counts import arc_targets, solve_for_budget
from loopwright.layout.plan_layout import LayoutOptions, plan_layout
from loopwright.layout.plan_turns import TurnOptions
from loopwright.layout.types import Layout
from loopwright.options import BuildOptions
from loopwright.stages.clock import Clock
from loopwright.stages.read_ground import Ground
from loopwright.stages.wished_sizes import face_goal
from loopwright.stages.without_names import without_names
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, RegionSurface


def lay_out(
    ground: Ground, surface: RegionSurface, vertex_size: FloatArray, wishes: BuildOptions, clock: Clock
) -> tuple[CountedLayout, list[Finding]]:
    """Plan corners, poles and patches, and solve the segment counts.

    Raises
    ------
    MarksError : a pin or a wish for poles names what is not there.
    InfeasibleError : pins that clash.
    """
    faces = face_goal(surface, wishes)
    turn_prices, count_factors = pole_prices(surface, wishes.poles)
    options = LayoutOptions(turns=TurnOptions(region_poles=turn_prices))
    with clock.stage("layout"):
        unnamed = _plan(ground, without_names(surface), vertex_size, options, clock)
        layout = replace(unnamed, surface=replace(unnamed.surface, regions=surface.regions))
    pins = border_pins(layout, wishes.pins)
    weights = CountOptions(region_poles=count_factors)
    keep = bool(wishes.sizes or wishes.size_dabs) or wishes.vertex_sizes is not None
    with clock.stage("counts"):
        counts, total = ground.shelf.keep(
            "counts",
            (unnamed, pins, weights, keep, faces),
            lambda: solve_for_budget(
                layout, arc_targets(layout, layout.vertex_size), faces, pins=pins, keep_scale=keep, options=weights
            ),
        )
    told = _tell_faces(ground, total, faces, wishes) + tell_added_poles(layout, counts, pins)
    return CountedLayout(layout, counts), told


def _plan(
    ground: Ground, surface: RegionSurface, vertex_size: FloatArray, options: LayoutOptions, clock: Clock
) -> Layout:
    return ground.shelf.keep(
        "layout",
        (surface, vertex_size, options),
        lambda: plan_layout(surface, vertex_size, options=options, shelf=ground.shelf, progress=clock.progress),
    )


def _tell_faces(ground: Ground, total: float, faces: float, wishes: BuildOptions) -> list[Finding]:
    findings = []
    whole, triangles = total * wishes.budget / faces, len(ground.sculpt.triangles)
    if whole > triangles:
        text = f"The mesh gets {whole:,.0f} faces, but the sculpt has only {plural(triangles, 'triangle')}: "
        findings.append(
            Finding("finer", text + "its facets will show; a smaller budget, or a finer sculpt, is better.")
        )
    if abs(total - faces) > 0.05 * faces:
        text = f"The layout gives {whole:.0f} faces where {wishes.budget} were wished: sizes and pins leave no other."
        findings.append(Finding("budget", text))
    return findings
