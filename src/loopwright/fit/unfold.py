"""Unfold quads that evening out leaves folded: all vertices round them move together until none overlaps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from loopwright.fit.fold_barrier import Barrier
from loopwright.fit.link_edges import mean_edges, vertices_around
from loopwright.fit.measure_quality import corner_sines
from loopwright.fit.mend_worst import face_quality
from loopwright.fit.relax_state import RelaxState
from loopwright.fit.slide_curves import CurveSlide
from loopwright.numerics.norms import norms
from loopwright.types import BoolArray, FloatArray, QuadMesh

_FLAT = 0.1  # quality below which a quad is unfolded
_FOLDED = 0.02  # quality below which it counts as folded
_REACHES = (2, 4, 7)  # rows round such quads that give way, in turns
_LOOSE_ROWS = (0, 2, 5)  # rows round folded quads that are let off their curves
_TURNS = 14  # of solving in tangent planes and putting back on the sculpt, per reach
_STEPS = 25  # of the solver per turn
_MOST = 1.0  # longest move per turn, in local edge lengths
_EVENINGS = 8  # rounds of evening out in between
_UNFOLDINGS = 4  # one after the other, at most
_MENDING = 4  # rounds of mending after that


def unfold(state: RelaxState) -> bool:
    """Unfold the folded and flat quads of a mesh in place, as far as can be; say whether anything changed.

    Vertices keep to the sculpt, to their curves and to the mirror plane. What is kept is the state with the
    fewest such quads.

    References
    ----------
    V. Garanzha, I. Kaporin, L. Kudryavtseva, F. Protais, N. Ray, D. Sokolov, "Foldover-free maps in 50 lines of
    code", ACM TOG 40(4), 2021, doi:10.1145/3450626.3459847: a barrier that folded elements may start behind. Here
    an element is a quad's corner, seen in the sculpt's tangent plane.
    """
    quads = state.mesh.quads
    best = snapshot(state)
    first = lowest = count_folded(state)
    for reach in _REACHES:
        if lowest[0] == 0:
            break
        bad = _quality(state) < _FLAT
        faces = np.flatnonzero(vertices_around(quads, bad, reach)[quads].any(axis=1))
        for _ in range(_TURNS):
            if not _turn(state, faces):
                break
            score = count_folded(state)
            if score < lowest:
                best, lowest = snapshot(state), score
            if score[0] == 0:
                break
        restore(state, best)
    return lowest < first


def loosen(state: RelaxState) -> bool:
    """Unfold what is still folded by letting vertices off their curves, as little as does; say whether it helped.

    Where a border turns back on itself or a corner is flat, no place on the curves is any good. Vertices
    that were let off are free in ``state.mesh`` afterwards and have no curve.
    """
    kept, lowest = _all_of(state), count_folded(state)
    first = lowest[0]
    for rows in _LOOSE_ROWS:
        state.free_from_curves(vertices_around(state.mesh.quads, _quality(state) < _FLAT, rows + 1))
        if rows:
            for _ in range(_EVENINGS):
                state.advance(state.options.fairness)
        for _ in range(_UNFOLDINGS):
            if not unfold(state):
                break
            state.mend(rounds=_MENDING)
        score = count_folded(state)
        if score[0] < lowest[0]:
            kept, lowest = _all_of(state), score
        if score[0] == 0:
            break
    state.mesh, state.is_free, state.rides, state.slide, state.let_off, state.home, places = kept
    restore(state, places)
    return lowest[0] < first


def _all_of(state: RelaxState) -> tuple[QuadMesh, BoolArray, BoolArray, CurveSlide, BoolArray, FloatArray, Places]:
    """Return all that letting vertices off their curves changes."""
    return state.mesh, state.is_free, state.rides, state.slide, state.let_off, state.home, snapshot(state)


def _quality(state: RelaxState) -> FloatArray:
    return face_quality(state.positions, state.mesh.quads, state.normals)


def count_folded(state: RelaxState) -> tuple[int, float]:
    """Return how many quads are folded or flat, and by how much all are."""
    least = _least(state)
    return int((least < _FOLDED).sum()), float(np.maximum(_FLAT - least, 0.0).sum())


def is_folded(state: RelaxState, below: float = _FOLDED) -> BoolArray:
    """Return (m,) which quads are folded or flat, or of a quality below another."""
    return _least(state) < below


def lack(state: RelaxState, below: float) -> float:
    """Return the sum over all quads of the square of what they lack of a quality."""
    return float((np.maximum(below - _least(state), 0.0) ** 2).sum())


def _least(state: RelaxState) -> FloatArray:
    own = corner_sines(state.positions, state.mesh.quads).min(axis=1)
    least: FloatArray = np.minimum(own, _quality(state))
    return least


Places = tuple[FloatArray, FloatArray, FloatArray]


def snapshot(state: RelaxState) -> Places:
    """Return where all vertices are, for :func:`restore`."""
    return state.positions.copy(), state.normals.copy(), state.slide.along.copy()


def restore(state: RelaxState, kept: Places) -> None:
    """Put all vertices back."""
    state.positions, state.normals, state.slide.along = (part.copy() for part in kept)


def put_back(state: RelaxState, kept: Places, chosen: BoolArray) -> None:
    """Put (n,) chosen vertices back where they were."""
    positions, normals, along = kept
    state.positions = np.where(chosen[:, None], positions, state.positions)
    state.normals = np.where(chosen[:, None], normals, state.normals)
    state.slide.along = np.where(chosen[state.slide.vertices], along, state.slide.along)


def _turn(state: RelaxState, faces: NDArray[np.int64]) -> bool:
    """Solve once in the tangent planes and put the vertices back; say whether anything could move."""
    quads = state.mesh.quads
    size = mean_edges(state.positions, quads)
    bases, _ = state.bases(size)
    inside = np.ones(len(state.positions), bool)
    outside = np.ones(len(quads), bool)
    outside[faces] = False
    inside[quads[outside]] = False
    bases[~inside] = 0.0
    chosen = np.flatnonzero((bases != 0.0).any(axis=(1, 2)))
    if len(chosen) == 0 or not size[chosen].any():
        return False
    barrier = Barrier(
        state.positions, state.normals, quads[faces], chosen, bases[chosen], state.home[chosen], state.let_off[chosen]
    )
    step = np.zeros((len(state.positions), 2))
    step[chosen] = _solve(barrier)
    length = norms(step)
    step *= np.minimum(1.0, _MOST * size / np.maximum(length, 1e-300))[:, None]
    state.take_step(step, bases, chosen)
    return True


def _solve(energy: Barrier) -> FloatArray:
    """Return (k, 2) steps that lower the energy."""
    step = np.zeros(2 * energy.count)
    for _ in range(2):
        energy.soften(step)
        found = minimize(energy, step, jac=True, method="L-BFGS-B", options={"maxiter": _STEPS, "maxcor": 12})
        step = found.x
    steps: FloatArray = step.reshape(-1, 2)
    return steps
