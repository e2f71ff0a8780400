"""What the detail stage makes: creases, and levels that carry the sculpt's detail."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from loopwright.numerics.catmull_clark import Sharpness
from loopwright.types import FloatArray, IntArray, QuadMesh


@dataclass(frozen=True)
class CreaseReport:
    """What the search for creases saw.

    Attributes
    ----------
    noise : the sculpt's roughness at the scale of an edge, in its own unit.
    candidates : chains along which the sculpt turns sharply.
    chains : of those that were kept, each one's edges as rows of ``Creases.edges``.
    gains : (c,) for each kept chain, how much mean-square distance near it the crease takes away, as a length.
    rms_before, rms_after : rms distance of the limit surface to the sculpt, fitted without and with the creases.
    """

    noise: float = 0.0
    candidates: int = 0
    chains: tuple[IntArray, ...] = ()
    gains: FloatArray = field(default_factory=lambda: np.zeros(0))
    rms_before: float = 0.0
    rms_after: float = 0.0


@dataclass(frozen=True)
class Creases:
    """Semi-sharp edges of a cage.

    Attributes
    ----------
    edges : (k, 2) int32 vertex pairs, lower id first, in ascending order, each once.
    sharpness : (k,) float64, above zero.
    report : what the search saw.
    """

    edges: IntArray
    sharpness: FloatArray
    report: CreaseReport = field(default_factory=CreaseReport)

    def as_sharpness(self) -> Sharpness:
        """Return the creases as subdivision and fit take them."""
        return Sharpness(self.edges.astype(np.int64), self.sharpness, np.zeros(0, np.int64))


NO_CREASES = Creases(np.zeros((0, 2), np.int32), np.zeros(0))


@dataclass(frozen=True)
class LevelReport:
    """How well one level shows the sculpt; lengths in the sculpt's unit.

    ``level_rms``, ``level_p95`` and ``level_max`` are from the middles of the level's edges and faces to the sculpt
    (its vertices are on it), the ``sculpt_`` figures from the sculpt's vertices to the level, as
    far as it covers them: those beyond its rim, farther off than an edge of the cage, or facing elsewhere are
    left out; ``covered`` is the share of the others. ``folded`` counts faces that look inward or have a corner turned
    over.
    """

    level: int
    faces: int
    vertices: int
    level_rms: float
    level_p95: float
    level_max: float
    sculpt_rms: float
    sculpt_p95: float
    sculpt_max: float
    covered: float
    folded: int


@dataclass(frozen=True)
class Levels:
    """A cage with the sculpt's detail as offsets from its limit surface.

    Attributes
    ----------
    cage : level 0's control points; a half where a mirrored half was given.
    creases : of the cage.
    count : the finest level.
    offsets : (n, 3) float64, for each vertex of the finest level the way from the limit surface to the sculpt along
        tangent, bitangent and normal. The first rows are the coarser levels' vertices: level k uses the first n_k.
    reports : one a level, from 0 on.
    filled : vertices that found no surface facing their way near by, and took their parents' or neighbours' offset.
    smoothed : vertices whose offset was evened out so that no face folds.
    """

    cage: QuadMesh
    creases: Creases
    count: int
    offsets: FloatArray
    reports: tuple[LevelReport, ...] = ()
    filled: int = 0
    smoothed: int = 0
