"""What quads lack of a sound shape and of their own paint: what layouts, and ways to lay a mesh on, are compared by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.fit.keep_paint import SAFE_LEAD
from loopwright.fit.measure_quality import are_folded, measure_quality
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.search_places import LOST
from loopwright.types import BoolArray, FloatArray, QuadMesh

FLAT = 0.25
"""Scaled Jacobian below which a quad is of no use."""

_SOUND = 0.82  # scaled Jacobian of a sound quad
_PAINT_PRICE = 1.5  # of what a quad lacks of a sure lead of its own paint, against scaled Jacobian


def lack_of_shape(scaled_jacobian: FloatArray) -> FloatArray:
    """Return (m,) how much each quad lacks of a sound scaled Jacobian."""
    return np.maximum(_SOUND - scaled_jacobian, 0.0)


def lack_of_paint(lead: FloatArray) -> FloatArray:
    """Return (m,) the same for the leads of the quads' own paint, as shares of their samples."""
    return _PAINT_PRICE * np.maximum(SAFE_LEAD - lead, 0.0)


@dataclass(frozen=True)
class Standing:
    """A mesh and how good it is.

    Attributes
    ----------
    lost : (m,) the quads that other paint outweighs.
    rank : how many quads are folded, how many lost, and what all lack of shape and paint; less is better.
    """

    mesh: QuadMesh
    lost: BoolArray
    rank: tuple[int, int, float]


def measure_standing(mesh: QuadMesh, sampler: PaintSampler | None) -> Standing:
    """Return how good a mesh is, without a sampler by its shapes alone."""
    folded, lost = int(are_folded(mesh.positions, mesh.quads).sum()), np.zeros(len(mesh.quads), np.bool_)
    lack = lack_of_shape(measure_quality(mesh.positions, mesh.quads).scaled_jacobian)
    if sampler is not None:
        lead = sampler.lead(mesh.positions)[0]
        lost = lead < LOST
        lack += lack_of_paint(lead)
    return Standing(mesh, lost, (folded, int(lost.sum()), float(lack.sum())))
