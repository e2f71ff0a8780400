"""Fit a cage with creases on trial, near the chains that they are tried on, and tell what is left there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loopwright.detail.change_creases import CreaseWish, change_creases, make_creases
from loopwright.detail.crease_candidates import Ids
from loopwright.detail.cut_near import NearPart, cut_near
from loopwright.detail.fit_creases import fit_creases
from loopwright.detail.level_surface import level_surface
from loopwright.detail.types import Creases
from loopwright.fit.fit_limit import FitOptions
from loopwright.surface.project import Projection, SurfaceProjector
from loopwright.types import FloatArray, IntArray, QuadMesh

WHOLE_FIT = FitOptions(free_crossings=False)  # quads that cross are few, and tell nothing about ridges
TRIAL_FIT = replace(WHOLE_FIT, rounds=5)
_RINGS = 1  # beyond the faces that are looked at: what lies farther off moves them by nothing that counts


@dataclass(frozen=True)
class Landing:
    """The limit surface at 25 points of each of some faces, and where these land on the sculpt.

    Attributes
    ----------
    points : (k, 3) on the limit surface. landed : of them.
    quads : (16 f, 4) the second level's quads of each face, as indices of points.
    """

    points: FloatArray
    landed: Projection
    quads: IntArray

    def face_errors(self) -> FloatArray:
        """Return (f,) the mean-square distance to the sculpt of each face of the cage."""
        square = ((self.landed.points - self.points) ** 2).sum(axis=1)
        errors: FloatArray = square[self.quads].mean(axis=1).reshape(-1, 16).mean(axis=1)
        return errors


def land_limit(
    mesh: QuadMesh, projector: SurfaceProjector, creases: Creases, min_cosine: float, faces: Ids | None = None
) -> Landing:
    """Return where the limit surface of a cage lands on the sculpt, on all or some of its faces."""
    surface = level_surface(mesh, 2, creases.as_sharpness())
    quads, points, normals = surface.mesh.quads, surface.mesh.positions, surface.frames[:, 2]
    if faces is not None:
        used, inverse = np.unique(quads.reshape(-1, 16, 4)[faces], return_inverse=True)
        quads, points, normals = inverse.reshape(-1, 4).astype(np.int32), points[used], normals[used]
    return Landing(points, projector.project(points, normals, min_cosine=min_cosine), quads)


@dataclass(frozen=True)
class CreaseTrials:
    """Trials of sharpness on chains of edges.

    Attributes
    ----------
    part : the cage near the chains, its vertices on the sculpt.
    seen : what of the part is looked at.
    edges : (e, 2) of the whole cage. chains : each one's edges as indices.
    faces, seen_faces : the faces that are measured, in the whole cage and in ``seen``.
    zones, surroundings : of the whole cage's faces those that touch each chain, and those within a ring more.
    wishes : creases that are held meanwhile.
    min_cosine : least agreement of normals.
    """

    part: NearPart
    seen: NearPart
    projector: SurfaceProjector
    edges: Ids
    chains: list[Ids]
    faces: Ids
    seen_faces: Ids
    zones: list[Ids]
    surroundings: list[Ids]
    wishes: tuple[CreaseWish, ...]
    min_cosine: float

    def assemble(self, sharpness: FloatArray) -> Creases:
        """Return the whole cage's creases for (c,) sharpness of the chains, and of the wishes."""
        edges = np.concatenate([np.zeros((0, 2), np.int64), *(self.edges[chain] for chain in self.chains)])
        values = np.repeat(sharpness, [len(chain) for chain in self.chains])
        return change_creases(make_creases(edges.astype(np.int32), values), self.wishes)

    def measure(self, face_errors: FloatArray) -> FloatArray:
        """Return (2, c) square distances round each chain from those of the whole cage's faces.

        The first row is the mean on the faces that touch the chain, the second the sum with a ring more, by the number
        of those faces: where a crease gains at its edges what it loses beside them, the second does not fall.
        """
        near = [face_errors[zone].mean() for zone in self.zones]
        wide = [face_errors[more].sum() / len(zone) for zone, more in zip(self.zones, self.surroundings, strict=True)]
        return np.array([near, wide])

    def errors(self, creases: Creases) -> FloatArray:
        """Return what :meth:`measure` tells after a fit of the part with some of the whole cage's creases."""
        here = self.part.creases(creases)
        fitted, _ = fit_creases(self.part.mesh, self.projector, here, options=TRIAL_FIT)
        shape = replace(self.seen.mesh, positions=fitted.positions[self.seen.vertices])
        landing = land_limit(shape, self.projector, self.seen.creases(here), self.min_cosine, self.seen_faces)
        errors = np.full(int(self.faces.max()) + 1, np.nan)
        errors[self.faces] = landing.face_errors()
        return self.measure(errors)


def prepare_trials(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    edges: Ids,
    chains: list[Ids],
    *,
    wishes: tuple[CreaseWish, ...],
    min_cosine: float,
) -> CreaseTrials:
    """Return the trials of one or more chains on a cage whose vertices are on the sculpt."""
    zones, surroundings = [], []
    for chain in chains:
        touched = np.zeros(len(mesh.positions), bool)
        touched[edges[chain].ravel()] = True
        zones.append(np.flatnonzero(touched[mesh.quads].any(axis=1)))
        touched[mesh.quads[zones[-1]].ravel()] = True
        surroundings.append(np.flatnonzero(touched[mesh.quads].any(axis=1)))
    faces = np.unique(np.concatenate(surroundings))
    part = cut_near(mesh, faces, _RINGS)
    seen = cut_near(part.mesh, part.find_faces(faces), 1)
    return CreaseTrials(
        part,
        seen,
        projector,
        edges,
        chains,
        faces,
        seen.find_faces(part.find_faces(faces)),
        zones,
        surroundings,
        wishes,
        min_cosine,
    )
