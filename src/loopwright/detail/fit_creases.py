"""Fit a finished cage again, with creases."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.detail.level_surface import level_surface
from loopwright.detail.types import Creases
from loopwright.fit.fit_limit import FitOptions, FitReport, fit_limit
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import QuadMesh


def fit_creases(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    creases: Creases,
    *,
    options: FitOptions | None = None,
    progress: Progress = silent,
) -> tuple[QuadMesh, FitReport]:
    """Return a cage whose limit surface, with these creases, lies on the sculpt.

    Rims and fixed vertices keep the place at which the mesh shows them now: see :func:`lay_on_sculpt`.
    """
    return fit_limit(mesh, projector, options=options, sharpness=creases.as_sharpness(), progress=progress)


def lay_on_sculpt(mesh: QuadMesh, projector: SurfaceProjector) -> QuadMesh:
    """Return the mesh with its vertices on the sculpt, as a fit takes them.

    A cage that was fitted before has its limit points there rather than its vertices, and shows these: whichever
    of the two lies nearer is taken.
    """
    limit = level_surface(mesh, 0).mesh.positions
    own, shown = (projector.project(points).points - points for points in (mesh.positions, limit))
    return mesh if np.square(own).sum() <= np.square(shown).sum() else replace(mesh, positions=limit)
