"""Let each quad be of its own region's paint: where another colour outweighs it, the quad grows into its region."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.fit.border_sides import colors_beyond
from loopwright.fit.fold_mirror import is_half
from loopwright.fit.follow_paint import follow_paint
from loopwright.fit.link_edges import vertices_around
from loopwright.fit.measure_quality import corner_sines
from loopwright.fit.mend_worst import face_quality
from loopwright.fit.paint_index import PaintIndex
from loopwright.fit.relax_options import RelaxOptions
from loopwright.fit.relax_state import RelaxState
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, IntArray, Paint, QuadMesh

_GRID = 6  # samples along each side of a quad
SAFE_LEAD = 0.1  # of a quad's own colour, as a share of its samples: enough to last when the mesh is fitted
_AHEAD = 0.04  # so much more is aimed at
_AMPLE = 0.2  # and with so much more the growth goes back
_BACK = 0.95  # by this factor
_STEP = 1.2  # growth of a quad's wished sides per turn
_ALONG = 0.4  # of that growth, as an exponent, along a border beyond which the other colour is
_MOST = 6.0  # and at most in all
_TURNS = 16
_REACHES = (8, 5)  # rows round such quads that give way: first many together, then each by itself
_MENDING = 4  # rounds of it per turn
_IDLE_TURNS = 5  # without gain, after which it ends
_TRIALS = 3  # in which quads that fold, and ...
_NEAR = 2  # ... so many rows round them, stay as they were
_SURE = 0.98  # own colour's lead at which a quad has no other paint in it
_ASIDE = 1  # rows round quads with other paint that are looked at in each turn
_SOUND = 0.02  # least scaled Jacobian, against a quad's own normal, that is not a fold
_ROUNDS = 5  # of evening out per turn


class PaintSampler:
    """Counts the colours under the quads, on both sides of the mirror plane.

    Parameters
    ----------
    index : finds the colours of this paint.
    """

    def __init__(self, mesh: QuadMesh, paint: Paint, index: PaintIndex) -> None:
        self.index = index
        self.count = len(paint.palette)
        self.mirror = mesh.mirror if is_half(mesh) else None
        self.region_color, self.alias = _region_colors(mesh, paint)
        self.look_at(mesh)
        at = (np.arange(_GRID) + 0.5) / _GRID
        self.u, self.v = (grid.ravel() for grid in np.meshgrid(at, at))
        u, v = self.u, self.v
        self.weights = np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v])

    def look_at(self, mesh: QuadMesh) -> None:
        """Take the quads of this mesh from now on."""
        self.own, self.quads = self.region_color[mesh.quad_region], mesh.quads
        self.beyond = colors_beyond(mesh.quads, self.own)

    def lead(self, positions: FloatArray, chosen: NDArray[np.int64] | None = None) -> tuple[FloatArray, FloatArray]:
        """Return (m,) by which share of the samples each quad's own colour leads, and (m, 2) where to grow.

        Or those of the chosen quads alone. The least of both sides counts. The second array tells how far, along
        each of the quad's two directions, its own samples lie from the others, the larger being 1.
        """
        quads, own, beyond = self.quads, self.own, self.beyond
        if chosen is not None:
            quads, own, beyond = quads[chosen], own[chosen], beyond[chosen]
        samples = np.einsum("ks,nkj->nsj", self.weights, positions[quads])
        lead, way = self._lead(samples, own, beyond)
        if self.mirror is not None:
            image = self.mirror.reflect(samples.reshape(-1, 3)).reshape(samples.shape)
            other, other_way = self._lead(image, own, beyond)
            way = np.where((other < lead)[:, None], other_way, way)
            lead = np.minimum(lead, other)
        return lead, way

    def colors_at(self, points: FloatArray) -> list[IntArray]:
        """Return the colours, merged ones as one, at (k, 3) points and, of a half, at their images."""
        both = [points] if self.mirror is None else [points, self.mirror.reflect(points)]
        return [self.alias[self.index.colors_at(spots)].astype(np.int32) for spots in both]

    def _lead(
        self, samples: FloatArray, own: NDArray[np.int64], beyond: NDArray[np.int64]
    ) -> tuple[FloatArray, FloatArray]:
        color = self.alias[self.index.colors_at(samples.reshape(-1, 3))].reshape(len(samples), -1)
        counts = np.stack([(color == k).sum(axis=1) for k in range(self.count)], axis=1)
        row = np.arange(len(samples))
        mine = counts[row, own].copy()
        counts[row, own] = -1
        rival = counts.argmax(axis=1)
        is_own, is_rival = color == own[:, None], color == rival[:, None]
        lead = (mine - counts.max(axis=1)) / len(self.u)
        apart = np.stack([_mean(is_own, t) - _mean(is_rival, t) for t in (self.u, self.v)], axis=1)
        apart = np.abs(apart)
        largest = apart.max(axis=1)
        way = np.where((largest > 0.05)[:, None], apart / np.maximum(largest, 1e-9)[:, None], 1.0)
        at_border = np.stack([(beyond[:, k] == rival[:, None]).any(axis=1) for k in ([0, 2], [1, 3])], axis=1)
        # a longer chord across a bend of the border takes in more of what is beyond: such quads deepen most
        is_side = (at_border[:, 0] != at_border[:, 1])[:, None]
        way = np.where(is_side, np.where(at_border, _ALONG * way, 1.0), way)
        return np.where(own < 0, 1.0, lead), way


def _region_colors(mesh: QuadMesh, paint: Paint) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return (r,) the colour of each region, -1 where it is not in the paint, and (c + 1,) what colours count as.

    The colours of a region that was merged from several count as one. The last entry serves index -1.
    """
    palette = [tuple(int(level) for level in color) for color in paint.palette]
    alias = np.append(np.arange(len(palette)), -1)
    own = [[palette.index(color) for color in region.paint if color in palette] for region in mesh.regions]
    for ids in own:
        if len(ids) > 1:
            alias[np.isin(alias, alias[ids])] = alias[ids].min()
    return np.array([alias[ids[0]] if ids else -1 for ids in own], np.int64), alias


def _mean(chosen: BoolArray, value: FloatArray) -> FloatArray:
    """Return (k,) mean of the value over the chosen samples, 1/2 where there is none."""
    number = chosen.sum(axis=1)
    mean: FloatArray = np.where(number > 0, (chosen * value).sum(axis=1) / np.maximum(number, 1), 0.5)
    return mean


def paint_lead(mesh: QuadMesh, projector: SurfaceProjector, paint: Paint) -> FloatArray:
    """Return (m,) by which share of its samples each quad's own colour leads, or falls behind, the next.

    1 for quads of a region whose colour is not in the paint. Of a half, the worse of a quad and its image counts.
    """
    return PaintSampler(mesh, paint, PaintIndex(projector.positions, paint)).lead(mesh.positions)[0]


def keep_paint(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    paint: Paint,
    *,
    margin: FloatArray | float = SAFE_LEAD,
    sampler: PaintSampler | None = None,
    options: RelaxOptions | None = None,
    progress: Progress = silent,
) -> QuadMesh:
    """Return the mesh with the quads grown that another colour than their region's outweighs.

    A stroke that slipped, or a border that the brush left uneven, can colour a
    small quad beside it mostly wrong; a deeper quad bridges it. The mesh is
    evened out on with larger wished sides for such quads; what comes out
    is kept where it leaves fewer of them and no quad worse than bad.

    Parameters
    ----------
    mesh : evened out, on the sculpt.
    paint : the sculpt's colours, one per vertex of the projector.
    margin : lead that each quad's own colour shall have, as a share of its samples; (m,) or one for all.
    sampler : of this mesh and paint, where there is one already.
    """
    if len(mesh.quads) == 0 or len(paint.palette) < 2:
        return mesh
    margin = np.broadcast_to(np.asarray(margin, np.float64), len(mesh.quads))
    sampler = sampler or PaintSampler(mesh, paint, PaintIndex(projector.positions, paint))
    for reach in _REACHES:
        lead, _ = sampler.lead(mesh.positions)
        if _score(lead, margin) == 0.0:
            break
        mesh = _keep_around(mesh, lead, margin, reach, sampler, projector, options, progress)
        sampler.look_at(mesh)
    return mesh


def _keep_around(
    mesh: QuadMesh,
    lead: FloatArray,
    margin: FloatArray,
    reach: int,
    sampler: PaintSampler,
    projector: SurfaceProjector,
    options: RelaxOptions | None,
    progress: Progress,
) -> QuadMesh:
    """Return the mesh with lacking quads grown where so many rows round them give way."""
    positions = mesh.positions.copy()
    faces = np.flatnonzero(vertices_around(mesh.quads, lead < margin, reach)[mesh.quads].all(axis=1))
    for group in _apart(mesh.quads, faces):  # what one cannot have shall not keep the others from theirs
        for _ in range(_TRIALS):
            part, vertices = _part(mesh, group)
            sampler.look_at(part)
            lacks = lead[group] < margin[group]
            drawn = follow_paint(part, lacks, sampler.own, sampler.beyond, sampler.colors_at, projector)
            grown, folds = _grow(part, drawn, margin[group], sampler, projector, options, progress)
            positions[vertices], mesh = grown.positions, replace(mesh, curves=grown.curves)
            if not folds.any():
                break
            group = group[~vertices_around(part.quads, folds, _NEAR)[part.quads].any(axis=1)]
            if not (lead[group] < margin[group]).any():
                break
    return replace(mesh, positions=positions)


def _grow(
    mesh: QuadMesh,
    drawn: QuadMesh,
    margin: FloatArray,
    sampler: PaintSampler,
    projector: SurfaceProjector,
    options: RelaxOptions | None,
    progress: Progress,
) -> tuple[QuadMesh, BoolArray]:
    """Return the mesh that leaves the fewest quads outweighed; where none did, the (m,) quads that folded by it."""
    options = options or RelaxOptions()
    best, lowest = mesh, _score(sampler.lead(mesh.positions)[0], margin)
    state = RelaxState(drawn, projector, options)
    lead, way = sampler.lead(state.positions)
    folded = _is_folded(mesh.positions, mesh.quads).sum()
    growth = np.ones((len(mesh.quads), 2))
    # quads with no other paint near keep theirs
    near = np.flatnonzero(vertices_around(mesh.quads, lead < _SURE, _ASIDE)[mesh.quads].any(axis=1))
    was_poor = face_quality(mesh.positions, mesh.quads, state.normals) < options.least_quality
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
        is_folded, is_poor = _is_folded(state.positions, mesh.quads), state.are_below(options.least_quality)
        is_sound = is_folded.sum() <= folded and is_poor.sum() <= was_poor.sum()
        if score < lowest and is_sound:
            best, lowest, idle_turns = replace(drawn, positions=state.positions.copy()), score, 0
        folds |= (is_folded | is_poor) & ~was_poor
        if score == 0.0 or idle_turns == _IDLE_TURNS:
            break
    progress("keep paint", 1.0)
    return best, folds & (best is mesh)


def _is_folded(positions: FloatArray, quads: IntArray) -> BoolArray:
    return np.asarray(corner_sines(positions, quads).min(axis=1) < _SOUND, np.bool_)


def _apart(quads: IntArray, faces: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Return the faces in groups that share no vertex."""
    corners = quads[faces].astype(np.int64)
    count = int(quads.max()) + 1
    links = coo_matrix(
        (np.ones(3 * len(faces)), (np.repeat(corners[:, 0], 3), corners[:, 1:].reshape(-1))), shape=(count, count)
    )
    _, label = connected_components(links, directed=False)
    mine = label[corners[:, 0]]
    return [faces[mine == group] for group in np.unique(mine)]


def _part(mesh: QuadMesh, faces: NDArray[np.int64]) -> tuple[QuadMesh, NDArray[np.int64]]:
    """Return these quads as a mesh that is fixed where it is cut from the rest, and its vertices in the whole."""
    vertices, local = np.unique(mesh.quads[faces], return_inverse=True)
    inside = np.zeros(len(mesh.quads), bool)
    inside[faces] = True
    cut = np.zeros(len(mesh.positions), bool)
    cut[mesh.quads[~inside]] = True
    part = replace(
        mesh,
        positions=mesh.positions[vertices],
        quads=local.reshape(-1, 4).astype(np.int32),
        quad_region=mesh.quad_region[faces],
        vertex_curve=mesh.vertex_curve[vertices],
        is_fixed=mesh.is_fixed[vertices] | cut[vertices],
        on_mirror=mesh.on_mirror[vertices],
    )
    return part, vertices.astype(np.int64)


def _score(lead: FloatArray, margin: FloatArray) -> float:
    """Return the number of quads that are outweighed, plus what all lack."""
    return float((lead < 0).sum() + np.maximum(margin - lead, 0.0).sum())
