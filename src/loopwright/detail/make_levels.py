"""Lay the sculpt's detail on the levels of a subdivided cage."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from loopwright.detail.level_surface import LevelSurface, keep_in_plane, level_surfaces, neighbour_sum
from loopwright.detail.measure_level import measure_level
from loopwright.detail.mend_folds import mend_folds, mend_level
from loopwright.detail.rebuild_level import displace
from loopwright.detail.types import NO_CREASES, Creases, Levels
from loopwright.errors import InputError
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import BoolArray, FloatArray, QuadMesh

MOST_LEVELS = 7
_MOST_FACES = 4_000_000
_FILL_ROUNDS = 400
_WRAP_ROUNDS = 12


@dataclass(frozen=True)
class LevelOptions:
    """How detail is laid on.

    Attributes
    ----------
    min_cosine : least agreement of the sculpt's normal with the smooth surface's: what lies across a lip, a
        lid or an ear faces elsewhere and is not taken.
    reach : how far off the sculpt may lie, in edges of the level.
    """

    min_cosine: float = 0.3
    reach: float = 1.0


def make_levels(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    levels: int,
    *,
    creases: Creases | None = None,
    options: LevelOptions | None = None,
    progress: Progress = silent,
) -> Levels:
    """Return the levels 0 to ``levels`` of a cage with the sculpt's detail.

    The smooth surface of every level is the cage's limit surface at that level's vertices. Level by level each new
    vertex goes from where its parents' detail puts it to the closest point of the sculpt that faces its way. The way
    from the limit surface is kept in that surface's frame, so that the detail follows when the cage is posed. Where
    no such point is near, and where faces would fold, the offsets are evened out over their neighbours.

    Parameters
    ----------
    mesh : the cage: whole, or a half that ends at its mirror plane.
    levels : the finest level; its faces are 4**levels times the cage's.

    Raises
    ------
    InputError
        If there are no faces, or the finest level is out of range.

    References
    ----------
    A. Lee, H. Moreton, H. Hoppe, "Displaced subdivision surfaces", SIGGRAPH 2000: detail as offsets from a limit
    surface. Vector offsets, their mending and the limits are our own.
    """
    options = options or LevelOptions()
    check_levels(mesh, levels)
    creases = creases or NO_CREASES
    progress("levels", 0.0)
    surfaces = list(level_surfaces(mesh, levels, creases.as_sharpness()))
    progress("levels", 0.3)
    offsets, filled, smoothed = _find_offsets(
        surfaces, projector, options, lambda done: progress("levels", 0.3 + 0.4 * done)
    )
    reports = []
    for level, surface in enumerate(surfaces):
        progress("levels", 0.7 + 0.3 * level / len(surfaces))
        shape = displace(surface, offsets[: len(surface.mesh.positions)])
        reports.append(measure_level(level, shape, surface, projector, options.min_cosine))
    progress("levels", 1.0)
    return Levels(mesh, creases, levels, offsets, tuple(reports), filled, smoothed)


def check_levels(mesh: QuadMesh, levels: int) -> None:
    """Refuse a request for levels that cannot be made, before the long work.

    Raises
    ------
    InputError
        If there are no faces, or the finest level is out of range or has too many faces.
    """
    if len(mesh.quads) == 0:
        raise InputError("The mesh has no faces to subdivide.")
    if not 0 <= levels <= MOST_LEVELS:
        raise InputError(f"{levels} levels cannot be made; ask for 0 to {MOST_LEVELS}.", places=(levels,))
    faces = len(mesh.quads) * 4**levels
    if faces > _MOST_FACES:
        raise InputError(f"Level {levels} would have {faces:,} faces, more than {_MOST_FACES:,}; ask for fewer levels.")


def _find_offsets(
    surfaces: list[LevelSurface], projector: SurfaceProjector, options: LevelOptions, tell: Callable[[float], None]
) -> tuple[FloatArray, int, int]:
    """Return (n, 3) offsets in the finest frames, how many vertices took their neighbours' and how many were evened.

    From coarse to fine: a new vertex starts where its parents' detail puts it, close to the sculpt already, so that
    it cannot jump to a sheet that its parents are not on. Each level is mended before the next one starts from it.
    """
    first = surfaces[0]
    base, least = first.mesh.positions, options.min_cosine
    still = np.zeros_like(base)
    way, normals, is_good = _land(base, options.reach * first.reach, still, first.frames[:, 2], projector, least)
    filled = int((~is_good).sum())
    way = keep_in_plane(first, _fill(way, is_good, first.mesh))
    mended = [mend_level(first)]
    way, touched = mend_folds(mended, way)
    for level, (coarse, surface) in enumerate(zip(surfaces, surfaces[1:], strict=False), 1):
        n = len(coarse.mesh.positions)
        start = np.vstack([way, _from_parents(way, coarse, surface)])
        expected = np.vstack([normals, unit(_from_parents(normals, coarse, surface))])
        reach = options.reach * surface.reach / 2**level
        found, normals, is_good = _land(surface.mesh.positions, reach, start, expected, projector, least)
        is_good[:n] = True
        found[:n] = way
        way = keep_in_plane(surface, np.where(is_good[:, None], found, start))
        if not is_good.all():
            way, normals, is_good = _wrap(surface, way, normals, is_good, reach, projector, least)
        filled += int((~is_good).sum())
        mended.append(mend_level(surface))
        way, evened = mend_folds(mended, way)
        evened[:n] |= touched
        touched = evened
        tell(level / len(surfaces))
    return np.einsum("nij,nj->ni", surfaces[-1].frames, way), filled, int(touched.sum())


def _land(
    base: FloatArray,
    reach: FloatArray,
    way: FloatArray,
    normals: FloatArray,
    projector: SurfaceProjector,
    min_cosine: float,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return the ways to the sculpt from where the given ways lead, its normals there, and which are to be trusted."""
    points = base + way
    landed = projector.project(points, normals, min_cosine=min_cosine)
    cosine = np.einsum("ij,ij->i", landed.normals, normals)
    step = np.linalg.norm(landed.points - points, axis=1)
    is_good = (cosine >= min_cosine) & (step <= reach)
    return landed.points - base, np.where(is_good[:, None], landed.normals, normals), is_good


def _wrap(
    surface: LevelSurface,
    way: FloatArray,
    normals: FloatArray,
    is_good: BoolArray,
    reach: FloatArray,
    projector: SurfaceProjector,
    min_cosine: float,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Try again where no sculpt was found: from between the neighbours, looking the way the level itself faces."""
    links = neighbour_sum(surface.mesh)
    is_good, normals = is_good.copy(), normals.copy()
    for _ in range(_WRAP_ROUNDS):
        bad = np.flatnonzero(~is_good)
        if len(bad) == 0:
            break
        rows = links[bad]
        way = way.copy()
        shape = surface.mesh.positions + way
        way[bad] = (rows @ shape) / np.asarray(rows.sum(axis=1)) - surface.mesh.positions[bad]
        way = keep_in_plane(surface, way)
        facing = _facing(surface.mesh.positions + way, surface.mesh)
        base = surface.mesh.positions[bad]
        found, seen, good = _land(base, reach[bad], way[bad], facing[bad], projector, min_cosine)
        way[bad[good]], normals[bad[good]] = found[good], seen[good]
        is_good[bad[good]] = True
    return keep_in_plane(surface, way), normals, is_good


def _from_parents(values: FloatArray, coarse: LevelSurface, fine: LevelSurface) -> FloatArray:
    """Return the parents' mean for each vertex that is new at the finer level."""
    n, quads, children = len(coarse.mesh.positions), coarse.mesh.quads, fine.mesh.quads
    result = np.zeros((len(fine.mesh.positions) - n, 3))
    for corner in range(4):
        own = children[corner::4]
        result[own[:, 1] - n] = 0.5 * (values[quads[:, corner]] + values[quads[:, (corner + 1) % 4]])
        result[own[:, 2] - n] = values[quads].mean(axis=1)
    return result


def _facing(positions: FloatArray, mesh: QuadMesh) -> FloatArray:
    """Return (n, 3) unit normals of the vertices, area weighted."""
    a, b, c, d = (positions[mesh.quads[:, k]] for k in range(4))
    area, corners = np.repeat(np.cross(c - a, d - b), 4, axis=0), mesh.quads.ravel()
    return unit(np.stack([np.bincount(corners, area[:, k], len(positions)) for k in range(3)], axis=1))


def _fill(way: FloatArray, is_good: BoolArray, mesh: QuadMesh) -> FloatArray:
    """Return the ways with bad ones replaced, from the good ones inward, then evened out."""
    if is_good.all():
        return way
    links = neighbour_sum(mesh)
    bad = np.flatnonzero(~is_good)
    rows = links[bad]
    filled, known = way.copy(), is_good.astype(np.float64)
    filled[bad] = 0.0
    for _ in range(_FILL_ROUNDS):
        weight = rows @ known
        ready = weight > 0.0
        if not ready.any():
            break
        value = (rows @ (filled * known[:, None])) / np.maximum(weight, 1.0)[:, None]
        step = float(np.abs(value[ready] - filled[bad[ready]]).max())
        is_new = known[bad[ready]] == 0.0
        filled[bad[ready]] = value[ready]
        known[bad[ready]] = 1.0
        if step <= 1e-6 * float(np.abs(filled).max()) and not is_new.any():
            break
    return filled
