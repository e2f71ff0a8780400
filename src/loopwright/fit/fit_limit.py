"""Move the cage so that its Catmull-Clark limit surface lies on the sculpt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.cut_part import close_fans, cut_part
from loopwright.fit.draw_home import draw_home
from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fit_rounds import FitOptions, FitRounds, Laid, measure_quads
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.limit_samples import Distances, build_limit_samples
from loopwright.fit.link_edges import grow_rows
from loopwright.fit.part_crossings import StrayFinder, loosen_crossings, part_crossings, touches_more
from loopwright.fit.shape_energy import build_shape_energy
from loopwright.numerics.catmull_clark import NO_SHARPNESS, Sharpness
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, QuadMesh

_ROWS_AGAIN = 3  # round vertices that moved: laid anew with them
_ROWS_OF_SAMPLES = 3  # round those: what their part of the limit surface depends on
_MOST_AGAIN = 0.5  # of all quads: from there on, all of it is laid anew
_UNBROKEN = (0.3, 0.0, 0.1)  # measures of a quad that passes where one has to be freed from another


__all__ = ["FitOptions", "FitReport", "LimitFit", "fit_limit"]


@dataclass(frozen=True)
class FitReport:
    """What the fit reached.

    The distances are measured at the limit points of vertices, edge middles and face centres: those that are
    fitted. On a rough sculpt the surface between them is off by the roughness more.
    ``diagonal`` is that of the sculpt's bounding box, ``held`` counts quads that were held back lest they fold, those
    laid anew once more.
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
    fit = LimitFit(projector, options=options, sharpness=sharpness, progress=progress)
    return fit.lay(mesh, shaped)


class LimitFit:
    """The fit of one mesh, which can be done again in places when vertices have moved; see :func:`fit_limit`.

    Parameters
    ----------
    projector, options, sharpness : those of :func:`fit_limit`.
    """

    def __init__(
        self,
        projector: SurfaceProjector,
        *,
        options: FitOptions | None = None,
        sharpness: Sharpness = NO_SHARPNESS,
        progress: Progress = silent,
    ) -> None:
        self._projector, self._options, self._sharpness = projector, options or FitOptions(), sharpness
        self._progress = progress

    def _prepare(self, mesh: QuadMesh, sharpness: Sharpness) -> FitRounds:
        fold = fold_mirror(mesh)
        energy = build_shape_energy(mesh, fold) if self._options.shape > 0.0 else None
        return FitRounds(build_limit_samples(mesh, fold, sharpness), energy, self._projector, self._options)

    def lay(self, mesh: QuadMesh, shaped: BoolArray | None = None) -> tuple[QuadMesh, FitReport]:
        """Return the mesh with its limit surface on the sculpt, and how far off it is.

        ``shaped`` (m,) tells which quads may be drawn to better shapes, all if it is None.
        """
        zero, diagonal = Distances(0.0, 0.0, 0.0), self._projector.diagonal
        if len(mesh.quads) == 0:
            return mesh, FitReport(zero, zero, diagonal, 0, 0)
        self._rounds = self._prepare(mesh, self._sharpness)
        found = self._rounds.run(mesh, mesh.positions, shaped, self._progress)
        positions = found.positions
        if self._options.free_crossings:
            positions = self._free(mesh, found)
        report = FitReport(found.before, self._rounds.distances(positions), diagonal, self._options.rounds, found.held)
        self._progress("fit", 1.0)
        return replace(mesh, positions=positions), report

    def lay_again(
        self, mesh: QuadMesh, fitted: QuadMesh, moved: BoolArray, report: FitReport, shaped: BoolArray | None = None
    ) -> tuple[QuadMesh, FitReport]:
        """Return the fitted mesh laid anew where vertices have moved since, and as it was elsewhere.

        Where that lets quads cross, or come nearer to another part of the sculpt, all of it is laid anew.

        Parameters
        ----------
        mesh : before the fit, vertices where they are now.
        fitted, report : what :meth:`lay` made of it when some of them were elsewhere.
        moved : (n,) which were.
        shaped : see :meth:`lay`.
        """
        free = grow_rows(mesh.quads, moved, _ROWS_AGAIN)
        faces = np.flatnonzero(grow_rows(mesh.quads, free, _ROWS_OF_SAMPLES)[mesh.quads].all(axis=1))
        faces = close_fans(mesh.quads, faces)
        if len(faces) > _MOST_AGAIN * len(mesh.quads):
            return self.lay(mesh, shaped)
        part, vertices = cut_part(mesh, faces)
        rounds = self._prepare(part, _sharpness_among(self._sharpness, vertices))
        rounds.hold(~free[vertices])
        start = np.where(free[vertices, None], part.positions, fitted.positions[vertices])
        found = rounds.run(part, start, None if shaped is None else shaped[faces], self._progress)
        positions = fitted.positions.copy()
        positions[vertices] = found.positions
        fold = self._rounds.fold
        if self._options.free_crossings and touches_more(fold, self._projector, positions, fitted.positions):
            return self.lay(mesh, shaped)
        after, held = self._rounds.distances(positions), report.held + found.held
        return replace(mesh, positions=positions), replace(report, after=after, held=held)

    def measure_again(self, mesh: QuadMesh, report: FitReport) -> FitReport:
        """Return the report of a fit with the distances of this mesh, of which only vertices have moved since."""
        return report if len(mesh.quads) == 0 else replace(report, after=self._rounds.distances(mesh.positions))

    def _free(self, mesh: QuadMesh, found: Laid) -> FloatArray:
        """Return the positions with quads that cross, or lie nearer to another part of the sculpt, drawn apart."""

        def are_below(least: FloatArray) -> Callable[[FloatArray], BoolArray]:
            def find(moved: FloatArray) -> BoolArray:
                lacks = measure_quads(moved, mesh.quads, found.normals) < least - 1e-12
                return np.asarray(lacks.any(axis=1), np.bool_)

            return find

        fold, start = self._rounds.fold, mesh.positions
        spoilt, broken = are_below(found.wanted), are_below(np.minimum(found.wanted, _UNBROKEN))
        crossings, strays = CrossingFinder(fold), StrayFinder(mesh.quads, self._projector)
        positions = part_crossings(mesh, crossings, start, found.positions, spoilt, strays.find)
        positions = loosen_crossings(mesh, fold, crossings, positions, broken)
        return draw_home(mesh, fold, crossings, positions, self._projector, broken)


def _sharpness_among(sharpness: Sharpness, vertices: NDArray[np.int64]) -> Sharpness:
    """Return what is sharp among the vertices, ascending, of a part, by their ids there."""
    edges, corners = np.asarray(sharpness.edges, np.int64).reshape(-1, 2), np.asarray(sharpness.corners, np.int64)
    inside = np.isin(edges, vertices).all(axis=1)
    return Sharpness(
        np.searchsorted(vertices, edges[inside]),
        sharpness.values[inside],
        np.searchsorted(vertices, corners[np.isin(corners, vertices)]),
    )
