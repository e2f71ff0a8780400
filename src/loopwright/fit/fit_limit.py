"""Move the cage so that its Catmull-Clark limit surface lies on the sculpt."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loopwright.fit.draw_home import draw_home
from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.limit_samples import Distances, build_limit_samples
from loopwright.fit.mend_worst import edge_ratios, face_measures
from loopwright.fit.part_crossings import StrayFinder, loosen_crossings, part_crossings
from loopwright.fit.shape_energy import build_shape_energy
from loopwright.fit.shape_pull import build_shape_pull
from loopwright.numerics.catmull_clark import NO_SHARPNESS, Sharpness
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh

_GENTLE_ATTEMPTS = 6  # that shorten moves; later ones forbid them
_ATTEMPTS = 60
_UNBROKEN = (0.3, 0.0, 0.1)  # measures of a quad that passes where one has to be freed from another


@dataclass(frozen=True)
class FitOptions:
    """How the limit surface is laid on the sculpt.

    Attributes
    ----------
    rounds : rounds of finding the closest points and solving for the cage.
    fairness : weight of a smooth displacement of the cage, in the first round.
    fading : factor on that weight from round to round.
    slide : weight that holds the surface's points where they are along the sculpt.
    shape : how strongly badly shaped quads are drawn towards rectangles, in all rounds but the last;
        0 for meshes whose vertices shall stay where they are along the sculpt.
    curve_weight : weight of border and opening curves, and of fixed vertices, against the surface's.
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
    solver_steps: int = 40
    least_quality: float = 0.5
    quality_loss: float = 0.15
    least_ratio: float = 0.4
    ratio_loss: float = 0.3
    min_cosine: float = 0.3
    free_crossings: bool = True


@dataclass(frozen=True)
class FitReport:
    """What the fit reached.

    The distances are measured at the limit points of vertices, edge middles and face centres: those that are
    fitted. On a rough sculpt the surface between them is off by the roughness more.
    ``diagonal`` is that of the sculpt's bounding box, ``held`` counts quads that were held back lest they fold.
    """

    before: Distances
    after: Distances
    diagonal: float
    rounds: int
    held: int


def fit_limit(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    *,
    options: FitOptions | None = None,
    sharpness: Sharpness = NO_SHARPNESS,
    shaped: BoolArray | None = None,
    progress: Progress = silent,
) -> tuple[QuadMesh, FitReport]:
    """Return the mesh with its limit surface on the sculpt, and how far off it was before and after.

    Limit points of curve vertices stay on their curve, those of fixed vertices where the vertices were given,
    those of mirror vertices in the plane. A half mesh is fitted as its whole. Least squares with the distance to
    the sculpt's tangent planes, at closest points whose normal agrees, plus a fairness term on the displacement
    that fades and a pull of bad quads towards rectangles. Edges named by ``sharpness`` are semi-sharp in the limit
    surface; ``shaped`` (m,) tells which quads may be drawn, all if it is None.

    References
    ----------
    H. Pottmann, S. Leopoldseder, "A concept for parametric surface fitting which avoids the parametrization
    problem", CAGD 20, 2003: tangent distance. The weights are our own.
    """
    options = options or FitOptions()
    zero = Distances(0.0, 0.0, 0.0)
    if len(mesh.quads) == 0:
        return mesh, FitReport(zero, zero, projector.diagonal, 0, 0)
    fold = fold_mirror(mesh)
    samples = build_limit_samples(mesh, fold, sharpness)
    energy = build_shape_energy(mesh, fold) if options.shape > 0.0 else None
    strength = np.where(shaped, options.shape, 0.0) if shaped is not None else np.full(len(mesh.quads), options.shape)
    start = mesh.positions
    normals = projector.project(start, samples.normals(start)[: len(start)], min_cosine=options.min_cosine).normals
    wanted = _wanted(_measures(start, mesh.quads, normals), options)
    positions, held, before = start.copy(), 0, zero
    for step in range(options.rounds):
        progress("fit", step / options.rounds)
        is_sketch = 0 < step < options.rounds - 1
        offset, distances = samples.distance(positions, projector, options.min_cosine, is_sketch=is_sketch)
        before = distances if step == 0 else before
        weight = options.fairness * options.fading**step
        whole = fold.unfold_points(positions)
        pull = None
        if energy is not None and step < options.rounds - 1:  # the last round is for the distance alone
            pull = build_shape_pull(energy, positions, whole, normals, strength)
        move = samples.solve(
            positions,
            start,
            offset,
            fairness=weight,
            slide=options.slide,
            curve_weight=options.curve_weight,
            steps=options.solver_steps,
            pull=pull,
        )
        positions, held = _hold_back(mesh, positions, move, normals, wanted)

    def spoilt(moved: FloatArray) -> BoolArray:
        lacks: BoolArray = _measures(moved, mesh.quads, normals) < wanted - 1e-12
        return np.asarray(lacks.any(axis=1), np.bool_)

    def broken(moved: FloatArray) -> BoolArray:
        lacks: BoolArray = _measures(moved, mesh.quads, normals) < np.minimum(wanted, _UNBROKEN) - 1e-12
        return np.asarray(lacks.any(axis=1), np.bool_)

    if options.free_crossings:
        crossings = CrossingFinder(fold)
        strays = StrayFinder(mesh.quads, projector)
        positions = part_crossings(mesh, crossings, start, positions, spoilt, strays.find)
        positions = loosen_crossings(mesh, fold, crossings, positions, broken)
        positions = draw_home(mesh, fold, crossings, positions, projector, broken)
    _, after = samples.distance(positions, projector, options.min_cosine)
    progress("fit", 1.0)
    return replace(mesh, positions=positions), FitReport(before, after, projector.diagonal, options.rounds, held)


def _measures(positions: FloatArray, quads: IntArray, normals: FloatArray) -> FloatArray:
    """Return (m, 3) each quad's scaled Jacobian, agreement with the sculpt's normal, and shortest over longest edge."""
    return np.column_stack([face_measures(positions, quads, normals), edge_ratios(positions, quads)])


def _wanted(start: FloatArray, options: FitOptions) -> FloatArray:
    """Return (m, 3) the least that each measure may come to."""
    sine, cosine, ratio = start.T
    least = [
        np.maximum(sine - options.quality_loss, options.least_quality),
        np.full(len(start), options.min_cosine),
        np.maximum((1.0 - options.ratio_loss) * ratio, options.least_ratio),
    ]
    wanted: FloatArray = np.minimum(start, np.stack(least, axis=1))
    return wanted


def _hold_back(
    mesh: QuadMesh, positions: FloatArray, move: FloatArray, normals: FloatArray, wanted: FloatArray
) -> tuple[FloatArray, int]:
    """Take the move, shortened at quads that would fall below their wanted quality; count those."""
    share = np.ones(len(positions))
    floor = np.minimum(wanted, _measures(positions, mesh.quads, normals)) - 1e-12
    held = np.zeros(len(mesh.quads), bool)
    for attempt in range(_ATTEMPTS):
        moved = positions + share[:, None] * move
        worse = (_measures(moved, mesh.quads, normals) < floor).any(axis=1)
        if not worse.any():
            return moved, int(held.sum())
        held |= worse
        share[np.unique(mesh.quads[worse])] *= 0.6 if attempt < _GENTLE_ATTEMPTS else 0.0
    return positions, int(held.sum())
