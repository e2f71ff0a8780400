"""The state of a mesh while it relaxes, and one round of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, identity

from loopwright.fit.fold_mirror import Fold, fold_mirror
from loopwright.fit.link_edges import on_rim
from loopwright.fit.measure_quality import corner_sines
from loopwright.fit.mend_worst import face_quality, mean_normals, mend_worst
from loopwright.fit.reflect import put_in_plane
from loopwright.fit.relax_options import RelaxOptions
from loopwright.fit.shape_energy import ShapeEnergy, build_shape_energy, fairness_targets, quad_targets
from loopwright.fit.slide_curves import CurveSlide
from loopwright.fit.step_equations import StepEquations
from loopwright.numerics.norms import norms
from loopwright.surface.edges import cross_rows, row_lengths
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import BoolArray, FloatArray, QuadMesh

_SKETCHED = 0.35  # of the local edge length: vertices of the sculpt this near will do while a mesh still moves
_LEVELLINGS = 3  # times that a vertex is put on the sculpt and back into the mirror plane, unless in a sketch
_END_IN_PLANE = 0.02  # of a curve's length: an end this near to the mirror plane is meant to lie in it


class RelaxState:
    """Positions, surface normals and curve parameters of one mesh while it relaxes."""

    def __init__(self, mesh: QuadMesh, projector: SurfaceProjector, options: RelaxOptions) -> None:
        self.mesh, self.projector, self.options = mesh, projector, options
        self.fold: Fold = fold_mirror(mesh)
        self.energy: ShapeEnergy = build_shape_energy(mesh, self.fold, size_reach=options.size_reach)
        self.near, touched = self.fold.keep_images(self.energy.rows.indices)  # few images reach into the half's rows
        self.rows = self.energy.rows[:, touched].tocsr()
        self.transposed = self.rows.T.tocsr()
        self.equations = StepEquations(self.rows, self.near)
        self.growth: FloatArray | None = None  # (2, m) factors on the wished sides
        on_curve = mesh.vertex_curve >= 0
        stays = mesh.is_fixed | (mesh.on_mirror & on_curve & ~_curves_in_plane(mesh))
        self.rides = on_curve & ~stays
        self.in_plane = mesh.on_mirror & ~stays & ~self.rides
        rim = on_rim(self.fold.quads, self.fold.whole_count)[: self.fold.count]
        stays |= rim & ~self.rides & ~self.in_plane
        self.is_free = ~stays & ~self.rides & ~self.in_plane
        self.let_off = np.zeros(len(mesh.positions), bool)
        self.home = mesh.positions
        self.slide = CurveSlide(mesh, self.rides)
        self.positions = mesh.positions.copy()
        if mesh.mirror is not None:
            self.positions = put_in_plane(self.positions, mesh.on_mirror & ~mesh.is_fixed, mesh.mirror)
        self.positions[self.slide.vertices] = self.slide.positions()
        for vertex in np.flatnonzero(mesh.on_mirror & on_curve & ~mesh.is_fixed & ~self.rides):
            self.positions[vertex] = self._crossing(int(vertex))
        self.round_vertex = _neighbourhood(mesh)
        self.normals = self.fold.normals(self.positions)
        self._settle(self.positions, np.arange(len(self.positions)), self._asked_normals())

    def _crossing(self, vertex: int) -> FloatArray:
        """Return where the vertex's curve meets the mirror plane, next to the vertex."""
        mirror, curves = self.mesh.mirror, self.slide.curves
        here: FloatArray = self.positions[vertex]
        curve = int(self.mesh.vertex_curve[vertex])
        along = curves.locate(curve, here[None])[0]
        ends = np.array([0.0, curves.length[curve]])
        spots = curves.position(np.full(2, curve), ends)
        if mirror is None:
            return here
        in_plane = np.abs(mirror.signed_distance(spots)) <= _END_IN_PLANE * curves.length[curve]
        if not curves.closed[curve] and in_plane.any():
            distance = np.where(in_plane, norms(spots - here), np.inf)
            along = ends[[int(distance.argmin())]]
        spot = curves.position(np.array([curve]), along)
        return np.asarray((spot - mirror.signed_distance(spot)[:, None] * mirror.normal)[0], np.float64)

    def _asked_normals(self) -> FloatArray:
        """Return each vertex's own sculpt normal averaged with those round it."""
        total: FloatArray = self.round_vertex @ self.normals
        if self.fold.mirror is not None:
            plane = self.fold.mirror.normal
            flat = total - np.outer(total @ plane, plane)
            total = np.where(self.mesh.on_mirror[:, None], flat, total)
        return unit(total)

    def _land(self, points: FloatArray, asked: FloatArray, reach: FloatArray | None) -> tuple[FloatArray, FloatArray]:
        """Return where points land on the sculpt, about there within a reach, and the normals."""
        if reach is not None:
            return self.projector.sketch(points, asked, reach, min_cosine=self.options.min_cosine)
        landed = self.projector.project(points, asked, min_cosine=self.options.min_cosine)
        return landed.points, landed.normals

    def _settle(
        self, moved: FloatArray, chosen: NDArray[np.int64], asked: FloatArray, reach: FloatArray | None = None
    ) -> None:
        """Put the chosen vertices on the sculpt, each where it may be, and take the normals there."""
        mirror = self.mesh.mirror
        points, wish, near = moved[chosen], asked[chosen], None if reach is None else reach[chosen]
        landed, normals = self._land(points, wish, near)
        target = np.where(self.is_free[chosen, None], landed, points)
        flat = np.flatnonzero(self.in_plane[chosen])
        if mirror is not None and len(flat):
            level = landed[flat]
            for turn in range(_LEVELLINGS if near is None else 1):
                if turn:
                    level, _ = self._land(level, wish[flat], None)
                level -= mirror.signed_distance(level)[:, None] * mirror.normal
            target[flat] = level
        if self.fold.mirror is not None:
            plane = self.fold.mirror.normal
            level = unit(normals - np.outer(normals @ plane, plane))
            normals = np.where(self.mesh.on_mirror[chosen, None], level, normals)
        self.positions[chosen], self.normals[chosen] = target, normals

    def bases(self, local: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return (n, 2, 3) directions in which each vertex may move, zero where it may not, and (n, 3) tangents."""
        n = len(self.positions)
        axis = np.eye(3)[np.abs(self.normals).argmin(axis=1)]
        first = unit(cross_rows(self.normals, axis))
        second = cross_rows(self.normals, first)
        bases = np.stack([first, second], axis=1)
        bases[~self.is_free] = 0.0
        if self.mesh.mirror is not None:
            bases[self.in_plane, 0] = unit(np.cross(self.normals[self.in_plane], self.mesh.mirror.normal))
        tangents = np.zeros((n, 3))
        tangents[self.slide.vertices] = self.slide.tangents(0.3 * local[self.slide.vertices])
        bases[self.slide.vertices, 0] = tangents[self.slide.vertices]
        return bases, tangents

    def advance(self, fairness: float, *, is_sketch: bool = False) -> None:
        """Do one round; as a sketch, vertices land only about on the sculpt, which a round after it mends."""
        energy, fold = self.energy, self.fold
        points = fold.unfold_points(self.positions)
        values = energy.rows @ points
        targets, size, around = quad_targets(
            energy,
            points,
            values,
            self.normals,
            squareness=self.options.squareness,
            long_squareness=self.options.long_squareness,
            evenness=self.options.evenness,
            growth=self.growth,
        )
        local = _vertex_size(self.mesh, size)
        bases, tangents = self.bases(local)
        sines = corner_sines(self.positions, self.mesh.quads, self._quad_normals()).min(axis=1)
        shape_weight = (1.0 / np.maximum(sines, 0.2)) ** self.options.emphasis / around**2
        fair_weight = fairness * energy.share / _vertex_size(self.mesh, around)[energy.row_center] ** 2
        weights = np.concatenate([np.tile(shape_weight, 3), fair_weight])
        bend = fairness_targets(energy, points, values, self.normals, tangents)
        residual = weights[:, None] * (np.vstack([targets, bend]) - values)
        pull = np.einsum("nkj,nj->nk", bases, self.near.fold_vectors(self.transposed @ residual))
        step = self.equations.solve(weights, bases, pull, self.options.solver_steps)
        reach = _SKETCHED * local if is_sketch else None
        self._move(np.einsum("nk,nkj->nj", step, bases), step, local, sines, reach)

    def _quad_normals(self) -> FloatArray:
        return mean_normals(self.normals, self.mesh.quads)

    def _move(
        self, move: FloatArray, step: FloatArray, local: FloatArray, sines: FloatArray, reach: FloatArray | None
    ) -> None:
        """Take the step, shortened where it would fold a quad or crowd a curve."""
        length = row_lengths(move)
        cap = np.minimum(1.0, self.options.max_step * local / np.maximum(length, 1e-300))
        start, along, asked = self.positions, self.slide.along, self._asked_normals()
        riders = self.slide.vertices
        last: FloatArray | None = None
        self.positions, self.normals = start.copy(), self.normals.copy()
        for shrink in (0.4, 0.3, 0.0, 0.0):
            self.slide.along = along + self.slide.limit_steps((step[:, 0] * cap)[riders], along)
            moved = start + cap[:, None] * move
            moved[riders] = self.slide.positions()
            chosen = np.arange(len(start)) if last is None else np.flatnonzero((moved != last).any(axis=1))
            self._settle(moved, chosen, asked, reach)
            fresh = corner_sines(self.positions, self.mesh.quads, self._quad_normals()).min(axis=1)
            worse = (fresh < 0.1) & (fresh < sines) & (sines > 0.0)  # a folded quad may go through worse
            if not worse.any():
                return
            cap[np.unique(self.mesh.quads[worse])] *= shrink
            last = moved

    def free_from_curves(self, chosen: NDArray[np.bool_]) -> None:
        """Let the riders, and corners where curves end, of (n,) chosen vertices off their curves.

        Those in the mirror plane stay on theirs. ``home`` says where the others were.
        """
        ends = np.array([c.points[k] for c in self.mesh.curves for k in (0, -1)]).reshape(-1, 3)
        corner = np.flatnonzero(chosen & self.mesh.is_fixed & ~self.mesh.on_mirror & (self.mesh.vertex_curve >= 0))
        at_end = np.array([(np.abs(ends - self.positions[v]).max(axis=1) < 1e-9).any() for v in corner], bool)
        chosen = chosen & self.rides & ~self.mesh.on_mirror
        chosen[corner[at_end]] = True
        self.home = np.where(chosen[:, None], self.positions, self.home)
        self.let_off = self.let_off | chosen
        self.mesh = replace(
            self.mesh,
            positions=self.positions.copy(),
            vertex_curve=np.where(chosen, -1, self.mesh.vertex_curve).astype(np.int32),
            is_fixed=self.mesh.is_fixed & ~chosen,
        )
        self.is_free, self.rides = self.is_free | chosen, self.rides & ~chosen
        self.slide = CurveSlide(self.mesh, self.rides)

    def take_step(self, step: FloatArray, bases: FloatArray, chosen: NDArray[np.int64]) -> None:
        """Move the chosen vertices by (n, 2) steps along the bases, put them on the sculpt, curves in order."""
        along = np.where(np.isin(self.slide.vertices, chosen), step[self.slide.vertices, 0], 0.0)
        self.slide.along = self.slide.along + self.slide.limit_steps(along, self.slide.along)
        moved = self.positions + np.einsum("nk,nkj->nj", step, bases)
        moved[self.slide.vertices] = self.slide.positions()
        asked = self._asked_normals()
        self.positions, self.normals = self.positions.copy(), self.normals.copy()
        self._settle(moved, np.union1d(chosen, self.slide.vertices), asked)

    def least_quality(self) -> float:
        """Return the quality of the worst quad."""
        return float(face_quality(self.positions, self.mesh.quads, self.normals).min())

    def are_below(self, quality: float) -> BoolArray:
        """Tell which of the (m,) quads are worse than this."""
        below: BoolArray = face_quality(self.positions, self.mesh.quads, self.normals) < quality
        return below

    def count_below(self, quality: float) -> int:
        """Return the number of quads that are worse than this."""
        return int(self.are_below(quality).sum())

    def mend(self, rounds: int = 12) -> None:
        """Mend the quads that are still bad, vertex by vertex, in so many rounds."""
        movable = self.is_free | self.in_plane | self.rides
        self.asked = self._asked_normals()
        self.positions, self.normals = mend_worst(
            self.positions,
            self.mesh.quads,
            self.normals,
            movable,
            self._places,
            least=self.options.least_quality,
            rounds=rounds,
        )
        self.slide.take(self.positions[self.slide.vertices])

    def _places(self, vertex: int, wishes: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return where the vertex may go, as ``mend_worst`` asks for it."""
        normal, here = self.normals[vertex], self.positions[vertex]
        first = unit(np.cross(normal, np.eye(3)[np.abs(normal).argmin()]))
        mirror = self.mesh.mirror
        if self.rides[vertex]:
            row = np.full(len(wishes), np.flatnonzero(self.slide.vertices == vertex)[0])
            curve = self.slide.curve[row]
            along = self.slide.curves.locate(int(curve[0]), here[None])[0] + wishes[:, 0]
            points = self.slide.curves.position(curve, along)
            return points, np.broadcast_to(normal, points.shape)
        points = here + wishes @ np.stack([first, np.cross(normal, first)])
        asked = np.broadcast_to(self.asked[vertex], points.shape)
        landed = self.projector.project(points, asked, min_cosine=self.options.min_cosine)
        points, normals = landed.points, landed.normals
        if self.in_plane[vertex] and mirror is not None:
            points = points - mirror.signed_distance(points)[:, None] * mirror.normal
            normals = unit(normals - np.outer(normals @ mirror.normal, mirror.normal))
        return points, normals


def _neighbourhood(mesh: QuadMesh) -> csr_matrix:
    """Return the (n, n) averaging of each vertex with the corners of the quads round it, own weight large."""
    corners = mesh.quads.ravel()
    faces = np.repeat(np.arange(len(mesh.quads)), 4)
    shape = (len(mesh.positions), len(mesh.quads))
    incidence = csr_matrix((np.ones(corners.size), (corners, faces)), shape=shape)
    return (incidence @ incidence.T / 4.0 + 3.0 * identity(incidence.shape[0])).tocsr()


def _vertex_size(mesh: QuadMesh, size: FloatArray) -> FloatArray:
    """Return (n,) mean side of the quads round each vertex."""
    corners = mesh.quads.ravel()
    total = np.bincount(corners, weights=np.repeat(size, 4), minlength=len(mesh.positions))
    return np.asarray(total / np.maximum(np.bincount(corners, minlength=len(mesh.positions)), 1), np.float64)


def _curves_in_plane(mesh: QuadMesh) -> NDArray[np.bool_]:
    """Return (n,) bool, vertices whose curve lies in the mirror plane."""
    flat = np.zeros(len(mesh.curves) + 1, bool)
    if mesh.mirror is not None:
        for index, curve in enumerate(mesh.curves):
            extent = float(np.ptp(curve.points, axis=0).max()) if len(curve.points) else 0.0
            flat[index] = bool((np.abs(mesh.mirror.signed_distance(curve.points)) <= 1e-6 * extent).all())
    return flat[mesh.vertex_curve]
