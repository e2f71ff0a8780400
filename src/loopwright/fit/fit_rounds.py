"""The rounds of the fit: find where the limit surface ought to go, and solve for the cage that comes nearest."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loopwright.fit.fold_mirror import Fold
from loopwright.fit.limit_samples import Distances, LimitSamples
from loopwright.fit.mend_worst import edge_ratios, face_measures
from loopwright.fit.shape_energy import ShapeEnergy
from loopwright.fit.shape_pull import build_shape_pull
from loopwright.progress import Progress
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh

_GENTLE_ATTEMPTS = 6  # that shorten moves; later ones forbid them
_ATTEMPTS = 60


@dataclass(frozen=True)
class FitOptions:
    """How the limit surface is laid on the sculpt.

    Attributes
    ----------
    rounds : rounds of finding the closest points and solving for the cage.
    fairness : weight of a smooth displacement of the cage, in the first round.
    fading : factor on that weight from round to round.
    slide : weight that holds the surface's points where they are along the sculpt.
    shape : how strongly badly shaped quads are drawn towards rectangles, and long ones towards squares, in all rounds
        but the last; 0 for meshes whose vertices shall stay where they are along the sculpt.
    curve_weight : weight of border and opening curves against the surface's.
    hold_weight : the same of vertices that are fixed, on curves or not.
    solver_steps : conjugate gradient steps per round.
    least_quality : scaled Jacobian of the cage below which no quad may fall, nor get worse.
    quality_loss : the most that a better quad may lose.
    least_ratio : shortest over longest edge of a quad below which it may not fall by more than
    ratio_loss : this share of what it was.
    min_cosine : least agreement of the sculpt's normal with the limit surface's.
    free_crossings : whether quads that pass through others are drawn apart at the end.
    """

    rounds: int = 6
    fairness: float = 0.3
    fading: float = 0.9
    slide: float = 0.2
    shape: float = 0.0
    curve_weight: float = 4.0
    hold_weight: float = 4.0
    solver_steps: int = 40
    least_quality: float = 0.5
    quality_loss: float = 0.15
    least_ratio: float = 0.4
    ratio_loss: float = 0.3
    min_cosine: float = 0.3
    free_crossings: bool = True


@dataclass(frozen=True)
class Laid:
    """What the rounds came to.

    Attributes
    ----------
    positions : (n, 3) of the cage.
    normals : (n, 3) of the sculpt, where the vertices were at the start.
    wanted : (m, 3) the least that each of a quad's measures may come to, see :func:`measure_quads`.
    before : distances at the start.
    held : quads that were held back lest they fold.
    """

    positions: FloatArray
    normals: FloatArray
    wanted: FloatArray
    before: Distances
    held: int


class FitRounds:
    """What the rounds of one mesh's fit have in common.

    Parameters
    ----------
    samples : of the mesh's limit surface.
    energy : of its quads' shapes, None where none shall be drawn to better ones.
    """

    def __init__(
        self, samples: LimitSamples, energy: ShapeEnergy | None, projector: SurfaceProjector, options: FitOptions
    ) -> None:
        self._samples, self._energy, self._projector, self._options = samples, energy, projector, options

    @property
    def fold(self) -> Fold:
        """Return the whole of the mesh."""
        return self._samples.fold

    def hold(self, stays: BoolArray) -> None:
        """Let these (n,) vertices stay where they are put at the start."""
        self._samples = self._samples.held(stays)

    def distances(self, positions: FloatArray) -> Distances:
        """Return how far the limit surface of the (n, 3) cage is from the sculpt."""
        return self._samples.distance(positions, self._projector, self._options.min_cosine)[1]

    def run(self, mesh: QuadMesh, start: FloatArray, shaped: BoolArray | None, progress: Progress) -> Laid:
        """Do all rounds.

        Parameters
        ----------
        mesh : where its vertices are given: what is fixed stays there, and moves from there ought to be smooth.
        start : (n, 3) where the cage starts.
        shaped : (m,) which quads may be drawn to better shapes, all if it is None.
        """
        options, projector = self._options, self._projector
        samples = replace(self._samples, mesh=mesh)
        strength = np.full(len(mesh.quads), options.shape)
        if shaped is not None:
            strength = np.where(shaped, options.shape, 0.0)
        facing = samples.normals(start)[: len(start)]
        normals = projector.project(start, facing, min_cosine=options.min_cosine).normals
        at_held = np.asarray((mesh.is_fixed & (mesh.vertex_curve < 0))[mesh.quads].any(axis=1), np.bool_)
        wanted = _wanted(measure_quads(start, mesh.quads, normals), at_held, options)
        positions, held, before = start.copy(), 0, Distances(0.0, 0.0, 0.0)
        for step in range(options.rounds):
            progress("fit", step / options.rounds)
            is_sketch = 0 < step < options.rounds - 1
            offset, distances = samples.distance(positions, projector, options.min_cosine, is_sketch=is_sketch)
            before = distances if step == 0 else before
            pull = None
            if self._energy is not None and step < options.rounds - 1:  # the last round is for the distance alone
                whole = self.fold.unfold_points(positions)
                pull = build_shape_pull(self._energy, positions, whole, normals, strength)
            move = samples.solve(
                positions,
                mesh.positions,
                offset,
                fairness=options.fairness * options.fading**step,
                slide=options.slide,
                curve_weight=options.curve_weight,
                hold_weight=options.hold_weight,
                steps=options.solver_steps,
                pull=pull,
            )
            positions, held = _hold_back(mesh, positions, move, normals, wanted)
        return Laid(positions, normals, wanted, before, held)


def measure_quads(positions: FloatArray, quads: IntArray, normals: FloatArray) -> FloatArray:
    """Return (m, 3) each quad's scaled Jacobian, agreement with the sculpt's normal, and shortest over longest edge."""
    return np.column_stack([face_measures(positions, quads, normals), edge_ratios(positions, quads)])


def _wanted(start: FloatArray, at_held: BoolArray, options: FitOptions) -> FloatArray:
    """Return (m, 3) the least that each measure may come to.

    A quad at a vertex that is held, which it gets its shape from, may become as much longer than wide as any other.
    """
    sine, cosine, ratio = start.T
    least_ratio = (1.0 - options.ratio_loss) * ratio
    least = [
        np.maximum(sine - options.quality_loss, options.least_quality),
        np.full(len(start), options.min_cosine),
        np.where(at_held, least_ratio, np.maximum(least_ratio, options.least_ratio)),
    ]
    wanted: FloatArray = np.minimum(start, np.stack(least, axis=1))
    return wanted


def _hold_back(
    mesh: QuadMesh, positions: FloatArray, move: FloatArray, normals: FloatArray, wanted: FloatArray
) -> tuple[FloatArray, int]:
    """Take the move, shortened at quads that would fall below their wanted quality; count those."""
    share = np.ones(len(positions))
    floor = np.minimum(wanted, measure_quads(positions, mesh.quads, normals)) - 1e-12
    held = np.zeros(len(mesh.quads), bool)
    for attempt in range(_ATTEMPTS):
        moved = positions + share[:, None] * move
        worse = (measure_quads(moved, mesh.quads, normals) < floor).any(axis=1)
        if not worse.any():
            return moved, int(held.sum())
        held |= worse
        share[np.unique(mesh.quads[worse])] *= 0.6 if attempt < _GENTLE_ATTEMPTS else 0.0
    return positions, int(held.sum())
