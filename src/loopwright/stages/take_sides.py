"""The stage that gives each side of a mirrored mesh its own shape and paint."""

from __future__ import annotations

import numpy as np

from loopwright.errors import UnlikeHalvesError
from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.link_edges import mean_edges
from loopwright.fit.measure_quality import are_folded
from loopwright.fit.own_sides import OwnPaint, own_sides
from loopwright.fit.reflect import reflect_half
from loopwright.fit.tell_loosened import tell_loosened
from loopwright.marks.name_regions import choose_open
from loopwright.marks.options import MarksOptions
from loopwright.numerics.norms import norms
from loopwright.options import BuildOptions
from loopwright.progress import Progress
from loopwright.reuse.bend_half import bend_half
from loopwright.stages.find_regions import FoundRegions
from loopwright.stages.keep_in_paint import paint_index
from loopwright.stages.read_ground import Ground
from loopwright.stages.without_names import without_names
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Finding, FloatArray, QuadMesh

_MOST_CROSSING = 0.005  # of the quads may pass through others: lips that touch
_TOO_MANY_CROSSING = 0.015  # of the quads: so many the fit can hardly part again
_ASTRAY, _MOST_ASTRAY = 1.0, 0.01  # edges off the sculpt, and the share of a half whose image may be so far
_SAMPLES = 20000  # of the half that is not meshed
FOLDED_SIDES = Finding(
    "own_sides",
    "With sides of their own some quads would be folded, or pass through others, so both halves are made equal after "
    "all: paint both alike, or ask for them (--own-sides) all the same. Where a part is on one half alone, --mirror "
    "none covers the sculpt as a whole.",
)
UNLIKE_HALVES = Finding(
    "unlike_halves",
    "The halves of the sculpt match but for a part that is on one of them alone, or stands elsewhere on the other. "
    "With sides of their own some quads would be folded, or pass through others, and equal halves would leave the "
    "sculpt there. So the mesh covers the sculpt as a whole, without a mirror. To plan and edit that mesh, and to have "
    "it in half the time, say so (--mirror none); --mirror-shape makes both halves equal, and --own-sides gives each "
    "its own, all the same.",
)


def take_sides(
    ground: Ground, half: QuadMesh, regions: FoundRegions, wishes: BuildOptions, held: FloatArray, progress: Progress
) -> tuple[QuadMesh, list[Finding]]:
    """Return the whole mesh of a half, each side on its own part of the sculpt, and findings; or the half as it is.

    Where that would fold quads, or lay many through others, other ways are tried. Where all of them fold some, or
    lay too many through others, it is only done if it is asked for.

    Parameters
    ----------
    half : evened out, ending at its mirror plane.
    held : (k, 3) places at which a vertex of it is to stay.

    Raises
    ------
    UnlikeHalvesError : it is not, and equal halves would leave the sculpt on a part of it, with a plane that was not
        asked for.
    """
    projector, palette = ground.projector, regions.paint.palette
    is_open = choose_open(palette, MarksOptions(open_colors=wishes.leave_open))
    paint = OwnPaint(regions.paint, paint_index(ground, regions.paint), is_open, held) if len(palette) > 1 else None
    painted = without_names(regions.painted)

    def make() -> tuple[QuadMesh, tuple[int, int]]:
        bent = ground.shelf.keep(
            "bent half",
            (painted, regions.paint, is_open),
            lambda: bend_half(painted, projector, regions.paint, is_open, progress=progress),
            depth=1,
        )
        best = own_sides(half, projector, paint=paint, carry=bent.carry, progress=progress)
        faults = _faults(best)
        for carry in (bent.carry, None):  # without holding tips
            if not _are_more(faults, before, _MOST_CROSSING * len(best.quads)):
                break
            if paint is not None or carry is None:
                other = own_sides(half, projector, paint=paint, carry=carry, keep_tips=False, progress=progress)
                best, faults = min((best, faults), (other, _faults(other)), key=lambda each: each[1])
        return best, faults

    reads = (half, painted, regions.paint, wishes.leave_open, held)
    before = _faults(half)
    whole, faults = ground.shelf.keep("own sides", reads, make)
    if wishes.mirror_shape is None and _are_more(faults, before, _TOO_MANY_CROSSING * len(whole.quads)):
        if wishes.mirror == "auto" and _share_astray(half, projector) > _MOST_ASTRAY:
            raise UnlikeHalvesError(UNLIKE_HALVES.text)
        return half, [FOLDED_SIDES]
    return whole, tell_loosened(reflect_half(half), whole)


def _share_astray(half: QuadMesh, projector: SurfaceProjector) -> float:
    """Return of which share of a half the plain image lies more than an edge off the sculpt, of the one with more.

    One half is measured at the vertices of its mesh, the other at those of the sculpt.
    """
    if half.mirror is None:
        return 0.0
    behind = projector.positions[half.mirror.signed_distance(projector.positions) < 0.0]
    behind = behind[:: max(1, len(behind) // _SAMPLES)]
    most = _ASTRAY * float(mean_edges(half.positions, half.quads).mean())
    images = (half.mirror.reflect(points) for points in (half.positions, behind))
    return max(float(np.mean(norms(projector.project(at).points - at) > most)) for at in images if len(at))


def _faults(mesh: QuadMesh) -> tuple[int, int]:
    """Return how many quads are folded, and how many pass through others."""
    crossing = CrossingFinder(fold_mirror(mesh)).find(mesh.positions)
    return int(are_folded(mesh.positions, mesh.quads).sum()), len(crossing)


def _are_more(faults: tuple[int, int], before: tuple[int, int], most_crossing: float) -> bool:
    """Return whether own sides have more faults than both halves had; so many more quads may pass through others."""
    return faults[0] > 2 * before[0] or faults[1] > 2 * before[1] + most_crossing
