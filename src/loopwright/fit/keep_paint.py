"""Let each quad be of its own region's paint: where another colour outweighs it, the quad grows into its region."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loopwright.fit.cut_part import cut_part
from loopwright.fit.follow_paint import follow_paint
from loopwright.fit.link_edges import groups_apart, vertices_around
from loopwright.fit.measure_quality import are_folded
from loopwright.fit.mend_worst import face_quality
from loopwright.fit.paint_index import PaintIndex
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.relax_options import RelaxOptions
from loopwright.fit.relax_state import RelaxState
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, Paint, QuadMesh

SAFE_LEAD = 0.14  # of a quad's own colour, as a share of its samples: enough to last when the mesh is fitted
_AHEAD = 0.04  # so much more is aimed at
_AMPLE = 0.2  # and with so much more the growth goes back
_BACK = 0.95  # by this factor
_STEP = 1.2  # growth of a quad's wished sides per turn
_MOST = 6.0  # and at most in all
_TURNS = 16
_REACHES = (8, 5)  # rows round such quads that give way: first many together, then each by itself
_REACH_AGAIN = 5  # those round quads that grow on
_MENDING = 4  # rounds of it per turn
_IDLE_TURNS = 5  # without gain, after which it ends
_TRIALS = 3  # in which quads that fold, and ...
_NEAR = 2  # ... so many rows round them, stay as they were
_SURE = 0.98  # own colour's lead at which a quad has no other paint in it
_ASIDE = 1  # rows round quads with other paint that are looked at in each turn
_NO_LOSS = 1e-6  # of quality
_ROUNDS = 5  # of evening out per turn


def paint_lead(mesh: QuadMesh, projector: SurfaceProjector, paint: Paint) -> FloatArray:
    """Return (m,) by which share of its samples each quad's own colour leads, or falls behind, the next.

    1 for quads of a region whose colour is not in the paint. Of a half, the worse of a quad and its image counts.
    """
    index = PaintIndex(projector.positions, paint, projector.triangles)
    return PaintSampler(mesh, paint, index).lead(mesh.positions)[0]


@dataclass(frozen=True)
class Kept:
    """A mesh whose quads were grown for their paint.

    Attributes
    ----------
    mesh : with its quads where they are now, and borders where they are drawn to the paint.
    growth : (m, 2) factors on the sides that each quad was asked to have, along its two directions.
    """

    mesh: QuadMesh
    growth: FloatArray


def keep_paint(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    paint: Paint,
    *,
    sampler: PaintSampler | None = None,
    progress: Progress = silent,
) -> Kept:
    """Return the mesh with the quads grown that another colour than their region's outweighs.

    A stroke that slipped, or a border that the brush left uneven, can colour a
    small quad beside it mostly wrong; a deeper quad bridges it. The mesh is
    evened out on with larger wished sides for such quads; what comes out
    is kept where it leaves fewer of them, none folded that was not, and where
    poor quads together lack no more of a fair quality than they did.

    Parameters
    ----------
    mesh : evened out, on the sculpt.
    paint : the sculpt's colours, one per vertex of the projector.
    sampler : of this mesh and paint, where there is one already.
    """
    ungrown = Kept(mesh, np.ones((len(mesh.quads), 2)))
    if len(mesh.quads) == 0 or len(paint.palette) < 2:
        return ungrown
    sampler = sampler or PaintSampler(mesh, paint, PaintIndex(projector.positions, paint, projector.triangles))
    margin, kept = np.full(len(mesh.quads), SAFE_LEAD), ungrown
    for reach in _REACHES:
        lead, _ = sampler.lead(kept.mesh.positions)
        lacks = lead < margin
        # a growth that did not do is not gone on with
        afresh = Kept(kept.mesh, np.where(lacks[:, None], 1.0, kept.growth))
        kept = _grow_groups(afresh, lacks, reach, (lead, margin), projector, sampler, progress)
    return kept


def keep_paint_again(
    kept: Kept,
    projector: SurfaceProjector,
    sampler: PaintSampler,
    lead: FloatArray,
    margin: FloatArray,
    lost: BoolArray,
    progress: Progress = silent,
) -> Kept:
    """Return the mesh with some quads grown on, and those round them evened out with that.

    Parameters
    ----------
    kept : what :func:`keep_paint` made.
    lead, margin : (m,) lead that each quad's own colour has there, and shall have, as a share of its samples.
    lost : (m,) the quads that shall have more of it.
    """
    return _grow_groups(kept, lost, _REACH_AGAIN, (lead, margin), projector, sampler, progress)


def _grow_groups(
    kept: Kept,
    chosen: BoolArray,
    reach: int,
    leads: tuple[FloatArray, FloatArray],
    projector: SurfaceProjector,
    sampler: PaintSampler,
    progress: Progress,
) -> Kept:
    """Let the chosen quads grow, with so many rows round them, those of each place apart."""
    mesh, (lead, margin) = kept.mesh, leads
    if _score(lead, margin) == 0.0:
        return kept
    faces = np.flatnonzero(vertices_around(mesh.quads, chosen, reach)[mesh.quads].all(axis=1))
    positions, growth, lacks = mesh.positions.copy(), kept.growth.copy(), lead < margin
    for group in groups_apart(mesh.quads, faces):  # what one cannot have shall not keep the others from theirs
        for _ in range(_TRIALS):
            part, vertices = cut_part(mesh, group)
            sampler.look_at(part)
            drawn = follow_paint(part, lacks[group], sampler.own, sampler.beyond, sampler.colors_at, projector)
            grown, folds = _grow(Kept(part, kept.growth[group]), drawn, margin[group], sampler, projector, progress)
            positions[vertices], growth[group] = grown.mesh.positions, grown.growth
            mesh = replace(mesh, curves=grown.mesh.curves)
            if not folds.any():
                break
            group = group[~vertices_around(part.quads, folds, _NEAR)[part.quads].any(axis=1)]
            if not lacks[group].any():
                break
    sampler.look_at(mesh)
    return Kept(replace(mesh, positions=positions), growth)


def _grow(
    kept: Kept,
    drawn: QuadMesh,
    margin: FloatArray,
    sampler: PaintSampler,
    projector: SurfaceProjector,
    progress: Progress,
) -> tuple[Kept, BoolArray]:
    """Return what leaves the fewest quads outweighed; where nothing did, the (m,) quads that folded by it."""
    mesh, growth = kept.mesh, kept.growth
    options = RelaxOptions()
    best, lowest = kept, _score(sampler.lead(mesh.positions)[0], margin)
    state = RelaxState(drawn, projector, options)
    lead, way = sampler.lead(state.positions)
    folded = are_folded(mesh.positions, mesh.quads).sum()
    # quads with no other paint near keep theirs
    near = np.flatnonzero(vertices_around(mesh.quads, lead < _SURE, _ASIDE)[mesh.quads].any(axis=1))
    lacked = np.maximum(options.least_quality - face_quality(mesh.positions, mesh.quads, state.normals), 0.0)
    folds = np.zeros(len(mesh.quads), np.bool_)
    idle_turns = 0
    for turn in range(_TURNS):
        progress("keep paint", turn / _TURNS)
        lacks, idle = lead < margin + _AHEAD, lead > margin + _AMPLE
        growth = np.where(lacks[:, None], np.minimum(growth * _STEP**way, _MOST), growth)
        growth = np.where(idle[:, None], np.maximum(growth * _BACK, 1.0), growth)
        state.growth = growth.T
        for left in reversed(range(_ROUNDS)):
            state.advance(options.fairness, is_sketch=left > 0)
        state.mend(rounds=_MENDING)
        lead[near], way[near] = sampler.lead(state.positions, near)
        score = _score(lead, margin)
        idle_turns += 1
        is_folded = are_folded(state.positions, mesh.quads)
        lack = np.maximum(options.least_quality - face_quality(state.positions, mesh.quads, state.normals), 0.0)
        is_sound = is_folded.sum() <= folded and lack.sum() <= lacked.sum() + _NO_LOSS
        if score < lowest and is_sound:
            best, lowest, idle_turns = Kept(replace(drawn, positions=state.positions.copy()), growth), score, 0
        folds |= (is_folded | (lack > 0.0)) & (lacked == 0.0)
        if score == 0.0 or idle_turns == _IDLE_TURNS:
            break
    progress("keep paint", 1.0)
    return best, folds & (best is kept)


def _score(lead: FloatArray, margin: FloatArray) -> float:
    """Return the number of quads that are outweighed, plus what all lack."""
    return float((lead < 0).sum() + np.maximum(margin - lead, 0.0).sum())
