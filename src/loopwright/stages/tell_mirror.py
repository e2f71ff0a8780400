"""Tell how well the halves of a sculpt mirror each other, and what a mirror plane that does not fit it costs."""

from __future__ import annotations

import numpy as np

from loopwright.marks.options import MarksReport
from loopwright.options import BuildOptions
from loopwright.stages.choose_sides import furthest_apart
from loopwright.stages.read_ground import Ground
from loopwright.surface.mirror import (
    LEAST_ALIKE,
    MOST_APART,
    MirrorFit,
    find_mirror,
    measure_mirror,
    nearest_across_axis,
    plane_across,
    sample_surface,
)
from loopwright.types import Finding, MirrorPlane, RegionSurface

_APART = {"paint": "their paint is", "shape": "their shape is", "part": "a part of their shape is"}
_UNEQUAL = 1e-3  # of the diagonal: halves that differ by more (rms) were made to differ
_LITTLE = 0.1  # share of a colour's vertices on the meshed half up to which it is painted on the other alone
_SAMPLES = 3000  # of the surface, by which a plane is measured


def tell_mirror(
    report: MarksReport,
    painted: RegionSurface,
    ground: Ground,
    wishes: BuildOptions,
    *,
    edge: float,
    is_equal: bool,
) -> list[Finding]:
    """Return findings on the mirror plane, and on regions that are painted only on the half that it leaves out.

    Parameters
    ----------
    edge : the mesh's mean edge.
    is_equal : whether both halves of the mesh are made equal.
    """
    if report.mirror is None:
        text = "No mirror plane is used: the mesh covers the sculpt as a whole."
        if wishes.mirror_shape is not None:
            option = "--mirror-shape" if wishes.mirror_shape else "--own-sides"
            text += f" So {option}, which is about its halves, means nothing."
        return [Finding("no_mirror", f"{text}{_nearest(report, ground) if wishes.mirror == 'auto' else ''}")]
    done = "one half is meshed and mirrored" if is_equal else "the topology of one half is mirrored"
    text = f"The halves mirror each other to {_percent(report.mirror_rms)} of the diagonal (rms); {done}."
    is_wrong = report.mirror_rms > MOST_APART
    far = furthest_apart(report, edge, ground.projector.diagonal)
    apart = f"{_APART[far.what]} {far.edges * edge:.3g} apart ({far.edges:.2f} edges"
    if is_equal and not is_wrong and far.edges > far.most:
        text += f" {apart[0].upper()}{apart[1:]}), and where the mesh cannot be true to both its quads suffer: with own"
        text += " sides (--own-sides) each keeps its own."
    elif is_equal and not is_wrong and report.mirror_rms > _UNEQUAL:
        text += " They differ visibly: with own sides (--own-sides) each keeps its shape."
    elif wishes.mirror_shape is None and not is_equal:
        text += f" Since {apart}, where {far.most:g} is the most), each side keeps its own shape and paint; "
        text += "--mirror-shape makes both equal."
    findings = [Finding("mirror", text)]
    lost = lost_behind(report, painted, ground)
    better = plane_that_fits(report, ground, wishes)
    if is_wrong and (is_equal or better):
        text = f"{_wrong(report.mirror_rms, report.mirror, lost, is_equal=is_equal)} {better}"
        findings.append(Finding("mirror_wrong", text, len(lost), names=tuple(lost)))
    elif lost:
        text = f"{_listed(lost)} painted only on the half that is not meshed ({_side(report.mirror, -1)}), and left out"
        text += ": paint both halves alike, or cover the sculpt as a whole (--mirror none)."
        findings.append(Finding("region_behind", text, len(lost), names=tuple(lost)))
    return findings


def _nearest(report: MarksReport, ground: Ground) -> str:
    """Say which plane across an axis comes nearest, what it lacks, and how to take it all the same."""
    labels = report.paint.color
    fit = ground.shelf.keep(
        "mirror across an axis", (labels,), lambda: nearest_across_axis(ground.projector, vertex_label=labels), depth=1
    )
    if fit is None:
        return ""
    axis = _axis(fit.plane)
    nearest = f" The nearest one across an axis is across {axis} at {fit.plane.offset + 0.0:.4g}: the halves are"
    nearest += f" {_percent(fit.rms)} of the diagonal apart (rms)"
    if fit.rms > MOST_APART:
        return (
            f"{nearest}, where {100 * MOST_APART:g} % is the most for halves that match. Where they are meant to, "
            f"--mirror {axis} --own-sides mirrors the topology and keeps the shape of each side. --mirror takes planes "
            "across the sculpt's own axes alone: turn one that stands aslant back first."
        )
    if fit.label_agreement < LEAST_ALIKE:
        share = f"{100 * fit.label_agreement:.0f} %"
        return (
            f"{nearest}, but only {share} of their area is painted alike, where {100 * LEAST_ALIKE:g} % is the least: "
            f"paint both alike, or use --mirror {axis} for the layout of the half {_side(fit.plane, 1)} on both."
        )
    return f"{nearest}: --mirror {axis} takes it."


def lost_behind(report: MarksReport, painted: RegionSurface, ground: Ground) -> list[str]:
    """Return the regions of which nothing is left and next to nothing lies on the half that is meshed."""
    kept = {region.name for region in painted.regions}
    lost = [share for share in report.regions if not share.is_open and share.name not in kept]
    if not lost or report.mirror is None:
        return []
    palette = [tuple(color) for color in report.paint.palette.tolist()]
    is_ahead = report.mirror.signed_distance(ground.sculpt.positions) >= 0.0
    return [
        share.name
        for share in lost
        if np.mean(is_ahead[report.paint.color == palette.index(share.color)]) < _LITTLE
    ]  # fmt: skip


def plane_that_fits(report: MarksReport, ground: Ground, wishes: BuildOptions) -> str:
    """Say across which plane a sculpt is mirrored; empty where it is across the one that was asked for.

    With own sides it is empty too where there is no other to ask for, as they are the way out themselves.
    """
    if report.mirror is None or report.mirror_rms <= MOST_APART:
        return ""
    alike, bare = ground.shelf.keep("mirror that fits", (), lambda: _find_both(report, ground), depth=1)
    if alike is not None and (bare is None or alike.rms <= bare.rms + _UNEQUAL):
        axis, across = _across(alike.plane, wishes)
        way = f"--mirror {axis}" if axis != wishes.mirror and _is_across(axis, ground) else "--mirror auto"
        return f"It is mirrored {across}, to {_percent(alike.rms)}: use {way}."
    whole = "--mirror none covers it as a whole"
    shape = "No plane was found across which it is mirrored"
    if bare is not None:
        axis, across = _across(bare.plane, wishes)
        shape = f"Its shape is mirrored {across}, to {_percent(bare.rms)}; its paint is not"
        if axis != wishes.mirror and _is_across(axis, ground):
            return f"{shape}: use --mirror {axis} and paint both of its halves alike, or {whole}."
    if wishes.mirror_shape is False:
        return ""
    own = "where it is meant to be mirrored across this one, --own-sides keeps the shape of each side"
    return f"{shape}: {whole}, or, {own}."


def _find_both(report: MarksReport, ground: Ground) -> tuple[MirrorFit | None, MirrorFit | None]:
    """Return the plane across which shape and paint are mirrored, and the one across which the shape alone is."""
    return find_mirror(ground.projector, vertex_label=report.paint.color), find_mirror(ground.projector)


def _is_across(axis: str, ground: Ground) -> bool:
    """Tell whether the plane that is taken where one across this axis is asked for fits the sculpt."""
    if not axis:
        return False
    samples = sample_surface(ground.projector.positions, ground.projector.triangles, _SAMPLES)
    return measure_mirror(ground.projector, plane_across(axis, ground.projector), samples, None).rms <= MOST_APART


def _wrong(rms: float, plane: MirrorPlane, lost: list[str], *, is_equal: bool) -> str:
    rest = "image stands in for the other" if is_equal else "topology was mirrored"
    text = (
        f"The sculpt is not mirrored across the plane that was asked for: its halves are {_percent(rms)} of the "
        f"diagonal apart (rms), where {100 * MOST_APART:g} % is the most for halves that match. The half "
        f"{_side(plane, 1)} was meshed, and its {rest}"
    )
    if lost:
        text += f", with which {', '.join(lost)} {'is' if len(lost) == 1 else 'are'} lost"
    return f"{text}."


def _across(plane: MirrorPlane, wishes: BuildOptions) -> tuple[str, str]:
    """Return the axis that a plane is across, if any, and words for where it lies."""
    axis = _axis(plane)
    at = f" at {plane.offset:.4g}" if axis == wishes.mirror else ""
    return axis, f"across {axis}{at}" if axis else "across a plane aslant"


def _axis(plane: MirrorPlane) -> str:
    """Return the axis that a plane is across; empty where it is across none."""
    axis = int(np.abs(plane.normal).argmax())
    return "xyz"[axis] if abs(float(plane.normal[axis])) == 1.0 else ""


def _side(plane: MirrorPlane, way: int) -> str:
    axis = _axis(plane)
    if not axis:
        return "in front of the plane" if way > 0 else "behind the plane"
    at = plane.offset * float(plane.normal["xyz".index(axis)]) + 0.0
    return f"with {axis} {'above' if way > 0 else 'below'} {at:.4g}"


def _listed(names: list[str]) -> str:
    return f"The region {names[0]} is" if len(names) == 1 else f"The regions {', '.join(names)} are"


def _percent(share: float) -> str:
    return f"{100 * share:.3f} %" if share < MOST_APART else f"{100 * share:.1f} %"
