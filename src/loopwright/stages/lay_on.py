"""The stage that lays the mesh on the sculpt, its limit surface or its vertices, and touches up its quads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from loopwright.fit.fit_limit import FitOptions, FitReport, LimitFit
from loopwright.fit.fit_with_paint import fit_with_paint
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.follow_paint import follow_paint
from loopwright.fit.link_edges import mean_edges, vertices_around
from loopwright.fit.measure_lack import FLAT, Standing, measure_standing
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.part_crossings import touches_more
from loopwright.fit.ridge_edges import ridge_edges
from loopwright.fit.take_near import take_near
from loopwright.fit.touch_up import touch_up, undo_crossings
from loopwright.fit.win_lost import win_lost
from loopwright.options import BuildOptions
from loopwright.progress import Progress, in_parts
from loopwright.stages.find_regions import FoundRegions
from loopwright.stages.keep_in_paint import keep_in_paint, paint_index
from loopwright.stages.read_ground import Ground
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, QuadMesh

Measure = Callable[[QuadMesh], FitReport | None]
"""Takes a mesh to its fit's report."""

# of a mesh that is new, so that its vertices may slide
_FIT = FitOptions(shape=60.0, slide=0.5, curve_weight=2.0, hold_weight=20.0)
_PARTS = {"fit": (0.0, 0.5), "touch up": (0.5, 0.9)}  # done by its steps; where more are needed, the rest is theirs
_SURE = 0.999  # lead of quads without other paint
_LOST_PRICE = 2.0  # of a lost quad, in what all quads lack, where winning it changes the whole mesh
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

    def touched(laid: QuadMesh, stays: BoolArray = held) -> Standing:
        return measure_standing(touch_up(laid, projector, sampler, stays, tell), sampler)

    def lay_bent(bent: QuadMesh) -> tuple[Standing, Measure]:
        fit = LimitFit(projector, options=_FIT, sharpness=sharp, progress=tell)
        laid = fit.lay(bent)
        out = touched(laid[0])
        if sampler is not None:
            out = win_lost(bent, laid, out, fit, projector, sampler, held, progress=tell)
        return out, lambda made: fit.measure_again(made, laid[1])

    def lay() -> tuple[Standing, Measure]:
        if not wishes.fit_limit:
            return touched(mesh), _no_report
        first = lay_bent(drawn)
        freed = _free_bends(mesh, drawn, first[0].mesh)
        if freed is None:
            return first
        second = lay_bent(freed)
        return min(first, second, key=lambda each: _rank_of_use(each[0]))

    def lay_grown() -> tuple[Standing, Measure]:
        kept = keep_in_paint(ground, mesh, paint, tell)
        if not wishes.fit_limit:
            return touched(kept.mesh), _no_report
        fit = LimitFit(projector, options=_FIT, sharpness=sharp, progress=tell)
        laid, report = fit_with_paint(mesh, projector, paint, fit, kept=kept, index=index, progress=tell)
        return touched(laid), lambda made: fit.measure_again(made, report)

    best, measure = lay()
    if sampler is not None and any(best.rank[:2]):  # growing mends folded quads, too
        grown, measure_grown = lay_grown()
        joined, moved = take_near(best.mesh, grown.mesh, best.lost | _flat(best.mesh), held)  # else of better shape
        part = touched(joined, held | ~moved) if wishes.fit_limit else grown  # vertices on the sculpt are not blended
        if part.rank < best.rank and part.rank <= grown.rank:
            part = _without_crossings(best.mesh, part, projector, sampler)
        if part.rank < best.rank and (part.rank <= grown.rank or _price(part) < _price(grown)):
            best = part
        elif _price(grown) < _price(best):
            best, measure = grown, measure_grown
    return best.mesh, measure(best.mesh)


def _no_report(mesh: QuadMesh) -> None:
    """Return the report of a fit that there was none of."""


def _flat(mesh: QuadMesh) -> BoolArray:
    """Return (m,) which quads are folded or all but flat."""
    return np.asarray(measure_quality(mesh.positions, mesh.quads).scaled_jacobian < FLAT, np.bool_)


def _rank_of_use(standing: Standing) -> tuple[int, int, float]:
    """Return the rank with flat quads counted as lost ones."""
    folded, lost, lack = standing.rank
    return folded, lost + int(_flat(standing.mesh).sum()), lack


def _without_crossings(
    mesh: QuadMesh, part: Standing, projector: SurfaceProjector, sampler: PaintSampler | None
) -> Standing:
    """Return a mesh of which a part is laid otherwise, but the first one's where quads cross others by that."""
    at, before = part.mesh.positions, mesh.positions
    if not touches_more(fold_mirror(mesh), projector, at, before):
        return part
    normals = projector.project(before).normals
    return measure_standing(replace(mesh, positions=undo_crossings(mesh, at, normals, projector)), sampler)


def _price(standing: Standing) -> tuple[int, float]:
    """Return the rank with so much less shape for each quad that is not lost, and no more."""
    folded, lost, lack = standing.rank
    return folded, lost * _LOST_PRICE + lack


def _free_bends(mesh: QuadMesh, drawn: QuadMesh, laid: QuadMesh) -> QuadMesh | None:
    """Return the drawn mesh with vertices free that were held in bends where quads came out flat; None if none did.

    Parameters
    ----------
    mesh : before borders were drawn to the paint. laid : what came of the drawn one.
    """
    flat = vertices_around(mesh.quads, _flat(laid), 0, count=len(mesh.positions))
    freed = flat & drawn.is_fixed & ~mesh.is_fixed
    if not freed.any():
        return None
    positions = np.where(freed[:, None], mesh.positions, drawn.positions)
    return replace(drawn, positions=positions, is_fixed=drawn.is_fixed & ~freed)


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
