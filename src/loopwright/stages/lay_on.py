"""The stage that lays the mesh on the sculpt, its limit surface or its vertices, and touches up its quads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from loopwright.fit.fit_limit import FitOptions, FitReport, LimitFit
from loopwright.fit.fit_with_paint import fit_with_paint
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.follow_paint import follow_paint
from loopwright.fit.link_edges import mean_edges
from loopwright.fit.measure_lack import Standing, measure_standing
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.ridge_edges import ridge_edges
from loopwright.fit.touch_up import touch_up
from loopwright.fit.win_lost import win_lost
from loopwright.options import BuildOptions
from loopwright.progress import Progress, in_parts
from loopwright.stages.find_regions import FoundRegions
from loopwright.stages.keep_in_paint import keep_in_paint, paint_index
from loopwright.stages.read_ground import Ground
from loopwright.types import BoolArray, FloatArray, QuadMesh

_FIT = FitOptions(shape=5.0, slide=0.5, curve_weight=1.0)  # of a mesh that is new, so that its vertices may slide
_PARTS = {"fit": (0.0, 0.5), "touch up": (0.5, 0.9)}  # done by its steps; where more are needed, the rest is theirs
_SURE = 0.999  # lead of quads without other paint
_LOOSE = 0.5  # edges: so near to a held place, and ...
_ON_LINE = 0.3  # ... so near to a drawn line, vertices leave no curve for paint


def lay_on(
    ground: Ground,
    mesh: QuadMesh,
    regions: FoundRegions,
    wishes: BuildOptions,
    places: FloatArray,
    half: QuadMesh,
    progress: Progress,
) -> tuple[QuadMesh, FitReport | None]:
    """Return the mesh laid on the sculpt and touched up, and the fit's report where the limit surface was fitted.

    Parameters
    ----------
    mesh : evened out.
    places : (k, 3) where vertices are held, on one side of the mirror plane.
    half : the mesh before each side got a shape of its own; else the mesh.
    """
    tell = in_parts(progress, "fit", _PARTS)
    held = _held(half, places, _LOOSE)
    if held.any():  # its neighbours move the limit surface there
        held[half.quads[held[half.quads].any(axis=1)]] = True
    if regions.promises:
        held |= _held(half, np.vstack([promise.points for promise in regions.promises]), _ON_LINE)
    if len(held) < len(mesh.positions):  # images, whose places are not those of the mirror image any more
        held = np.append(held, held[fold_mirror(half).source])
    reads = (mesh, wishes.fit_limit, regions.paint, regions.ridges, held)
    return ground.shelf.keep("fit", reads, lambda: _lay_on(ground, mesh, regions, wishes, held, tell))


def distances_told(report: FitReport | None) -> dict[str, float]:
    """Return how far the limit surface is off the sculpt before and after the fit, as shares of the diagonal."""
    if report is None:
        return {}
    rms = {"limit before fit, rms": report.before.rms, "limit after fit, rms": report.after.rms}
    return {name: value / report.diagonal for name, value in rms.items()}


def _lay_on(
    ground: Ground, mesh: QuadMesh, regions: FoundRegions, wishes: BuildOptions, held: BoolArray, tell: Progress
) -> tuple[QuadMesh, FitReport | None]:
    """Lay the mesh on and touch it up; where that leaves quads folded or lost, see if growing them helps."""
    projector, paint = ground.projector, regions.paint
    sharp = ridge_edges(mesh, regions.ridges)
    index = paint_index(ground, paint) if len(paint.palette) > 1 else None
    sampler, drawn = PaintSampler(mesh, paint, index) if index else None, mesh
    if sampler and wishes.fit_limit and len(mesh.quads):  # the fit draws vertices to the curves
        mixed = sampler.lead(mesh.positions)[0] < _SURE
        stopped = replace(mesh, is_fixed=mesh.is_fixed | held)
        drawn = follow_paint(stopped, mixed, sampler.own, sampler.beyond, sampler.colors_at, projector)
        drawn = replace(drawn, is_fixed=drawn.is_fixed & (mesh.is_fixed | ~held))

    def lay() -> tuple[Standing, FitReport | None]:
        if not wishes.fit_limit:
            return measure_standing(touch_up(mesh, projector, sampler, held, tell), sampler), None
        fit = LimitFit(projector, options=_FIT, sharpness=sharp, progress=tell)
        laid = fit.lay(drawn)
        out = measure_standing(touch_up(laid[0], projector, sampler, held, tell), sampler)
        if sampler is not None:
            out = win_lost(drawn, laid, out, fit, projector, sampler, held, progress=tell)
        return out, fit.measure_again(out.mesh, laid[1])

    def lay_grown() -> tuple[Standing, FitReport | None]:
        kept = keep_in_paint(ground, mesh, paint, tell)
        if not wishes.fit_limit:
            return measure_standing(touch_up(kept.mesh, projector, sampler, held, tell), sampler), None
        fit = LimitFit(projector, options=_FIT, sharpness=sharp, progress=tell)
        laid, report = fit_with_paint(mesh, projector, paint, fit, kept=kept, index=index, progress=tell)
        out = measure_standing(touch_up(laid, projector, sampler, held, tell), sampler)
        return out, fit.measure_again(out.mesh, report)

    best, report = lay()
    if sampler is not None and any(best.rank[:2]):  # growing mends folded quads, too
        grown, grown_report = lay_grown()
        if grown.rank < best.rank:
            best, report = grown, grown_report
    return best.mesh, report


def _held(mesh: QuadMesh, points: FloatArray, reach: float) -> BoolArray:
    """Return (n,) which vertices that are fixed or on curves are within so many edges of these points, or images."""
    held = np.zeros(len(mesh.positions), np.bool_)
    bound = np.flatnonzero(mesh.is_fixed | (mesh.vertex_curve >= 0))
    if len(points) == 0 or len(bound) == 0:
        return held
    both = points if mesh.mirror is None else np.vstack([points, mesh.mirror.reflect(points)])
    away, _ = cKDTree(both, balanced_tree=False).query(mesh.positions[bound])
    held[bound] = away < reach * mean_edges(mesh.positions, mesh.quads)[bound]
    return held
