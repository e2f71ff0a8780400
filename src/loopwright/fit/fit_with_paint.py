"""Keep each quad in its own paint while the mesh is laid on the sculpt."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from loopwright.fit.fit_limit import FitReport
from loopwright.fit.keep_paint import SAFE_LEAD, PaintSampler, keep_paint
from loopwright.fit.link_edges import vertices_around
from loopwright.fit.paint_index import PaintIndex
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, Paint, QuadMesh

Fit = Callable[[QuadMesh, BoolArray], tuple[QuadMesh, FitReport]]
"""Takes a mesh, and (m,) which of its quads may be drawn to better shapes."""

_LASTS = 0.08  # a lead below this after the fit is too little
_MORE = 0.15  # so much more is asked for in the next attempt
_ATTEMPTS = 3
_SAFE = 0.3  # quads that lead by less keep their shapes, and so do those beside them
_ROWS = 2  # of quads round one that lost its paint that keep theirs in the next attempt


def fit_with_paint(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    paint: Paint,
    fit: Fit,
    *,
    kept: QuadMesh | None = None,
    index: PaintIndex | None = None,
    progress: Progress = silent,
) -> tuple[QuadMesh, FitReport]:
    """Return the mesh with its quads kept in their paint and then fitted, and the fit's report.

    The fit moves quads a little along the sculpt. Where one loses its paint by that, keeping and fitting
    are done again with a wider margin for it. Quads that hardly lead are not drawn to better shapes.

    Parameters
    ----------
    mesh : evened out, on the sculpt.
    paint : the sculpt's colours, one per vertex of the projector.
    fit : lays a mesh on the sculpt.
    kept : what :func:`loopwright.fit.keep_paint.keep_paint` makes of the mesh, where it is known already.
    index : of this paint, where there is one already.
    """
    if len(paint.palette) < 2 or len(mesh.quads) == 0:
        return fit(mesh, np.ones(len(mesh.quads), np.bool_))
    calm = np.zeros(len(mesh.quads), np.bool_)
    margin = np.full(len(mesh.quads), SAFE_LEAD)
    sampler = PaintSampler(mesh, paint, index or PaintIndex(projector.positions, paint))
    fewest = np.inf
    for _ in range(_ATTEMPTS):
        kept = kept or keep_paint(mesh, projector, paint, margin=margin, sampler=sampler, progress=progress)
        had, _ = sampler.lead(kept.positions)
        at_risk = vertices_around(mesh.quads, had < _SAFE, 0)
        fitted, report = fit(kept, ~(calm | at_risk[mesh.quads].any(axis=1)))
        lead, _ = sampler.lead(fitted.positions)
        lost = lead < _LASTS
        score = float((lead < 0).sum()) + 1e-3 * float(lost.sum())
        if score < fewest:
            best, fewest = (fitted, report), score
        if not lost.any():
            break
        calm |= vertices_around(mesh.quads, lost, _ROWS)[mesh.quads].all(axis=1)
        # what could not be kept at all is not worth another attempt
        lost &= had >= margin
        kept = None
        if not lost.any():
            break
        margin[lost] += _MORE
    return best
