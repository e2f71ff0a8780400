"""Non-rigid registration: carry a surface over another sculpt, coarse to fine, led by landmarks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.fit.slide_curves import lay_curves
from loopwright.progress import Progress, silent
from loopwright.reuse.align import Similarity, align_shapes
from loopwright.reuse.bend_graph import Pull, bend_graph
from loopwright.reuse.deform_graph import build_deform_graph
from loopwright.reuse.lay_close import CloseLayer, Wishes
from loopwright.reuse.register_options import RegisterOptions
from loopwright.reuse.rim_curves import RimMatch, bend_borders, match_rims, rim_gaps
from loopwright.reuse.template import Template, mixtures
from loopwright.surface.edges import dot_rows, row_lengths
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, Curve, FloatArray

__all__ = ["NO_POINTS", "RegisterOptions", "Registration", "register"]

_ROUNDS_ALIKE = 3  # rounds of laying close with the same stiffness, which share a factorisation
NO_POINTS = np.zeros((0, 3))


@dataclass(frozen=True)
class Registration:
    """A surface and where its points went.

    Attributes
    ----------
    template : as it was. moved : (n, 3) its points on the sculpt.
    similarity : the turn, scale and shift that came first.
    landmark_distances : (l,) from each landmark, carried along, to its place on the sculpt.
    surface_rms, surface_max : distance from the moved points to the sculpt.
    uncovered : points that found no place on the sculpt whose normal agrees.
    diagonal : of the sculpt's bounding box.
    rims : which rim went to which open border.
    """

    template: Template
    moved: FloatArray
    similarity: Similarity
    landmark_distances: FloatArray
    surface_rms: float
    surface_max: float
    uncovered: int
    diagonal: float
    rims: RimMatch


def register(
    template: Template,
    projector: SurfaceProjector,
    *,
    marks: FloatArray = NO_POINTS,
    goals: FloatArray = NO_POINTS,
    borders: tuple[Curve, ...] = (),
    options: RegisterOptions | None = None,
    progress: Progress = silent,
) -> Registration:
    """Carry a template over a sculpt.

    First as a whole, then by coarse graphs that bend as rigidly as they can, then vertex by vertex. Each time the
    nearest points of the sculpt whose normals agree pull, and landmarks lead.

    Parameters
    ----------
    marks, goals : (l, 3) landmarks on the template and on the sculpt.
    borders : open borders of the sculpt that rims go to; rims without one follow their surroundings.
    """
    work = _Work(template, projector, marks, goals, options or RegisterOptions())
    work.align()
    work.bend(progress)
    match = match_rims(template, work.points, borders, projector.diagonal)
    match = bend_borders(template, match, work.mark_rows, goals, projector)
    work.lay_close(match, progress)
    wishes = work.closest(work.points, np.inf)
    off = row_lengths(wishes.gap)[wishes.valid]
    left = row_lengths(work.mark_rows @ work.points - goals) if len(goals) else np.zeros(0)
    return Registration(
        template,
        work.points,
        work.similarity,
        left,
        float(np.sqrt((off**2).mean())) if len(off) else np.inf,
        float(off.max(initial=0.0)),
        int((~wishes.valid).sum()),
        projector.diagonal,
        match,
    )


@dataclass(frozen=True)
class _Closest:
    gap: FloatArray
    normals: FloatArray
    weights: FloatArray
    valid: BoolArray


class _Work:
    """What the steps of one registration share; ``points`` is where the template's points are now."""

    def __init__(
        self,
        template: Template,
        projector: SurfaceProjector,
        marks: FloatArray,
        goals: FloatArray,
        options: RegisterOptions,
    ) -> None:
        self.template, self.projector, self.options = template, projector, options
        self.goals = goals
        self.mark_rows: csr_matrix = mixtures(template, marks)[0]
        self.marks = self.mark_rows @ template.positions
        self.rim_triangles = _triangles_at_rims(projector)
        self.points = template.positions

    def align(self) -> None:
        """Turn, scale and shift as a whole."""
        normals = self.template.normals(self.template.positions)
        self.similarity = align_shapes(self.template.positions, normals, self.projector, self.marks, self.goals)
        self.points = self.similarity.apply(self.template.positions)

    def closest(self, points: FloatArray, reach: float) -> _Closest:
        """Return the nearest points of the sculpt with weights that fall to zero where they should not be trusted."""
        normals = self.template.normals(points)
        landed = self.projector.project(points, normals, min_cosine=self.options.min_cosine)
        gap = landed.points - points
        agreement = dot_rows(normals, landed.normals)
        aside = row_lengths(gap - dot_rows(gap, landed.normals)[:, None] * landed.normals)
        past_rim = self.rim_triangles[landed.triangles] & (aside > 0.3 * row_lengths(gap)) & (aside > 0.0)
        valid = (agreement >= self.options.min_cosine) & ~past_rim
        size = reach * self.projector.diagonal
        trust = np.exp(-0.5 * dot_rows(gap, gap) / size**2) if np.isfinite(size) else np.ones(len(gap))
        return _Closest(gap, landed.normals, np.where(valid, trust * agreement, 0.0), valid)

    def bend(self, progress: Progress) -> None:
        """Bend by coarse graphs, each finer than the last."""
        chosen = self.options
        for level, count in enumerate(chosen.node_counts):
            graph = build_deform_graph(self.points, self.template.edges, count)
            maps = graph.identity()
            for step in range(chosen.bend_rounds):
                progress("register", (level + step / chosen.bend_rounds) / (len(chosen.node_counts) + 1))
                part = step / max(1, chosen.bend_rounds - 1)
                start = chosen.first_stiffness / 3.0**level
                stiffness = start * (chosen.last_stiffness / start) ** part
                near = self.closest(self.points, chosen.reach * (chosen.last_reach / chosen.reach) ** part)
                pull = Pull(self.points + near.gap, near.normals, near.weights, self.mark_rows, self.goals)
                maps = bend_graph(
                    graph,
                    maps,
                    pull,
                    stiffness=stiffness,
                    mark_weight=chosen.mark_weight,
                    extent=self.projector.diagonal,
                )
                self.points = graph.apply(maps)

    def lay_close(self, match: RimMatch, progress: Progress) -> None:
        """Let each vertex go by itself, with ever less resistance to bending."""
        chosen = self.options
        start, count = self.points, len(self.points)
        layer = CloseLayer(self.template.edges, count, self.mark_rows, chosen.mark_weight)
        moves = np.zeros((count, 3))
        curves = lay_curves(match.curves)
        levels = len(chosen.node_counts)
        for step in range(chosen.close_rounds):
            progress("register", (levels + step / chosen.close_rounds) / (levels + 1))
            part = (step // _ROUNDS_ALIKE) / max(1, (chosen.close_rounds - 1) // _ROUNDS_ALIKE)
            near = self.closest(self.points, chosen.last_reach)
            pull = near.weights[:, None, None] * near.normals[:, :, None] * near.normals[:, None, :]
            gap = near.gap.copy()
            for rim, (off, along) in zip(
                self.template.rims, rim_gaps(self.template, self.points, match, curves), strict=True
            ):
                if len(off):
                    gap[rim] = off
                    pull[rim] = chosen.rim_weight * (np.eye(3) - along[:, :, None] * along[:, None, :])
            stiffness = chosen.first_bending * (chosen.last_bending / chosen.first_bending) ** part
            left = self.goals - self.mark_rows @ self.points
            moves = layer.solve(moves, Wishes(gap, pull), left, stiffness)
            self.points = start + moves
        progress("register", 1.0)


def _triangles_at_rims(projector: SurfaceProjector) -> BoolArray:
    """Return (m,) which triangles of the sculpt touch its boundary."""
    start = projector.triangles.ravel().astype(np.int64)
    end = np.roll(projector.triangles, -1, axis=1).ravel().astype(np.int64)
    base = len(projector.positions)
    is_rim = ~np.isin(start * base + end, end * base + start)
    at_rim = np.zeros(base, bool)
    at_rim[start[is_rim]] = at_rim[end[is_rim]] = True
    return np.asarray(at_rim[projector.triangles].any(axis=1))
