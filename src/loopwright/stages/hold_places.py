"""Hold vertices at the artist's places; where places clash, all that do are told at once."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.counts.counted_layout import CountedLayout
from loopwright.errors import InfeasibleError
from loopwright.fit.hold_points import hold_points, tell_points, without_openings
from loopwright.stages.clock import Clock
from loopwright.stages.make_quads import make_quads
from loopwright.stages.read_ground import Ground
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, QuadMesh
from loopwright.wishes import FixedPoint

_SHOWN = 6  # groups of places that are named


def hold_places(
    mesh: QuadMesh, points: Sequence[FixedPoint], projector: SurfaceProjector
) -> tuple[QuadMesh, tuple[int, ...]]:
    """Do as :func:`loopwright.fit.hold_points.hold_points` does, with another message on places that clash.

    Parameters
    ----------
    points : with names that tell them apart.

    Raises
    ------
    InfeasibleError : several places want one vertex; names all of them.
    MarksError : a place lies far from the sculpt.
    """
    try:
        return hold_points(mesh, points, projector)
    except InfeasibleError as error:
        groups = _clashes(mesh, points, projector)
        if not groups:
            raise
        raise InfeasibleError(
            _tell(groups), places=[name for group in groups for name in group], in_marks=True
        ) from error


def check_places(
    ground: Ground, made: CountedLayout, covered: FloatArray, points: Sequence[FixedPoint], clock: Clock
) -> list[Finding]:
    """Refuse held places of a plan as a build does, and tell those that lie off the sculpt or over an opening.

    A build holds vertices of the quads that fill the layout; where there are places, a plan makes them too.

    Parameters
    ----------
    covered : (n, 3) points of what the mesh covers.
    points : with names that tell them apart.

    Raises
    ------
    InfeasibleError, MarksError : as :func:`hold_places` raises.
    """
    if not points:
        return []
    mesh = make_quads(ground, made, clock)
    off = tell_points(mesh, points, ground.projector, covered)
    hold_places(mesh, without_openings(points, off), ground.projector)
    return off


def _clashes(mesh: QuadMesh, points: Sequence[FixedPoint], projector: SurfaceProjector) -> list[list[str]]:
    """Return the names of places that want the same vertex, group by group in the order of the points."""
    wanting: dict[int, list[str]] = {}
    for point in points:
        (vertex,) = hold_points(mesh, [point], projector)[1]
        wanting.setdefault(vertex, []).append(point.name)
    return [names for names in wanting.values() if len(names) > 1]


def _tell(groups: list[list[str]]) -> str:
    told = [f"{', '.join(names[:-1])} and {names[-1]}" for names in groups]
    both = "both" if len(groups[0]) == 2 else "all of them"
    more = [f"so do {group}" for group in told[1:_SHOWN]]
    if len(groups) > _SHOWN:
        more.append(f"and so do {plural(len(groups) - _SHOWN, 'more group', 'more groups')} of places")
    return (
        f"{told[0]} lie so near to one another that one vertex would have to be at {both}"
        f"{''.join(f'; {each}' for each in more)}. Raise the budget, paint a smaller size there, or drop some of them."
    )
