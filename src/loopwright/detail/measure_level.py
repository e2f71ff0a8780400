"""How well a level shows the sculpt."""

from __future__ import annotations

import numpy as np

from loopwright.detail.level_surface import LevelSurface
from loopwright.detail.mend_folds import find_folds
from loopwright.detail.types import LevelReport
from loopwright.fit.link_edges import on_rim
from loopwright.numerics.catmull_clark import unique_edges
from loopwright.surface.project import SurfaceProjector, closest_barycentric, unit
from loopwright.types import FloatArray, QuadMesh

_MOST_SAMPLES = 60_000
_ON_RIM = 1.0 - 1e-9


def measure_level(
    level: int, shape: QuadMesh, surface: LevelSurface, projector: SurfaceProjector, min_cosine: float
) -> LevelReport:
    """Return the distances between a level and the sculpt, both ways.

    Parameters
    ----------
    shape : the level with its detail.
    surface : the smooth level, whose normals tell which side of a thin form is meant.
    """
    there = _level_to_sculpt(shape, surface, projector, min_cosine)
    back, covered = _sculpt_to_level(shape, projector, float(surface.reach.mean()), min_cosine)
    return LevelReport(
        level=level,
        faces=len(shape.quads),
        vertices=len(shape.positions),
        level_rms=_rms(there),
        level_p95=_p95(there),
        level_max=float(there.max(initial=0.0)),
        sculpt_rms=_rms(back),
        sculpt_p95=_p95(back),
        sculpt_max=float(back.max(initial=0.0)),
        covered=covered,
        folded=int(find_folds(shape.positions, shape.quads, surface.frames[:, 2]).sum()),
    )


def _rms(distance: FloatArray) -> float:
    return float(np.sqrt((distance**2).mean())) if len(distance) else 0.0


def _p95(distance: FloatArray) -> float:
    return float(np.quantile(distance, 0.95)) if len(distance) else 0.0


def _level_to_sculpt(
    shape: QuadMesh, surface: LevelSurface, projector: SurfaceProjector, min_cosine: float
) -> FloatArray:
    """Return distances from the middles of edges and faces."""
    groups = (unique_edges(shape.quads), shape.quads)
    points = np.concatenate([shape.positions[ids].mean(axis=1) for ids in groups])
    normals = unit(np.concatenate([surface.frames[:, 2][ids].mean(axis=1) for ids in groups]))
    step = -(-len(points) // (4 * _MOST_SAMPLES))
    landed = projector.project(points[::step], normals[::step], min_cosine=min_cosine)
    distance: FloatArray = np.linalg.norm(landed.points - points[::step], axis=1)
    return distance


def _sculpt_to_level(
    shape: QuadMesh, projector: SurfaceProjector, reach: float, min_cosine: float
) -> tuple[FloatArray, float]:
    """Return distances from the sculpt's vertices that the level covers, and their share of all.

    Not covered is what lands on the rim, lies farther off than ``reach`` or faces elsewhere: what was left open.
    """
    triangles = np.vstack([shape.quads[:, [0, 1, 2]], shape.quads[:, [0, 2, 3]]]).astype(np.int32)
    target = SurfaceProjector(shape.positions, triangles)
    used = np.flatnonzero(np.bincount(projector.triangles.ravel()))
    used = used[:: -(-len(used) // _MOST_SAMPLES)]
    points = projector.positions[used]
    normals = projector.vertex_normals[used]
    landed = target.project(points, normals, min_cosine=0.0)
    corners = shape.positions[triangles[landed.triangles]]
    weights = closest_barycentric(landed.points, corners[:, 0], corners[:, 1], corners[:, 2])
    at_rim = on_rim(shape.quads, len(shape.positions))[triangles[landed.triangles]]
    inside = (weights * at_rim).sum(axis=1) < _ON_RIM
    distance = np.linalg.norm(landed.points - points, axis=1)
    near = (distance <= reach) & (np.einsum("ij,ij->i", landed.normals, normals) >= min_cosine)
    covered: FloatArray = distance[inside & near]
    return covered, float((inside & near).mean())
