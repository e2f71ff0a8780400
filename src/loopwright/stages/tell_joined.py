"""Tell of openings beside the mirror plane that reach across it, so that mirrored they would be one with their twin."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.marks.cluster_colors import vertex_areas
from loopwright.surface.edges import build_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, Finding, FloatArray, MirrorPlane, Paint

_ACROSS = 0.25  # of an edge, by which it has to reach across
_NEAR = 1.5  # of its width: so near to its image another opening is its twin
_ASIDE = 0.2  # of its width: nearer to the plane, an opening such as a mouth is its own twin
_ALIKE = 3.0  # factor between the areas of twins, at most


def tell_joined(
    projector: SurfaceProjector, paint: Paint, is_open: BoolArray, mirror: MirrorPlane, edge: float
) -> list[Finding]:
    """Return a finding for the painted openings that have a twin on the other side and yet cross the mirror plane.

    Parameters
    ----------
    projector : of the sculpt. paint : the colours of its vertices.
    is_open : (c,) which colours of the palette are left open.
    edge : the mesh's mean edge.
    """
    piece, count = _open_pieces(projector, np.append(is_open, False)[paint.color])
    if count < 2:
        return []
    inside = np.flatnonzero(piece >= 0)
    weight = vertex_areas(projector.positions, projector.triangles)[inside]
    area: FloatArray = np.bincount(piece[inside], weight, count).astype(np.float64)
    middle = (
        np.stack([np.bincount(piece[inside], weight * projector.positions[inside, k], count) for k in range(3)], axis=1)
        / np.maximum(area, 1e-300)[:, None]
    )
    height, low, high = (
        mirror.signed_distance(projector.positions[inside]),
        np.full(count, np.inf),
        np.full(count, -np.inf),
    )
    np.minimum.at(low, piece[inside], height)
    np.maximum.at(high, piece[inside], height)
    crosses = np.minimum(high, -low) > _ACROSS * edge
    found = [k for k in np.flatnonzero(crosses).tolist() if _has_twin(k, middle, area, mirror)]
    if not found:
        return []
    places = "; ".join("({})".format(", ".join(f"{value:.4g}" for value in middle[k])) for k in found)
    what = "An opening reaches" if len(found) == 1 else f"{len(found)} openings reach"
    text = f"{what} across the mirror plane, near {places}, though there is another like it on the other side: as the "
    text += "half that is meshed is mirrored, both become one. Paint a strip along the plane in the colour "
    text += "between them, or cover the sculpt as a whole (--mirror none)."
    return [Finding("openings_joined", text, len(found))]


def _open_pieces(projector: SurfaceProjector, is_open: BoolArray) -> tuple[NDArray[np.int64], int]:
    """Return (n,) in which piece of the open areas each vertex lies, -1 outside, and how many there are."""
    ends = build_edges(projector.triangles, len(is_open)).edges
    both = ends[is_open[ends].all(axis=1)]
    rows = np.full(len(is_open), -1, np.int64)
    rows[is_open] = np.arange(is_open.sum())
    links = csr_matrix((np.ones(len(both), np.int8), (rows[both[:, 0]], rows[both[:, 1]])), shape=(is_open.sum(),) * 2)
    count, piece = connected_components(links, directed=False)
    out = np.full(len(is_open), -1, np.int64)
    out[is_open] = piece
    return out, int(count)


def _has_twin(index: int, middle: FloatArray, area: FloatArray, mirror: MirrorPlane) -> bool:
    """Return whether a piece of about its size lies on the other side, where the mirror image of this one does."""
    side = mirror.signed_distance(middle) / np.maximum(np.sqrt(area), 1e-300)
    if abs(side[index]) < _ASIDE:
        return False
    image = mirror.reflect(middle[index][None])[0]
    others = np.flatnonzero(side * np.sign(side[index]) < -_ASIDE)
    alike = (area[others] < _ALIKE * area[index]) & (area[others] > area[index] / _ALIKE)
    near = np.linalg.norm(middle[others] - image, axis=1) < _NEAR * np.sqrt(area[index])
    return bool((alike & near).any())
