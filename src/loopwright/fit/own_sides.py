"""Let each side of a mirrored mesh keep its own shape."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from loopwright.fit.hold_tips import hold_tips
from loopwright.fit.own_borders import draw_own_borders
from loopwright.fit.paint_index import PaintIndex
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.reflect import reflect_half
from loopwright.fit.relax import RelaxOptions, relax
from loopwright.numerics.norms import norms
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, Curve, FloatArray, Paint, QuadMesh

_ROUNDS = 12
_IN_PLANE = 1e-9  # of the diagonal


@dataclass(frozen=True)
class OwnPaint:
    """What borders are drawn to.

    Attributes
    ----------
    paint : the sculpt's colours. index : of them.
    is_open : (c,) which colours of the palette are left open.
    held : (h, 3) places at which a vertex of the half is to stay.
    """

    paint: Paint
    index: PaintIndex
    is_open: BoolArray
    held: FloatArray


def own_sides(
    half: QuadMesh,
    projector: SurfaceProjector,
    *,
    paint: OwnPaint | None = None,
    carry: Callable[[FloatArray], FloatArray] | None = None,
    keep_tips: bool = True,
    options: RelaxOptions | None = None,
    progress: Progress = silent,
) -> QuadMesh:
    """Return the whole mesh of a half with mirrored topology, each side on its own part of the sculpt.

    The images of vertices and curves are carried over the other half, the borders on both sides are drawn to the
    paint there, and the whole mesh is evened out; vertices of the mirror plane slide freely.  The result has no
    mirror.

    Parameters
    ----------
    half : a mesh that ends at its mirror plane.
    paint : of the sculpt, if borders are to be drawn to it.
    carry : takes (k, 3) points of the mirror image to their places on the sculpt; without it those are the nearest.
    keep_tips : hold vertices at the tips of regions (see :func:`~loopwright.fit.hold_tips.hold_tips`).
    """
    whole = reflect_half(half)
    count = len(half.positions)
    positions = whole.positions.copy()
    near, images = whole.curves[: len(half.curves)], whole.curves[len(half.curves) :]
    ends = np.cumsum([len(curve.points) for curve in images], dtype=np.int64)
    there = _put(np.vstack([*(curve.points for curve in images), positions[count:]]), half, projector, carry)
    *parts, positions[count:] = np.split(there, ends)
    curves = [
        *(Curve(projector.project(curve.points).points, curve.closed) for curve in near),
        *(Curve(points, curve.closed) for points, curve in zip(parts, images, strict=True)),
    ]
    free = replace(
        whole,
        positions=positions,
        curves=tuple(curves),
        on_mirror=np.zeros(len(positions), bool),
        mirror=None,
    )
    if paint is not None:
        stays = np.zeros(len(positions), np.bool_)
        for place in paint.held:
            stays[int(norms(half.positions - place).argmin())] = True
        sampler = PaintSampler(free, paint.paint, paint.index)
        free = draw_own_borders(free, projector, sampler, paint.is_open, stays)
        free = hold_tips(free) if keep_tips else free
    chosen = options or RelaxOptions(rounds=_ROUNDS, first_fairness=0.6)
    return relax(free, projector, options=chosen, progress=progress)


def _put(
    points: FloatArray, half: QuadMesh, projector: SurfaceProjector, carry: Callable[[FloatArray], FloatArray] | None
) -> FloatArray:
    """Return the points put on the sculpt: carried, but for those in the mirror plane, which go to the nearest."""
    off = np.zeros(len(points), np.bool_)
    if carry is not None and half.mirror is not None:
        off = np.abs(half.mirror.signed_distance(points)) > _IN_PLANE * projector.diagonal
    there = np.empty_like(points)
    there[~off] = projector.project(points[~off]).points
    if carry is not None:
        there[off] = carry(points[off])
    return there
