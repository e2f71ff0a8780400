"""The stages that find regions: what is painted, then what is drawn."""

from __future__ import annotations

from dataclasses import dataclass, replace

from loopwright.counts.read_pins import region_sizes
from loopwright.counts.size_field import mean_size
from loopwright.edit.run_edits import check_region_names
from loopwright.layout.promise_lines import Promise, promise_lines
from loopwright.layout.tell_astray import surface_chains, tell_astray
from loopwright.marks.add_flow_lines import add_flow_lines, ready_lines
from loopwright.marks.find_ridges import add_ridges
from loopwright.marks.local_size import LocalSize
from loopwright.marks.name_regions import choose_open
from loopwright.marks.options import MarksOptions, MarksReport
from loopwright.marks.region_surface import make_region_surface
from loopwright.marks.stopped_lines import names_adding_nothing
from loopwright.marks.tell_unpainted import tell_unpainted
from loopwright.options import BuildOptions
from loopwright.stages.check_names import check_names
from loopwright.stages.choose_sides import makes_equal
from loopwright.stages.clock import Clock
from loopwright.stages.end_where_thin import end_where_thin
from loopwright.stages.read_ground import Ground
from loopwright.stages.tell_joined import tell_joined
from loopwright.stages.tell_mirror import tell_mirror
from loopwright.stages.wished_sizes import face_goal, wished_sizes
from loopwright.stages.without_names import without_names
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, Paint, RegionSurface
from loopwright.wishes import FlowLine


@dataclass(frozen=True)
class FoundRegions:
    """The proxy with its regions and drawn lines.

    Attributes
    ----------
    surface : a half where there is a mirror plane.
    painted : the same without drawn lines and ridges.
    findings : what was found and done.
    paint : the colour of each vertex of the sculpt.
    ridges : sharp ridges that are followed where nothing is painted.
    is_equal : whether one half of the mesh is made and mirrored, shape and all, where there is a mirror plane.
    promises : what edges of the mesh shall follow of the drawn lines.
    """

    surface: RegionSurface
    painted: RegionSurface
    findings: tuple[Finding, ...]
    paint: Paint
    ridges: tuple[FlowLine, ...]
    is_equal: bool
    promises: tuple[Promise, ...] = ()


def find_regions(ground: Ground, wishes: BuildOptions, clock: Clock) -> FoundRegions:
    """Find the painted regions, cut a proxy along their borders, and cut drawn lines into it.

    Raises
    ------
    MarksError : a wished colour, name, mirror or line does not fit the sculpt.
    """
    with clock.stage("marks"):
        options = MarksOptions(
            open_colors=wishes.leave_open,
            proxy_faces=wishes.planning_faces,
            mirror=wishes.mirror,
            region_names=wishes.region_names,
        )
        painted, report = ground.shelf.keep(
            "marks",
            (options,),
            lambda: make_region_surface(
                ground.sculpt,
                options=options,
                projector=ground.projector,
                shelf=ground.shelf,
                progress=clock.progress,
            ),
        )
    check_names(report, painted, ground, wishes)
    check_region_names(painted.regions, wishes.edits)
    with clock.stage("lines"):
        reach = mean_size(painted, face_goal(painted, wishes))
        painted, ends = end_where_thin(ground, painted, wishes)
        sizes = tuple(region_sizes(painted, wishes.sizes).items()) if wishes.lines else ()
        surface, drawn, ridges, promises = ground.shelf.keep(
            "lines",
            (without_names(painted), wishes.lines, reach, sizes),
            lambda: _draw_lines(ground, painted, wishes, reach),
        )
        surface = replace(surface, regions=painted.regions)
    is_equal = makes_equal(report, reach, ground.projector.diagonal, wishes)
    told = (
        *_tell_unpainted(ground, wishes),
        *_tell_specks(report),
        *ends,
        *tell_mirror(report, painted, ground, wishes, edge=reach, is_equal=is_equal),
        *_tell_joined(report, ground, wishes, reach),
        *drawn,
    )
    return FoundRegions(surface, painted, told, report.paint, ridges, is_equal, promises)


def _tell_joined(report: MarksReport, ground: Ground, wishes: BuildOptions, edge: float) -> list[Finding]:
    if report.mirror is None or not wishes.leave_open:
        return []
    paint, mirror = report.paint, report.mirror
    is_open = choose_open(paint.palette, MarksOptions(open_colors=wishes.leave_open))
    return ground.shelf.keep(
        "joined openings",
        (paint, is_open, mirror, edge),
        lambda: tell_joined(ground.projector, paint, is_open, mirror, edge),
    )


def _tell_unpainted(ground: Ground, wishes: BuildOptions) -> list[Finding]:
    if ground.sculpt.colors is not None or wishes.lines:
        return []
    return [tell_unpainted()]


def _tell_specks(report: MarksReport) -> list[Finding]:
    findings = []
    if report.dropped_specks:
        count = report.dropped_specks
        specks = plural(count, "painted speck was", "painted specks were")
        theirs = "its surroundings got it" if count == 1 else "their surroundings got them"
        findings.append(Finding("specks", f"{specks} too small to be meant; {theirs}.", count))
    return findings


def _draw_lines(
    ground: Ground, painted: RegionSurface, wishes: BuildOptions, reach: float
) -> tuple[RegionSurface, list[Finding], tuple[FlowLine, ...], tuple[Promise, ...]]:
    """Cut in drawn lines, and where nothing is painted sharp ridges; return those and the promises too."""
    ridges: tuple[FlowLine, ...] = ()
    bare = without_names(painted)
    is_open = ground.shelf.depth > 0
    # dabs are left out, so that a stroke of size moves no line
    local: float | FloatArray = wished_sizes(ground, painted, wishes) if wishes.lines or is_open else reach
    if is_open and not wishes.lines:
        ready_lines(bare, ground.shelf, reach=local)  # a sculpt stays open for what is drawn next
    surface, findings = add_flow_lines(bare, wishes.lines, reach=local, shelf=ground.shelf)
    promises: tuple[Promise, ...] = ()
    if wishes.lines:
        promises = promise_lines(bare, wishes.lines, reach=local, shelf=ground.shelf)
        chains = surface_chains(surface, LocalSize(bare, local).at_vertices(surface))
        findings += tell_astray(promises, *chains, told=names_adding_nothing(findings))
    if len(surface.regions) == 1 and ground.sculpt.colors is None:
        surface, ridges = add_ridges(surface, ground.projector, reach=reach)
        if ridges:
            lines = plural(len(ridges), "sharp ridge or crease", "sharp ridges and creases")
            text = f"{lines} of the shape {'is' if len(ridges) == 1 else 'are'} followed like drawn lines."
            findings.append(Finding("ridges", text, len(ridges)))
    return surface, findings, ridges, promises
