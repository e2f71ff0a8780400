"""Whether the lines, places and wishes for poles of an artist were kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from loopwright.counts.find_region import find_region
from loopwright.counts.tell_poles import inner_poles
from loopwright.errors import MarksError
from loopwright.fit.hold_points import IN_OPENING
from loopwright.fit.link_edges import mean_edges
from loopwright.layout.promise_lines import Promise
from loopwright.layout.tell_astray import FOLLOWED, mesh_chains, names_told, tell_astray
from loopwright.marks.stopped_lines import names_adding_nothing
from loopwright.marks.told_lines import names_left_out
from loopwright.numerics.limit_surface import limit_matrix
from loopwright.numerics.norms import norms
from loopwright.options import BuildOptions
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Finding, MirrorPlane, QuadMesh
from loopwright.wishes import FixedPoint, FlowLine, PolePin, WishOutcome


def judge_plan(wishes: BuildOptions, promises: Sequence[Promise], findings: Sequence[Finding]) -> list[WishOutcome]:
    """Return the wishes, of which a plan knows only the lines that cannot be followed.

    Parameters
    ----------
    wishes : with lines and places that have names of their own.
    promises, findings : of the plan.
    """
    lost = {*names_told(findings, promises), *names_left_out(findings)}
    lines = [WishOutcome("line", line.name, False if line.name in lost else None) for line in wishes.lines]
    points = [WishOutcome("point", point.name, None) for point in wishes.points]
    return [*lines, *points, *(WishOutcome("poles", pole.region, None) for pole in wishes.poles)]


def judge_mesh(
    wishes: BuildOptions,
    promises: Sequence[Promise],
    findings: Sequence[Finding],
    mesh: QuadMesh,
    asked: QuadMesh,
    projector: SurfaceProjector,
) -> list[WishOutcome]:
    """Return the wishes, each with whether the finished mesh keeps it.

    Parameters
    ----------
    wishes, promises, findings : as for :func:`judge_plan`.
    mesh : whole.
    asked : its half, where there is a mirror plane, on which lines are promised.
    """
    lines = _judge_lines(wishes.lines, promises, findings, asked) if wishes.lines else []
    points: list[WishOutcome] = []
    if wishes.points:
        points = _judge_points(wishes.points, mesh, asked.mirror, projector, use_limit=wishes.fit_limit)
    return [*lines, *points, *(_judge_poles(pole, mesh) for pole in wishes.poles)]


def tell_missed(outcomes: Sequence[WishOutcome], told: Sequence[Finding] = ()) -> list[Finding]:
    """Return a finding for each held place that no vertex of the finished mesh, or limit of one, is near enough to.

    Places that are ``told`` of by name already are left out.
    """
    names = {name for finding in told if finding.kind == IN_OPENING for name in finding.names}
    return [
        Finding(
            "point_missed",
            f"The place {each.name} is missed by {each.off:.3g}: more would have left poor or folded quads there. "
            "Ask for smaller edges round it, move it, or build without laying the limit surface on the sculpt "
            "(--no-fit).",
            1,
        )
        for each in outcomes
        if each.kind == "point" and each.is_kept is False and each.off is not None and each.name not in names
    ]


def _judge_lines(
    lines: Sequence[FlowLine], promises: Sequence[Promise], findings: Sequence[Finding], asked: QuadMesh
) -> list[WishOutcome]:
    """A line is kept if edges follow all that is promised of it, be it a border's; None where nothing is promised."""
    astray = names_told(tell_astray(promises, *mesh_chains(asked)), promises)
    promised = {promise.name for promise in promises}
    nothing = names_adding_nothing(findings)
    out = []
    for line in lines:
        is_kept = line.name not in astray if line.name in promised else (False if line.name in nothing else None)
        out.append(WishOutcome("line", line.name, is_kept))
    return out


def _judge_points(
    points: Sequence[FixedPoint],
    mesh: QuadMesh,
    mirror: MirrorPlane | None,
    projector: SurfaceProjector,
    *,
    use_limit: bool,
) -> list[WishOutcome]:
    """A place is kept if a vertex, or with the fit its limit, is there, to within a quarter of an edge.

    What lies behind the plane of a mirrored mesh counts as its image on the kept half, where it was held.
    """
    surface = limit_matrix(mesh.quads, len(mesh.positions)) @ mesh.positions if use_limit else mesh.positions
    edges = mean_edges(mesh.positions, mesh.quads)
    used = np.flatnonzero(edges > 0)
    out = []
    for point in points:
        place = np.array(point.at, np.float64)[None]
        if mirror is not None and float(mirror.signed_distance(place)[0]) < 0:
            place = mirror.reflect(place)
        landed = projector.project(place).points[0]
        gaps = norms(surface[used] - landed)
        nearest = int(gaps.argmin())
        is_kept = bool(gaps[nearest] <= FOLLOWED * edges[used[nearest]])
        out.append(replace(WishOutcome("point", point.name, is_kept), off=float(gaps[nearest])))
    return out


def _judge_poles(pole: PolePin, mesh: QuadMesh) -> WishOutcome:
    """None where an edit has merged the region away."""
    try:
        region = find_region(mesh.regions, pole.region)
    except MarksError:
        return WishOutcome("poles", pole.region, None)
    return WishOutcome("poles", pole.region, (len(inner_poles(mesh, region)) > 0) == (pole.wish == "some"))
