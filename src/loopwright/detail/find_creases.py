"""Find the few edge chains that are worth a crease, and how sharp each ought to be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loopwright.detail.change_creases import CreaseWish, change_creases, check_wishes, make_creases
from loopwright.detail.crease_candidates import Ids, link_chains, measure_turns
from loopwright.detail.fit_creases import fit_creases, lay_on_sculpt
from loopwright.detail.level_surface import level_surface
from loopwright.detail.measure_noise import measure_noise
from loopwright.detail.split_symmetric import SymmetricHalf, split_symmetric
from loopwright.detail.types import NO_CREASES, CreaseReport, Creases
from loopwright.fit.fit_limit import FitOptions
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, QuadMesh

_TRIAL = FitOptions(free_crossings=False)  # quads that cross are few, and tell nothing about ridges
_ALONG = 0.8  # of the turn along an edge: what turns less across is no ridge


@dataclass(frozen=True)
class CreaseOptions:
    """How creases are looked for.

    Attributes
    ----------
    wishes : what the artist wants of certain edges; they are held while the others are looked for. On a mesh that
        mirrors itself they hold for both sides.
    least_turn : degrees that the sculpt must turn between the middles of an edge's faces.
    least_share : of that turn, what must lie within half that way: half does on a round form.
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
    least_share: float = 0.55
    least_edges: int = 2
    sharpnesses: tuple[float, ...] = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
    noise_factor: float = 1.0
    least_gain: float = 0.002
    least_relief: float = 0.25
    most_chains: int = 60
    min_cosine: float = 0.3


@dataclass(frozen=True)
class _Search:
    """What every trial of one search shares."""

    mesh: QuadMesh
    projector: SurfaceProjector
    edges: Ids
    chains: list[Ids]
    zones: list[NDArray[np.int64]]
    options: CreaseOptions
    wishes: tuple[CreaseWish, ...]


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
    hold what they promised are dropped. A whole mesh that mirrors itself is searched as its half, so that mirrored
    chains are equal. No face is added.

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
    return _mirror_creases(
        half, _search(half.mesh, projector, options, _wishes_of_half(half, options.wishes), progress)
    )


def _search(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    options: CreaseOptions,
    wishes: tuple[CreaseWish, ...],
    progress: Progress,
) -> Creases:
    progress("creases", 0.0)
    laid = lay_on_sculpt(mesh, projector)
    steps = len(options.sharpnesses) + 4
    plain = change_creases(NO_CREASES, [wish for wish in wishes if wish.kind == "pin"])
    fitted, _ = fit_creases(laid, projector, plain, options=_TRIAL)
    before = _face_errors(fitted, projector, plain, options.min_cosine)
    search = _candidates(fitted, laid, projector, options, wishes)
    noise = measure_noise(projector, _mean_edge(mesh, search.edges))
    progress("creases", 2 / steps)
    report = CreaseReport(noise, len(search.chains), rms_before=_rms(before), rms_after=_rms(before))
    trials = []
    for step, value in enumerate(options.sharpnesses if search.chains else ()):
        trials.append(_zone_errors(search, _try(search, np.full(len(search.chains), value))))
        progress("creases", (3 + step) / steps)
    if not trials:
        return replace(change_creases(NO_CREASES, wishes), report=report)
    best = np.argmin(trials, axis=0)
    sharpness = np.array(options.sharpnesses)[best]
    threshold = max(options.noise_factor * noise, options.least_gain * _mean_edge(mesh, search.edges))
    old = _zone_errors(search, before)
    sharpness = np.where(_is_gain(old, np.min(trials, axis=0), threshold, options), sharpness, 0.0)
    sharpness = _keep_best(sharpness, old - np.min(trials, axis=0), options.most_chains)
    after = before
    for _ in range(2):
        after = _try(search, sharpness)
        held = _is_gain(old, _zone_errors(search, after), threshold, options)
        if held[sharpness > 0.0].all():
            break
        sharpness = np.where(held, sharpness, 0.0)
    progress("creases", 1.0)
    gains = np.sqrt(np.maximum(old - _zone_errors(search, after), 0.0))[sharpness > 0.0]
    report = replace(report, gains=gains, rms_after=_rms(after))
    return _name_chains(_assemble(search, sharpness), search, sharpness, report)


def _candidates(
    fitted: QuadMesh,
    laid: QuadMesh,
    projector: SurfaceProjector,
    options: CreaseOptions,
    wishes: tuple[CreaseWish, ...],
) -> _Search:
    turns = measure_turns(fitted, projector, options.min_cosine)
    with np.errstate(invalid="ignore"):
        chosen = turns.across >= np.radians(options.least_turn)
        chosen &= turns.inner >= np.maximum(options.least_share * turns.across, _ALONG * turns.along)
    keys = turns.edges[:, 0] * len(laid.positions) + turns.edges[:, 1]
    for wish in wishes:
        if wish.kind != "raise":
            pairs = np.sort(np.asarray(wish.edges, np.int64).reshape(-1, 2), axis=1)
            chosen &= ~np.isin(keys, pairs[:, 0] * len(laid.positions) + pairs[:, 1])
    chains = [chain for chain in link_chains(laid, turns.edges, chosen) if len(chain) >= options.least_edges]
    zones = []
    for chain in chains:
        touched = np.zeros(len(laid.positions), bool)
        touched[turns.edges[chain].ravel()] = True
        zones.append(np.flatnonzero(touched[laid.quads].any(axis=1)))
    return _Search(laid, projector, turns.edges, chains, zones, options, wishes)


def _assemble(search: _Search, sharpness: FloatArray) -> Creases:
    """Return the creases of chains with their sharpness, and of the wishes."""
    edges = np.concatenate([np.zeros((0, 2), np.int64), *(search.edges[chain] for chain in search.chains)])
    values = np.repeat(sharpness, [len(chain) for chain in search.chains])
    return change_creases(make_creases(edges.astype(np.int32), values), search.wishes)


def _try(search: _Search, sharpness: FloatArray) -> FloatArray:
    """Return each face's mean-square distance after a fit with the given sharpness of the chains."""
    creases = _assemble(search, sharpness)
    fitted, _ = fit_creases(search.mesh, search.projector, creases, options=_TRIAL)
    return _face_errors(fitted, search.projector, creases, search.options.min_cosine)


def _face_errors(mesh: QuadMesh, projector: SurfaceProjector, creases: Creases, min_cosine: float) -> FloatArray:
    """Return (m,) mean-square distance of the limit surface to the sculpt at 25 points of each face."""
    surface = level_surface(mesh, 2, creases.as_sharpness())
    points = surface.mesh.positions
    landed = projector.project(points, surface.frames[:, 2], min_cosine=min_cosine)
    square = ((landed.points - points) ** 2).sum(axis=1)
    errors: FloatArray = square[surface.mesh.quads].mean(axis=1).reshape(len(mesh.quads), 16).mean(axis=1)
    return errors


def _zone_errors(search: _Search, errors: FloatArray) -> FloatArray:
    return np.array([errors[zone].mean() for zone in search.zones])


def _is_gain(old: FloatArray, new: FloatArray, threshold: float, options: CreaseOptions) -> NDArray[np.bool_]:
    gain = old - new
    worth: NDArray[np.bool_] = (gain > threshold**2) & (gain > options.least_relief * old)
    return worth


def _keep_best(sharpness: FloatArray, gain: FloatArray, most: int) -> FloatArray:
    order = np.argsort(-np.where(sharpness > 0.0, gain, -np.inf), kind="stable")
    kept = sharpness.copy()
    kept[order[most:]] = 0.0
    return kept


def _mean_edge(mesh: QuadMesh, edges: Ids) -> float:
    return float(np.linalg.norm(mesh.positions[edges[:, 0]] - mesh.positions[edges[:, 1]], axis=1).mean())


def _rms(errors: FloatArray) -> float:
    return float(np.sqrt(errors.mean()))


def _name_chains(creases: Creases, search: _Search, sharpness: FloatArray, report: CreaseReport) -> Creases:
    """Return the creases with a report that tells which rows make up each chain."""
    rows = {tuple(pair): row for row, pair in enumerate(creases.edges.tolist())}
    chains = []
    for chain, value in zip(search.chains, sharpness, strict=True):
        if value > 0.0:
            chains.append(np.array([rows[tuple(pair)] for pair in search.edges[chain].tolist()], np.int32))
    return replace(creases, report=replace(report, chains=tuple(chains)))


def _wishes_of_half(half: SymmetricHalf, wishes: tuple[CreaseWish, ...]) -> tuple[CreaseWish, ...]:
    """Return the wishes in the half's vertex ids; what is wished on the other side is taken by its image."""
    place = np.full(len(half.image), -1, np.int64)
    place[half.own] = np.arange(len(half.own))
    mapped = []
    for wish in wishes:
        pairs = np.asarray(wish.edges, np.int64).reshape(-1, 2)
        both = np.vstack([place[pairs], place[half.image[pairs]]])
        edges = np.unique(np.sort(both[(both >= 0).all(axis=1)], axis=1), axis=0)
        mapped.append(replace(wish, edges=edges.astype(np.int32)))
    return tuple(mapped)


def _mirror_creases(half: SymmetricHalf, found: Creases) -> Creases:
    """Return the whole's creases from those of its half."""
    own = half.own[found.edges]
    edges = np.vstack([own, half.image[own]]).astype(np.int32)
    whole = make_creases(edges, np.tile(found.sharpness, 2))
    rows = {tuple(pair): row for row, pair in enumerate(whole.edges.tolist())}
    chains: list[IntArray] = []
    gains: list[float] = []
    for chain, gain in zip(found.report.chains, found.report.gains.tolist(), strict=True):
        sides = [np.sort(pairs[chain], axis=1) for pairs in (own, half.image[own])]
        named = [np.array([rows[tuple(pair)] for pair in side.tolist()], np.int32) for side in sides]
        kept = named[:1] if np.array_equal(np.sort(named[0]), np.sort(named[1])) else named
        chains += kept
        gains += [gain] * len(kept)
    return replace(whole, report=replace(found.report, chains=tuple(chains), gains=np.array(gains)))
