"""Places near to vertices that they may move to: round them on the sculpt, or along their curves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.link_edges import mean_edges
from loopwright.fit.slide_curves import lay_curves
from loopwright.surface.edges import cross_rows, dot_rows
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import FloatArray, QuadMesh

_SPOKES = 8


class NearPlaces:
    """Finds places for the vertices of one mesh, as far off the sculpt, and off their curves, as they were.

    Parameters
    ----------
    mesh : on the sculpt or near to it.

    Attributes
    ----------
    normals : (n, 3) the sculpt's at the vertices, on their own side of thin walls.
    size : (n,) mean lengths of their edges.
    """

    def __init__(self, mesh: QuadMesh, projector: SurfaceProjector) -> None:
        self._mesh, self._projector = mesh, projector
        landed = projector.project(mesh.positions, fold_mirror(mesh).normals(mesh.positions))
        self.normals: FloatArray = landed.normals
        off = mesh.positions - landed.points
        self._height = dot_rows(off, landed.normals)
        self._aside = off - self._height[:, None] * landed.normals
        self.size = mean_edges(mesh.positions, mesh.quads)
        self._curves = lay_curves(mesh.curves)

    def around(
        self, vertices: NDArray[np.int64], here: FloatArray, normal: FloatArray, radius: float
    ) -> tuple[FloatArray, FloatArray]:
        """Return (k, p, 3) places and normals, the present ones first, then a circle round each vertex.

        Parameters
        ----------
        vertices : (k,) ids. here, normal : (k, 3) where they are now, and the sculpt's normals there.
        radius : in mean edges.
        """
        least = np.eye(3)[np.abs(normal).argmin(axis=1)]
        first = unit(cross_rows(normal, least))
        second = cross_rows(normal, first)
        angle = 2.0 * np.pi * np.arange(_SPOKES) / _SPOKES
        step = np.cos(angle)[:, None] * first[:, None] + np.sin(angle)[:, None] * second[:, None]
        off = self._height[vertices][:, None] * normal + self._aside[vertices]
        spots = (here - off)[:, None] + (radius * self.size[vertices])[:, None, None] * step
        return self._land(vertices, here, normal, spots)

    def along(
        self, vertices: NDArray[np.int64], here: FloatArray, normal: FloatArray, radius: float
    ) -> tuple[FloatArray, FloatArray]:
        """Return the same with places along the vertices' curves, as far off them as the vertices are."""
        curve = self._mesh.vertex_curve[vertices].astype(np.int64)
        at = np.zeros(len(vertices))
        for index in np.unique(curve):
            mine = curve == index
            at[mine] = self._curves.locate(int(index), here[mine])[0]
        off = here - self._curves.position(curve, at)
        step = (radius * self.size[vertices])[:, None] * np.array([-1.0, -0.5, 0.5, 1.0])
        count = step.shape[1]
        points = self._curves.position(np.repeat(curve, count), (at[:, None] + step).ravel())
        points = points.reshape(-1, count, 3) + off[:, None]
        facing = self._projector.project(points.reshape(-1, 3), np.repeat(normal, count, axis=0)).normals
        return _with_present(here, normal, points, facing.reshape(points.shape))

    def _land(
        self, vertices: NDArray[np.int64], here: FloatArray, normal: FloatArray, spots: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the same with the given places put on the sculpt, and as far off it as the vertices are."""
        count = spots.shape[1]
        landed = self._projector.project(spots.reshape(-1, 3), np.repeat(normal, count, axis=0))
        height, aside = np.repeat(self._height[vertices], count), np.repeat(self._aside[vertices], count, axis=0)
        points = landed.points + height[:, None] * landed.normals + aside
        mirror = self._mesh.mirror
        if mirror is not None:
            flat = np.repeat(self._mesh.on_mirror[vertices], count)
            points[flat] = 0.5 * (points[flat] + mirror.reflect(points[flat]))
        return _with_present(here, normal, points.reshape(spots.shape), landed.normals.reshape(spots.shape))


def _with_present(
    here: FloatArray, normal: FloatArray, points: FloatArray, facing: FloatArray
) -> tuple[FloatArray, FloatArray]:
    return np.concatenate([here[:, None], points], axis=1), np.concatenate([normal[:, None], facing], axis=1)
