"""Keep each quad in its own paint while the mesh is laid on the sculpt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.fit_limit import FitReport, LimitFit
from loopwright.fit.keep_paint import SAFE_LEAD, Kept, keep_paint, keep_paint_again
from loopwright.fit.link_edges import vertices_around
from loopwright.fit.paint_index import PaintIndex
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, Paint, QuadMesh

_LASTS = 0.12  # a lead below this after the fit is too little
_MORE = 0.15  # so much more is asked for in the next attempt
_ATTEMPTS = 3
_SAFE = 0.3  # quads that lead by less keep their shapes, and so do those beside them
_ROWS = 2  # of quads round one that lost its paint that keep theirs in the next attempt


def fit_with_paint(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    paint: Paint,
    fit: LimitFit,
    *,
    kept: Kept | None = None,
    index: PaintIndex | None = None,
    progress: Progress = silent,
) -> tuple[QuadMesh, FitReport]:
    """Return the mesh with its quads kept in their paint and then fitted, and the fit's report.

    The fit moves quads a little along the sculpt. Where one loses its paint by that, it is kept with a wider margin
    and fitted once more, with what lies round it. Quads that hardly lead are not drawn to better shapes.

    Parameters
    ----------
    mesh : evened out, on the sculpt.
    paint : the sculpt's colours, one per vertex of the projector.
    fit : of this mesh.
    kept : what :func:`loopwright.fit.keep_paint.keep_paint` makes of the mesh, where it is known already.
    index : of this paint, where there is one already.
    """
    if len(paint.palette) < 2 or len(mesh.quads) == 0:
        return fit.lay(mesh)
    sampler = PaintSampler(mesh, paint, index or PaintIndex(projector.positions, paint, projector.triangles))
    kept = kept or keep_paint(mesh, projector, paint, sampler=sampler, progress=progress)
    calm = np.zeros(len(mesh.quads), np.bool_)
    margin = np.full(len(mesh.quads), SAFE_LEAD)
    had = sampler.lead(kept.mesh.positions)[0]
    fitted, report = fit.lay(kept.mesh, _shaped(mesh, had, calm))
    lead = sampler.lead(fitted.positions)[0]
    for _ in range(_ATTEMPTS - 1):
        # what could not be kept at all is not worth another attempt
        lost = (lead < _LASTS) & (had >= margin)
        if not lost.any():
            break
        calm |= vertices_around(mesh.quads, lost, _ROWS)[mesh.quads].all(axis=1)
        margin[lost] += _MORE
        more = keep_paint_again(kept, projector, sampler, had, margin, lost, progress)
        moved = (more.mesh.positions != kept.mesh.positions).any(axis=1)
        moved[mesh.quads[lost]] = True
        had = _update(had, sampler, kept.mesh, more.mesh)
        again, report_again = fit.lay_again(more.mesh, fitted, moved, report, _shaped(mesh, had, calm))
        lead_again = _update(lead, sampler, fitted, again)
        if _score(lead_again) >= _score(lead):
            break
        kept, fitted, report, lead = more, again, report_again, lead_again
    return fitted, report


def _shaped(mesh: QuadMesh, lead: FloatArray, calm: BoolArray) -> BoolArray:
    """Return (m,) which quads may be drawn to better shapes: neither calm ones, nor those that hardly lead."""
    at_risk = vertices_around(mesh.quads, lead < _SAFE, 0)
    return np.asarray(~(calm | at_risk[mesh.quads].any(axis=1)), np.bool_)


def _update(lead: FloatArray, sampler: PaintSampler, before: QuadMesh, after: QuadMesh) -> FloatArray:
    """Return (m,) the leads after some vertices moved."""
    moved = (after.positions != before.positions).any(axis=1)
    faces: NDArray[np.int64] = np.flatnonzero(moved[after.quads].any(axis=1))
    out = lead.copy()
    out[faces] = sampler.lead(after.positions, faces)[0]
    return out


def _score(lead: FloatArray) -> float:
    """Return the number of quads that lost their paint, those that barely keep it counting little."""
    return float((lead < 0).sum()) + 1e-3 * float((lead < _LASTS).sum())
