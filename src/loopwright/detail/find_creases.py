"""Find the few edge chains that are worth a crease, and how sharp each ought to be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loopwright.detail.change_creases import CreaseWish, change_creases, check_wishes
from loopwright.detail.crease_candidates import Ids, link_chains, measure_turns
from loopwright.detail.fit_creases import fit_creases, lay_on_sculpt
from loopwright.detail.measure_noise import measure_noise
from loopwright.detail.mirror_creases import mirror_creases, wishes_of_half
from loopwright.detail.split_symmetric import split_symmetric
from loopwright.detail.try_creases import WHOLE_FIT, CreaseTrials, Landing, land_limit, prepare_trials
from loopwright.detail.types import NO_CREASES, CreaseReport, Creases
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, QuadMesh

_CHECKS = 4  # times that what was chosen is fitted together and what does not hold is dropped
_WHOLE_CHECKS = 2  # the same for the whole cage
_SHORT = 0.6  # of enough gain: what falls short of this goes first
_ALONG = 0.8  # of the turn along an edge: what turns less across is no ridge


@dataclass(frozen=True)
class CreaseOptions:
    """How creases are looked for.

    Attributes
    ----------
    wishes : what the artist wants of certain edges; they are held while the others are looked for. On a mesh that
        mirrors itself they hold for both sides.
    least_turn : degrees that the sculpt must turn between the middles of an edge's faces.
    least_excess : degrees that it must turn within half that way beyond the half that it does on a round form.
    least_edges : edges of a chain.
    sharpnesses : those tried.
    noise_factor : the mean-square distance that a crease takes away must exceed that of the noise by this factor, as
        lengths.
    least_gain : and be, as a length, at least this share of an edge.
    least_relief : and be at least this share of the mean-square distance there.
    most_chains : the most chains kept, those first that gain most.
    min_cosine : least agreement of normals in correspondences.
    """

    wishes: tuple[CreaseWish, ...] = ()
    least_turn: float = 30.0
    least_excess: float = 3.0
    least_edges: int = 2
    sharpnesses: tuple[float, ...] = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
    noise_factor: float = 1.0
    least_gain: float = 0.002
    least_relief: float = 0.15
    most_chains: int = 60
    min_cosine: float = 0.3


def find_creases(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    *,
    options: CreaseOptions | None = None,
    progress: Progress = silent,
) -> Creases:
    """Return the edge chains that bring the limit surface nearer to the sculpt by more than the sculpt's noise.

    Candidates are chains of edges that the sculpt turns across in a narrow band. The cage is fitted once without
    creases and once with each sharpness on all candidates at a time; each chain takes the sharpness that leaves the
    least distance round it, if that is gain enough. The chains chosen are then fitted together, and those that do not
    hold what they promised are dropped, a few times over; on the whole cage once. A whole mesh that mirrors itself is
    searched as its half, so that mirrored chains are equal. No face is added.

    Parameters
    ----------
    mesh : a cage on the sculpt: its vertices or its limit surface.

    Raises
    ------
    MarksError
        If a wish names what is no edge of the mesh.

    References
    ----------
    The search is our own; creases are those of T. DeRose, M. Kass, T. Truong, SIGGRAPH 1998.
    """
    options = options or CreaseOptions()
    check_wishes(options.wishes, mesh.quads)
    if len(mesh.quads) == 0:
        return NO_CREASES
    half = split_symmetric(mesh)
    if half is None:
        return _search(mesh, projector, options, options.wishes, progress)
    return mirror_creases(half, _search(half.mesh, projector, options, wishes_of_half(half, options.wishes), progress))


def _search(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    options: CreaseOptions,
    wishes: tuple[CreaseWish, ...],
    progress: Progress,
) -> Creases:
    steps = len(options.sharpnesses) + 5
    progress("creases", 0.0)
    laid = lay_on_sculpt(mesh, projector)
    pinned = change_creases(NO_CREASES, [wish for wish in wishes if wish.kind == "pin"])
    fitted, _ = fit_creases(laid, projector, pinned, options=WHOLE_FIT)
    landing = land_limit(fitted, projector, pinned, options.min_cosine)
    edges, chains = _candidates(fitted, landing, options, wishes)
    length = _mean_edge(mesh, edges)
    noise = measure_noise(projector, length)
    progress("creases", 2 / steps)
    rms = _rms(landing)
    report = CreaseReport(noise, len(chains), rms_before=rms, rms_after=rms)
    if not chains or not options.sharpnesses:
        return replace(change_creases(NO_CREASES, wishes), report=report)
    trials = prepare_trials(laid, projector, edges, chains, wishes=wishes, min_cosine=options.min_cosine)
    threshold = max(options.noise_factor * noise, options.least_gain * length)
    sharpness = _try_all(
        trials, trials.errors(pinned), threshold, options, lambda step: progress("creases", (3 + step) / steps)
    )
    old = trials.measure(landing.face_errors())
    gain = np.zeros(len(chains))
    for check in range(_WHOLE_CHECKS):
        creases = trials.assemble(sharpness)
        if not len(creases.edges):
            rms, gain = report.rms_before, np.zeros(len(chains))
            break
        best, _ = fit_creases(laid, projector, creases, options=WHOLE_FIT)
        after = land_limit(best, projector, creases, options.min_cosine)
        rms, gain = _rms(after), _gain(old, trials.measure(after.face_errors()))
        lost = ~_is_worth(old, gain, threshold, options, _SHORT) & (sharpness > 0.0)
        if not lost.any() or check + 1 == _WHOLE_CHECKS:
            break
        sharpness = np.where(lost, 0.0, sharpness)
    creases = trials.assemble(sharpness)
    progress("creases", 1.0)
    gains = np.sqrt(np.maximum(gain, 0.0))[sharpness > 0.0]
    return _name_chains(creases, trials, sharpness, replace(report, gains=gains, rms_after=rms))


def _try_all(
    trials: CreaseTrials,
    old: FloatArray,
    threshold: float,
    options: CreaseOptions,
    tell: Callable[[int], None],
) -> FloatArray:
    """Return (c,) the sharpness of each chain, zero where it is not worth a crease near the chains."""
    found = []
    for step, value in enumerate(options.sharpnesses):
        found.append(trials.errors(trials.assemble(np.full(len(trials.chains), value))))
        tell(step)
    gain = np.array([_gain(old, errors) for errors in found])
    sharpness: FloatArray = np.array(options.sharpnesses)[np.argmax(gain, axis=0)]
    sharpness = np.where(_is_worth(old, gain.max(axis=0), threshold, options), sharpness, 0.0)
    sharpness = _keep_best(sharpness, gain.max(axis=0), options.most_chains)
    for check in range(_CHECKS):
        if not sharpness.any():
            break
        last = _gain(old, trials.errors(trials.assemble(sharpness)))
        # neighbours lend each other gain: what falls just short may hold again without those that fall far short
        share = _SHORT if check + 2 < _CHECKS else 1.0
        far = ~_is_worth(old, last, threshold, options, share) & (sharpness > 0.0)
        if not far.any():
            far = ~_is_worth(old, last, threshold, options) & (sharpness > 0.0)
        if not far.any():
            break
        sharpness = np.where(far, 0.0, sharpness)
    return sharpness


def _candidates(
    fitted: QuadMesh, landing: Landing, options: CreaseOptions, wishes: tuple[CreaseWish, ...]
) -> tuple[Ids, list[Ids]]:
    """Return the cage's edges, and the chains of those that the sculpt turns sharply across."""
    turns = measure_turns(fitted, landing.quads, landing.landed.normals)
    with np.errstate(invalid="ignore"):
        chosen = turns.across >= np.radians(options.least_turn)
        chosen &= turns.inner >= np.maximum(0.5 * turns.across + np.radians(options.least_excess), _ALONG * turns.along)
    keys = turns.edges[:, 0] * len(fitted.positions) + turns.edges[:, 1]
    for wish in wishes:
        if wish.kind != "raise":
            pairs = np.sort(np.asarray(wish.edges, np.int64).reshape(-1, 2), axis=1)
            chosen &= ~np.isin(keys, pairs[:, 0] * len(fitted.positions) + pairs[:, 1])
    chains = [chain for chain in link_chains(fitted, turns.edges, chosen) if len(chain) >= options.least_edges]
    return turns.edges, chains


def _gain(old: FloatArray, new: FloatArray) -> FloatArray:
    """Return (c,) how much less square distance there is on the chains' faces, or with those beside them if less."""
    gain: FloatArray = (old - new).min(axis=0)
    return gain


def _is_worth(
    old: FloatArray, gain: FloatArray, threshold: float, options: CreaseOptions, share: float = 1.0
) -> NDArray[np.bool_]:
    """Return whether chains gain enough, or that share of enough."""
    worth: NDArray[np.bool_] = (gain > share * threshold**2) & (gain > share * options.least_relief * old[0])
    return worth


def _keep_best(sharpness: FloatArray, gain: FloatArray, most: int) -> FloatArray:
    order = np.argsort(-np.where(sharpness > 0.0, gain, -np.inf), kind="stable")
    kept = sharpness.copy()
    kept[order[most:]] = 0.0
    return kept


def _mean_edge(mesh: QuadMesh, edges: Ids) -> float:
    return float(np.linalg.norm(mesh.positions[edges[:, 0]] - mesh.positions[edges[:, 1]], axis=1).mean())


def _rms(landing: Landing) -> float:
    return float(np.sqrt(landing.face_errors().mean()))


def _name_chains(creases: Creases, trials: CreaseTrials, sharpness: FloatArray, report: CreaseReport) -> Creases:
    """Return the creases with a report that tells which rows make up each chain."""
    rows = {tuple(pair): row for row, pair in enumerate(creases.edges.tolist())}
    chains = []
    for chain, value in zip(trials.chains, sharpness, strict=True):
        if value > 0.0:
            chains.append(np.array([rows[tuple(pair)] for pair in trials.edges[chain].tolist()], np.int32))
    return replace(creases, report=replace(report, chains=tuple(chains)))
