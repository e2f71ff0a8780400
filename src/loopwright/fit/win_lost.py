"""Win quads that other paint still outweighs on the fitted mesh: there they grow, and their part is fitted again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.fit.fit_limit import FitReport, LimitFit
from loopwright.fit.keep_paint import SAFE_LEAD, Kept, keep_paint_again
from loopwright.fit.link_edges import vertices_around
from loopwright.fit.measure_lack import Standing, measure_standing
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.touch_up import touch_up
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, QuadMesh

_ATTEMPTS = 2
_NEAR = 1  # rows round lost quads that keep a safe lead while those grow
_MORE = 0.15  # that a lost quad shall lead by, beyond what it led by before the fit
_ROWS = 6  # round vertices that moved: touched up again


def win_lost(
    mesh: QuadMesh,
    laid: tuple[QuadMesh, FitReport],
    touched: Standing,
    fit: LimitFit,
    projector: SurfaceProjector,
    sampler: PaintSampler,
    held: BoolArray,
    *,
    progress: Progress = silent,
) -> Standing:
    """Return the touched-up mesh with lost quads won, as far as growing them helps; elsewhere it stays as it is.

    Parameters
    ----------
    mesh : before the fit. laid : what the fit made of it, and its report. touched : that, touched up.
    fit : that laid the mesh.
    sampler : of this mesh and the sculpt's paint.
    held : (n,) vertices that stay where they are whatever the paint.
    """
    kept = Kept(replace(mesh, is_fixed=mesh.is_fixed | held), np.ones((len(mesh.quads), 2)))
    fitted, report = laid
    for _ in range(_ATTEMPTS):
        lost = touched.lost
        if not lost.any():
            break
        had = sampler.lead(kept.mesh.positions)[0]
        near = vertices_around(mesh.quads, lost, _NEAR, count=len(mesh.positions))[mesh.quads].any(axis=1)
        margin = np.where(near, SAFE_LEAD, -1.0)
        margin[lost] = np.maximum(SAFE_LEAD, had[lost] + _MORE)
        more = keep_paint_again(kept, projector, sampler, had, margin, lost, progress)
        moved = (more.mesh.positions != kept.mesh.positions).any(axis=1)
        if not moved.any():
            break
        kept = more
        fitted, report = fit.lay_again(replace(kept.mesh, is_fixed=mesh.is_fixed), fitted, moved, report)
        changed = lost | moved[mesh.quads].any(axis=1)
        anew = vertices_around(mesh.quads, changed, _ROWS, count=len(mesh.positions))
        start = replace(fitted, positions=np.where(anew[:, None], fitted.positions, touched.mesh.positions))
        trial = measure_standing(touch_up(start, projector, sampler, held | ~anew, progress), sampler)
        if trial.rank >= touched.rank:
            break
        touched = trial
    return touched
