"""Let each side of a mirrored mesh keep its own shape."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.fit.reflect import reflect_half
from loopwright.fit.relax import RelaxOptions, relax
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Curve, QuadMesh

_ROUNDS = 12


def own_sides(
    half: QuadMesh,
    projector: SurfaceProjector,
    *,
    options: RelaxOptions | None = None,
    progress: Progress = silent,
) -> QuadMesh:
    """Return the whole mesh of a half with mirrored topology, each side on its own part of the sculpt.

    The images of curves and fixed vertices are put on the sculpt where they
    come to lie nearest, and the whole mesh is evened out; vertices of the
    mirror plane slide freely.  The result has no mirror.

    Parameters
    ----------
    half : a mesh that ends at its mirror plane.
    """
    whole = reflect_half(half)
    curves = tuple(Curve(projector.project(curve.points).points, curve.closed) for curve in whole.curves)
    count = len(half.positions)
    positions = whole.positions.copy()
    positions[count:] = projector.project(positions[count:]).points
    free = replace(
        whole,
        positions=positions,
        curves=curves,
        on_mirror=np.zeros(len(positions), bool),
        mirror=None,
    )
    chosen = options or RelaxOptions(rounds=_ROUNDS, first_fairness=0.6)
    return relax(free, projector, options=chosen, progress=progress)
