"""Carry a finished mesh to another sculpt: same vertices in the same order, new places."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from loopwright.detail.cut_near import cut_near
from loopwright.fit.fit_limit import FitOptions, FitReport, fit_limit
from loopwright.fit.measure_quality import QualityReport, measure_quality
from loopwright.fit.relax import relax
from loopwright.fit.relax_options import RelaxOptions
from loopwright.progress import Progress, silent
from loopwright.reuse.check_landmarks import check_landmarks
from loopwright.reuse.mirror_pairs import MirrorPairs, find_mirror_pairs
from loopwright.reuse.read_landmarks import NO_LANDMARKS, Landmarks
from loopwright.reuse.refit_mesh import spoilt_places, take_half, whole_again, with_rim_curves
from loopwright.reuse.register import RegisterOptions, Registration, register
from loopwright.reuse.template import Template, follow_limit, mixtures, template_of_quads
from loopwright.surface.edges import row_lengths
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Curve, FloatArray, QuadMesh


@dataclass(frozen=True)
class RefitOptions:
    """How a mesh is carried to another sculpt.

    Attributes
    ----------
    mirror : "auto" keeps the mesh symmetric where it and the sculpt are, "none" does not, "x", "y" or "z" insists.
    register : how the surface is registered.
    relax_rounds : rounds of evening out, only round quads that registration has spoilt.
    fit : how the limit surface is laid on the sculpt.
    """

    mirror: str = "auto"
    register: RegisterOptions = field(default_factory=RegisterOptions)
    relax_rounds: int = 8
    fit: FitOptions = field(default_factory=FitOptions)


@dataclass(frozen=True)
class RefitResult:
    """The mesh on its new sculpt and how well it lies there.

    Attributes
    ----------
    mesh : the mesh; vertices and quads in the order in which they came.
    registration : where the limit points went before the fit.
    fit : distance of the limit surface before and after.
    landmark_distances : (l,) from the limit surface at each landmark to its place on the sculpt, after the fit.
    landmark_names : of them.
    before, after : quality of the quads on the old and the new sculpt.
    newly_inverted : quads that are folded now and were not before.
    mended : vertices that were evened out.
    mirror_kept : whether the result is exactly symmetric.
    rims_on_borders : rims that lie on open borders of the sculpt now.
    """

    mesh: QuadMesh
    registration: Registration
    fit: FitReport
    landmark_distances: FloatArray
    landmark_names: tuple[str, ...]
    before: QualityReport
    after: QualityReport
    newly_inverted: int
    mended: int
    mirror_kept: bool
    rims_on_borders: int


def refit(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    *,
    landmarks: Landmarks = NO_LANDMARKS,
    borders: tuple[Curve, ...] = (),
    options: RefitOptions | None = None,
    progress: Progress = silent,
) -> RefitResult:
    """Carry a mesh to another sculpt: register, mend, lay the limit surface on it.

    Parameters
    ----------
    mesh : all quads; regions are kept, curves are drawn anew.
    projector : of the sculpt.
    landmarks : pairs of places; none are needed where the shapes are close.
    borders : closed borders of what is painted open on the sculpt, see
        :func:`loopwright.reuse.rim_curves.open_borders`; each rim of the mesh goes to the nearest.

    Raises
    ------
    MarksError
        If a landmark lies far off the mesh or the sculpt.
    InfeasibleError
        If a mirror was insisted on that is not there.
    """
    chosen = options or RefitOptions()
    template = template_of_quads(mesh.positions, mesh.quads)
    landmarks = _put_on(template, projector, landmarks)
    pairs = find_mirror_pairs(mesh.positions, mesh.quads, projector, chosen.mirror)
    led = _mirror_landmarks(landmarks, pairs)
    registration = register(
        template,
        projector,
        marks=led.mesh,
        goals=led.sculpt,
        borders=borders,
        options=chosen.register,
        progress=progress,
    )
    start = registration.similarity.apply(mesh.positions)
    moves = registration.moved - registration.similarity.apply(template.positions)
    positions = start + follow_limit(mesh.quads, template.edges, moves)
    before = measure_quality(mesh.positions, mesh.quads)
    placed = with_rim_curves(mesh, pairs.even(positions) if pairs else positions, registration, projector)
    placed, mended = _mend(placed, projector, before.scaled_jacobian, chosen.relax_rounds, progress)
    fitted, report, is_even = _fit(placed, projector, pairs, chosen.fit, progress)
    after = measure_quality(fitted.positions, fitted.quads)
    rows = mixtures(template, landmarks.mesh)[0]
    limit = template_of_quads(fitted.positions, fitted.quads).positions
    return RefitResult(
        fitted,
        registration,
        report,
        row_lengths(rows @ limit - landmarks.sculpt) if len(landmarks.names) else np.zeros(0),
        landmarks.names,
        before,
        after,
        int(((after.scaled_jacobian <= 0.0) & (before.scaled_jacobian > 0.0)).sum()),
        mended,
        is_even,
        sum(border >= 0 for border in registration.rims.of_rim),
    )


def _put_on(template: Template, projector: SurfaceProjector, landmarks: Landmarks) -> Landmarks:
    """Return the landmarks with their places on the sculpt's surface, or refuse those far off it or off the mesh."""
    if not landmarks.names:
        return landmarks
    extent = float(np.linalg.norm(np.ptp(template.positions, axis=0)))
    check_landmarks(landmarks, landmarks.mesh, mixtures(template, landmarks.mesh)[1], extent, "mesh")
    places = projector.project(landmarks.sculpt).points
    off = row_lengths(places - landmarks.sculpt)
    check_landmarks(landmarks, landmarks.sculpt, off, projector.diagonal, "sculpt")
    return replace(landmarks, sculpt=places)


def _mirror_landmarks(landmarks: Landmarks, pairs: MirrorPairs | None) -> Landmarks:
    """Return the landmarks with their images in the mesh's and the sculpt's plane."""
    if pairs is None or not landmarks.names:
        return landmarks
    images = tuple(f"{name} (image)" for name in landmarks.names)
    return Landmarks(
        (*landmarks.names, *images),
        np.vstack([landmarks.mesh, pairs.mesh_plane.reflect(landmarks.mesh)]),
        np.vstack([landmarks.sculpt, pairs.sculpt_plane.reflect(landmarks.sculpt)]),
    )


def _mend(
    mesh: QuadMesh, projector: SurfaceProjector, before: FloatArray, rounds: int, progress: Progress
) -> tuple[QuadMesh, int]:
    """Even out round quads that have become bad; all others keep their spacing."""
    touched = spoilt_places(mesh.quads, mesh.positions, before)
    if not touched.any() or rounds == 0:
        return mesh, 0
    part = cut_near(replace(mesh, is_fixed=~touched), np.flatnonzero(touched[mesh.quads].any(axis=1)), 2)
    relaxed = relax(part.mesh, projector, options=RelaxOptions(rounds=rounds, first_fairness=0.5), progress=progress)
    positions = mesh.positions.copy()
    positions[part.vertices] = relaxed.positions
    return replace(mesh, positions=positions), int(touched.sum())


def _fit(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    pairs: MirrorPairs | None,
    options: FitOptions,
    progress: Progress,
) -> tuple[QuadMesh, FitReport, bool]:
    half = take_half(mesh, pairs) if pairs is not None else None
    if pairs is not None and half is not None:
        fitted, report = fit_limit(half.mesh, projector, options=options, progress=progress)
        return whole_again(half, fitted.positions, mesh, pairs), report, True
    fitted, report = fit_limit(mesh, projector, options=options, progress=progress)
    if pairs is None:
        return fitted, report, False
    return replace(fitted, positions=pairs.even(fitted.positions)), report, True
