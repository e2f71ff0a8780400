"""The distance between sculpt and mesh, vertex by vertex and both ways, for the heat maps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import lagrange
import numpy as np
from scipy.spatial import cKDTree

from loopwright.options import RGB
from loopwright.surface.rim import Rim
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh, Sculpt

_LEVELS = 2
"""Subdivision levels at which the smooth limit is compared; its facets then err by far less than a fit does."""


@dataclass(frozen=True)
class Distances:
    """Distances both ways, in the sculpt's unit.

    Attributes
    ----------
    surface_positions, surface_triangles : the mesh's surface as compared, (k, 3) float64 and (l, 3) int32.
    surface_to_sculpt : (k,) from each surface vertex to the sculpt.
    sculpt_to_surface : (n,) from each sculpt vertex to the surface.
    is_beyond : (n,) sculpt vertices without a counterpart: those in colours that were left open, and those whose
        closest point lies on the surface's rim.
    is_limit : whether the surface is the smooth limit; else it is the mesh itself.
    """

    surface_positions: FloatArray
    surface_triangles: IntArray
    surface_to_sculpt: FloatArray
    sculpt_to_surface: FloatArray
    is_beyond: BoolArray
    is_limit: bool

    def summarize(self, diagonal: float) -> dict[str, float]:
        """Return root mean square, 95th percentile and largest distance each way, in diagonals of the sculpt."""
        covered = self.sculpt_to_surface[~self.is_beyond]
        ways = {"mesh_to_sculpt": self.surface_to_sculpt, "sculpt_to_mesh": covered}
        return {
            f"{way}_{name}": float(figure(values) / diagonal)
            for way, values in ways.items()
            if len(values)
            for name, figure in (("rms", _rms), ("p95", _p95), ("max", np.max))
        }


def measure_distance(
    sculpt: Sculpt,
    mesh: QuadMesh,
    *,
    use_limit: bool = True,
    open_colors: Sequence[RGB] = (),
    kept_colors: Sequence[RGB] | None = None,
) -> Distances:
    """Measure the distance between a sculpt and a mesh both ways.

    Parameters
    ----------
    sculpt, mesh
        What is compared; neither is changed.
    use_limit
        Compare the smooth surface that the mesh tends to under Catmull-Clark subdivision, else the mesh itself.
    open_colors
        Painted colours whose areas were left open.
    kept_colors
        The other painted colours; without them those of the mesh's regions, which a mesh file does not tell.
    """
    if kept_colors is None:
        kept_colors = [color for region in mesh.regions for color in region.paint]
    positions, quads = _subdivide(mesh) if use_limit else (mesh.positions, mesh.quads)
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32)
    center = positions.mean(axis=0)
    scale = float(np.linalg.norm(np.ptp(positions, axis=0))) or 1.0
    surface = (positions - center) / scale
    dense = (sculpt.positions - center) / scale
    to_sculpt, _, _ = _find_closest(dense, sculpt.triangles, surface)
    to_surface, facet, weights = _find_closest(surface, triangles, dense)
    return Distances(
        surface_positions=positions,
        surface_triangles=triangles,
        surface_to_sculpt=to_sculpt * scale,
        sculpt_to_surface=to_surface * scale,
        is_beyond=Rim(triangles).holds(facet, weights) | _is_left_open(sculpt, open_colors, kept_colors),
        is_limit=use_limit,
    )


def _rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _p95(values: FloatArray) -> float:
    return float(np.percentile(values, 95))


def _subdivide(mesh: QuadMesh) -> tuple[FloatArray, IntArray]:
    """Return positions and quads of the limit surface, sampled on the subdivided mesh."""
    cage = lagrange.SurfaceMesh()
    cage.add_vertices(mesh.positions)
    cage.add_quads(np.ascontiguousarray(mesh.quads, dtype=np.uint32))
    fine = lagrange.subdivision.subdivide_mesh(cage, num_levels=_LEVELS, use_limit_surface=True)
    return np.array(fine.vertices, dtype=np.float64), np.array(fine.facets, dtype=np.int32)


def _find_closest(
    positions: FloatArray, triangles: IntArray, queries: FloatArray
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Return distance, triangle and the three weights of the closest point for each query."""
    target = lagrange.SurfaceMesh()
    target.add_vertices(positions)
    target.add_triangles(np.ascontiguousarray(triangles, dtype=np.uint32))
    caster = lagrange.raycasting.RayCaster()
    caster.add_mesh(target)
    caster.commit_updates()
    order = _sort_in_space(queries)
    hits: Any = caster.closest_point(np.ascontiguousarray(queries[order], dtype=np.float32))
    facet = np.empty(len(queries), np.int32)
    facet[order] = np.asarray(hits.facet_index).astype(np.int32)
    point = np.empty((len(queries), 3))
    point[order] = np.asarray(hits.position, dtype=np.float64)
    weights = _weights(positions[triangles[facet]], point)
    return np.linalg.norm(queries - point, axis=1), facet, weights


def _sort_in_space(points: FloatArray) -> IntArray:
    """Return an order in which neighbours in the list are mostly neighbours in space."""
    low, span = points.min(axis=0), np.maximum(np.ptp(points, axis=0), np.finfo(float).tiny)
    cells = np.minimum((points - low) / span * 64, 63).astype(np.int64)
    return np.argsort((cells[:, 0] * 64 + cells[:, 1]) * 64 + cells[:, 2], kind="stable").astype(np.int32)


def _weights(corners: FloatArray, points: FloatArray) -> FloatArray:
    """Return (n, 3) barycentric weights of (n, 3) points in (n, 3, 3) triangles."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    square = np.maximum(np.einsum("nc,nc->n", normal, normal), np.finfo(float).tiny)
    weights = np.empty((len(points), 3))
    for k in range(3):
        first, second = corners[:, (k + 1) % 3], corners[:, (k + 2) % 3]
        weights[:, k] = np.einsum("nc,nc->n", np.cross(first - points, second - points), normal) / square
    return weights


def _is_left_open(sculpt: Sculpt, open_colors: Sequence[RGB], kept_colors: Sequence[RGB]) -> BoolArray:
    """Return whether each sculpt vertex's colour is nearer to one that was left open than to any other."""
    if sculpt.colors is None or not open_colors:
        return np.zeros(len(sculpt.positions), bool)
    palette = np.array([*open_colors, *kept_colors], float)
    return np.asarray(
        cKDTree(palette, balanced_tree=False, compact_nodes=False).query(sculpt.colors.astype(float))[1]
        < len(open_colors),
        dtype=bool,
    )
