"""Where the rims of a mesh belong: on the borders of what is painted open on the sculpt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.fit.slide_curves import CurveSet, lay_curves
from loopwright.reuse.template import Template, trace_rims
from loopwright.surface.edges import row_lengths
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Curve, FloatArray, RegionSurface

_FAR = 0.05  # of the diagonal: a border farther off in the mean is another one
_ON_RIM = 0.5  # least weight of a rim's vertices in a landmark that lies on the rim
_WIDTH = (0.02, 12.0)  # how far a landmark bends a border: of its length, and times the way; whichever is more


@dataclass(frozen=True)
class RimMatch:
    """Which rim of a template goes to which border.

    Attributes
    ----------
    curves : the borders. of_rim : for each rim of the template the index into ``curves``, or -1.
    """

    curves: tuple[Curve, ...]
    of_rim: tuple[int, ...]


def open_borders(surface: RegionSurface) -> tuple[Curve, ...]:
    """Return the borders of the covered part of a sculpt, those of the whole one where the surface is a whole."""
    runs = trace_rims(surface.triangles)
    return tuple(Curve(np.ascontiguousarray(surface.positions[run]), True) for run in runs if len(run) >= 3)


def match_rims(template: Template, positions: FloatArray, borders: tuple[Curve, ...], diagonal: float) -> RimMatch:
    """Give each rim the border that lies nearest in the mean, each border to one rim, the nearest pairs first.

    Distance is measured both ways, so that a small rim is not given a piece of a large border.

    Parameters
    ----------
    positions : (n, 3) where the template's vertices are now.
    """
    curves = lay_curves(borders)
    gaps = np.full((len(template.rims), len(borders)), np.inf)
    rims = lay_curves(tuple(Curve(positions[rim], True) for rim in template.rims))
    for r, rim in enumerate(template.rims):
        for b, border in enumerate(borders):
            there = curves.locate(b, positions[rim])[1].mean()
            back = rims.locate(r, border.points)[1].mean()
            gaps[r, b] = max(there, back)
    of_rim = [-1] * len(template.rims)
    while gaps.size and gaps.min() <= _FAR * diagonal:
        r, b = (int(i) for i in np.unravel_index(int(gaps.argmin()), gaps.shape))
        of_rim[r] = b
        gaps[r], gaps[:, b] = np.inf, np.inf
    return RimMatch(borders, tuple(of_rim))


def bend_borders(
    template: Template, match: RimMatch, marks: csr_matrix, goals: FloatArray, projector: SurfaceProjector
) -> RimMatch:
    """Return the match with borders bent, on the sculpt, so that they run through the landmarks on their rims.

    A landmark is a place that the artist named: near it, it goes before the painted border.

    Parameters
    ----------
    marks : sparse (l, n), landmarks as mixtures of the template's vertices. goals : (l, 3) their places.
    """
    bent = list(match.curves)
    for rim, border in zip(template.rims, match.of_rim, strict=True):
        if border < 0:
            continue
        weight = np.asarray(marks[:, rim].sum(axis=1)).ravel()
        own = np.flatnonzero(weight >= _ON_RIM)
        if len(own):
            bent[border] = _bend_curve(match.curves[border], goals[own], projector)
    return RimMatch(tuple(bent), match.of_rim)


def _bend_curve(curve: Curve, goals: FloatArray, projector: SurfaceProjector) -> Curve:
    """Return a closed curve that runs through (k, 3) goals: it moves by bells along it, as wide as they are high."""
    laid = lay_curves((curve,))
    along, off = laid.locate(0, goals)
    rows = np.zeros(len(goals), np.int64)
    ways, length = goals - laid.position(rows, along), float(laid.length[0])
    width = np.maximum(_WIDTH[0] * length, _WIDTH[1] * off)
    own = np.concatenate([[0.0], np.cumsum(row_lengths(np.diff(curve.points, axis=0)))])

    def bells(at: FloatArray) -> FloatArray:
        apart = np.abs(at[:, None] - along)
        return np.exp(-0.5 * (np.minimum(apart, length - apart) / (0.5 * width)) ** 2)

    # goals that share a place on the curve cannot all be reached: the least squares go between them
    heights = np.linalg.lstsq(bells(along), ways, rcond=1e-3)[0]
    return Curve(projector.project(curve.points + bells(own) @ heights).points, True)


def rim_gaps(
    template: Template, positions: FloatArray, match: RimMatch, curves: CurveSet
) -> list[tuple[FloatArray, FloatArray]]:
    """Return for each rim (k, 3) gaps to its border and (k, 3) tangents there; empty where it has none."""
    found = []
    for rim, border in zip(template.rims, match.of_rim, strict=True):
        if border < 0:
            found.append((np.zeros((0, 3)), np.zeros((0, 3))))
            continue
        along, _ = curves.locate(border, positions[rim])
        which = np.full(len(rim), border)
        reach = np.full(len(rim), 5e-3 * curves.length[border])
        found.append((curves.position(which, along) - positions[rim], curves.tangent(which, along, reach)))
    return found
