"""How much each point follows each handle."""

from __future__ import annotations

from dataclasses import dataclass, replace

import igl
import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.counts.find_region import find_region
from loopwright.errors import InfeasibleError, MarksError
from loopwright.rehearse.poses import Handle, nearest_regions
from loopwright.reuse.template import Template, mixtures, template_of_triangles
from loopwright.surface.edges import vertex_normals
from loopwright.surface.proxy import coarsen, even_edge, surface_area
from loopwright.types import FloatArray, IntArray, QuadMesh, Sculpt

PROXY_TRIANGLES = 8_000


@dataclass(frozen=True)
class HandleWeights:
    """Weights on a coarse form of a sculpt.

    Attributes
    ----------
    coarse : the coarse form. values : (n, h) of its vertices, at least 0, the sum of each row 1.
    handles : names.
    """

    coarse: Template
    values: FloatArray
    handles: tuple[str, ...]

    def at(self, points: FloatArray, normals: FloatArray) -> FloatArray:
        """Return (k, h) weights of (k, 3) points on the sculpt with their normals."""
        weights: FloatArray = mixtures(self.coarse, points, normals)[0] @ self.values
        return weights


def find_weights(
    sculpt: Sculpt, mesh: QuadMesh, handles: tuple[Handle, ...], *, proxy_triangles: int = PROXY_TRIANGLES
) -> HandleWeights:
    """Return the weights of handles on a sculpt.

    Raises
    ------
    MarksError
        If a handle holds nothing, names a region that is not there, or two hold the same place.
    """
    size = even_edge(surface_area(sculpt.positions, sculpt.triangles), proxy_triangles)
    net = coarsen(sculpt.positions, sculpt.triangles, size).net
    names = tuple(region.name for region in mesh.regions)
    regions = nearest_regions(net.positions, mesh)
    held = np.full(len(net.positions), -1, np.int32)
    for index, handle in enumerate(handles):
        try:
            meant = tuple(names[find_region(mesh.regions, name)] for name in handle.regions)
        except MarksError as error:
            raise MarksError(f'The handle "{handle.name}": {error}', places=[handle.name, *error.places]) from None
        inside = replace(handle, regions=meant).holds(net.positions, regions, names)
        if not inside.any():
            raise MarksError(f'The handle "{handle.name}" holds no part of the sculpt; move or enlarge it.')
        if (held[inside] >= 0).any():
            other = handles[int(held[inside].max())].name
            raise MarksError(f'The handles "{other}" and "{handle.name}" hold the same place; keep them apart.')
        held[inside] = index
    values = bounded_biharmonic(net.positions, net.triangles, held, len(handles))
    return HandleWeights(
        template_of_triangles(net.positions, net.triangles), values, tuple(handle.name for handle in handles)
    )


def bounded_biharmonic(positions: FloatArray, triangles: IntArray, held: IntArray, count: int) -> FloatArray:
    """Return (n, count) weights: 1 where a vertex is held by its own handle, smooth and within 0 and 1 elsewhere.

    Parameters
    ----------
    held : (n,) the handle that holds each vertex, or -1.

    Notes
    -----
    A piece of the surface that no handle holds follows the handle that holds the nearest vertex.

    References
    ----------
    A. Jacobson, I. Baran, J. Popovic, O. Sorkine, "Bounded biharmonic weights for real-time deformation",
    SIGGRAPH 2011; each handle by itself, then put to a sum of one.
    """
    held = _hold_loose_pieces(positions, triangles, held)
    bound = np.flatnonzero(held >= 0).astype(np.int64)
    values = np.eye(count)[held[bound]]
    extent = float(np.linalg.norm(np.ptp(positions, axis=0))) or 1.0
    scaled = np.ascontiguousarray((positions - positions.mean(axis=0)) / extent)
    found = np.asarray(igl.bbw(scaled, triangles.astype(np.int64), bound, values)).reshape(len(positions), count)
    total = found.sum(axis=1, keepdims=True)
    if not np.isfinite(found).all() or (total <= 0.0).any():
        raise InfeasibleError(
            "The handles' weights could not be found on this sculpt; place the handles farther apart."
        )
    weights: FloatArray = np.clip(found, 0.0, 1.0) / total
    shared: FloatArray = weights / weights.sum(axis=1, keepdims=True)
    return shared


def _hold_loose_pieces(positions: FloatArray, triangles: IntArray, held: IntArray) -> IntArray:
    n = len(positions)
    start, end = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    piece = connected_components(csr_matrix((np.ones(len(start)), (start, end)), shape=(n, n)), directed=False)[1]
    out = held.copy()
    taken = np.flatnonzero(held >= 0)
    for index in np.setdiff1d(piece, piece[taken]):
        members = np.flatnonzero(piece == index)
        center = positions[members].mean(axis=0)
        out[members] = held[taken[((positions[taken] - center) ** 2).sum(axis=1).argmin()]]
    return out


def sculpt_normals(sculpt: Sculpt) -> FloatArray:
    """Return (n, 3) vertex normals of a sculpt."""
    return vertex_normals(sculpt.positions, sculpt.triangles)
