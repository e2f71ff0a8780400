"""From where the pictures are taken: y is up, the face looks along +z, as the conventions say."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from loopwright.report.picture import View
from loopwright.types import FloatArray, IntArray, MirrorPlane, QuadMesh

_MARGIN = 1.06
_LARGEST_OPENING = 0.3
"""A rim loop wider than this share of the diagonal is a trim, such as a neck's, and gets no close-up."""
_NEIGHBOURHOOD = 2.5
"""The faces within so many radii of an opening's centre say which way it looks; those at its rim often turn inwards."""
_SAME = 1e-3
"""Radii of an opening within which its vertices lie where the images of its mirror image's do."""
_CLOSE_UP = 1.9
"""Half the height of a close-up, in radii of the opening."""


@dataclass(frozen=True)
class Opening:
    """A rim loop of a mesh: its vertices in order, centre, radius and the mean normal of the faces about it.

    One that ``has_image`` stands for its mirror image too.
    """

    vertices: IntArray
    center: FloatArray
    radius: float
    normal: FloatArray
    has_image: bool = False


def choose_views(points: FloatArray, mirror: MirrorPlane | None) -> dict[str, View]:
    """Return the standard views, each fitted to (n, 3) points.

    Names are front, three_quarter, side, back, top and under.  The side and the three-quarter view show the half
    that the mirror plane keeps.
    """
    forward, sideways = _find_front(mirror)
    up = np.array([0.0, 1.0, 0.0])
    directions = {
        "front": (forward, up),
        "three_quarter": (0.66 * sideways + 0.74 * forward + 0.12 * up, up),
        "side": (sideways, up),
        "back": (-forward, up),
        "top": (up, -forward),
        "under": (0.62 * forward - 0.78 * up + 0.02 * sideways, up),
    }
    return {name: fit_view(points, direction, above) for name, (direction, above) in directions.items()}


def fit_view(points: FloatArray, direction: FloatArray, up: FloatArray, *, margin: float = _MARGIN) -> View:
    """Return the view along ``direction`` in which (n, 3) points fill the picture."""
    towards = direction / np.linalg.norm(direction)
    right = np.cross(up, towards)
    right = right / np.linalg.norm(right)
    above = np.cross(towards, right)
    frame = np.stack([right, above, towards])
    seen = points @ frame.T
    low, high = seen.min(axis=0), seen.max(axis=0)
    half = float(max(high[0] - low[0], high[1] - low[1])) / 2 * margin
    return View(_triple(towards), _triple(above), _triple((low + high) / 2 @ frame), half or 1.0)


def find_openings(mesh: QuadMesh) -> tuple[Opening, ...]:
    """Return the rim loops of a mesh, the largest first.

    Of two that mirror each other exactly, only the one on the kept half is returned. Both are where each side has a
    shape of its own, or other edges.
    """
    starts, ends = _rim_edges(mesh.quads)
    middles = mesh.positions[mesh.quads].mean(axis=1)
    normals = _quad_normals(mesh)
    follow = dict(zip(starts.tolist(), range(len(starts)), strict=True))
    openings, left = [], set(range(len(starts)))
    while left:
        edge, loop = min(left), []
        while edge in left:
            left.discard(edge)
            loop.append(edge)
            edge = follow.get(int(ends[edge]), -1)
        vertices = starts[loop]
        rim = mesh.positions[vertices]
        center = (rim.min(axis=0) + rim.max(axis=0)) / 2
        radius = float(np.linalg.norm(rim - center, axis=1).max())
        is_near = np.linalg.norm(middles - center, axis=1) <= _NEIGHBOURHOOD * radius
        normal = normals[is_near].sum(axis=0)
        openings.append(Opening(vertices, center, radius, normal / _length(normal)))
    openings.sort(key=lambda opening: (-opening.radius, int(opening.vertices[0])))
    if mesh.mirror is None:
        return tuple(openings)
    is_kept = [_is_kept(opening, mesh.mirror) for opening in openings]
    kept = [opening for opening, is_here in zip(openings, is_kept, strict=True) if is_here]
    images, alone = set[int](), []
    for opening in (opening for opening, is_here in zip(openings, is_kept, strict=True) if not is_here):
        image = next((k for k, other in enumerate(kept) if _is_image(opening, other, mesh, mesh.mirror)), None)
        if image is None:
            alone.append(opening)
        else:
            images.add(image)
    kept = [replace(opening, has_image=k in images) for k, opening in enumerate(kept)]
    return tuple(sorted((*kept, *alone), key=lambda opening: (-opening.radius, int(opening.vertices[0]))))


def choose_close_ups(mesh: QuadMesh, *, most: int = 8) -> tuple[tuple[Opening, View], ...]:
    """Return the views of a mesh's openings from straight ahead, at most ``most`` of them."""
    diagonal = float(np.linalg.norm(np.ptp(mesh.positions, axis=0)))
    small = [opening for opening in find_openings(mesh) if 2 * opening.radius <= _LARGEST_OPENING * diagonal]
    return tuple((opening, _look_at(opening)) for opening in small[:most])


def _look_at(opening: Opening) -> View:
    is_steep = abs(opening.normal[1]) > 0.9
    up = np.array([0.0, 0.0, -1.0 if opening.normal[1] > 0 else 1.0]) if is_steep else np.array([0.0, 1.0, 0.0])
    half = _CLOSE_UP * opening.radius
    return View(_triple(opening.normal), _triple(up), _triple(opening.center), half)


def _find_front(mirror: MirrorPlane | None) -> tuple[FloatArray, FloatArray]:
    """Return the axis that the face looks along and the axis across the mirror plane on the kept half."""
    normal = np.array([1.0, 0.0, 0.0]) if mirror is None else mirror.normal
    axis = int(np.argmax(np.abs(normal)))
    sign = 1.0 if normal[axis] >= 0 else -1.0
    if axis == 2:
        return np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, sign])
    return np.array([0.0, 0.0, 1.0]), np.array([sign if axis == 0 else 1.0, 0.0, 0.0])


def _rim_edges(quads: IntArray) -> tuple[IntArray, IntArray]:
    """Return start and end of every edge that only one quad has, in the quad's direction."""
    starts, ends = quads.ravel(), np.roll(quads, -1, axis=1).ravel()
    sides = np.sort(np.stack([starts, ends], axis=1), axis=1)
    _, inverse, uses = np.unique(sides, axis=0, return_inverse=True, return_counts=True)
    is_rim = uses[inverse.ravel()] == 1
    return starts[is_rim], ends[is_rim]


def _quad_normals(mesh: QuadMesh) -> FloatArray:
    corners = mesh.positions[mesh.quads]
    normals: FloatArray = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    return normals


def _is_kept(opening: Opening, mirror: MirrorPlane | None) -> bool:
    return mirror is None or float(mirror.signed_distance(opening.center[None])[0]) >= -0.2 * opening.radius


def _is_image(opening: Opening, other: Opening, mesh: QuadMesh, mirror: MirrorPlane) -> bool:
    """Return whether an opening's vertices lie where the mirror images of another's do."""
    if len(opening.vertices) != len(other.vertices):
        return False
    reflected = mirror.reflect(mesh.positions[opening.vertices])
    gaps, nearest = cKDTree(mesh.positions[other.vertices], balanced_tree=False).query(reflected)
    return len(np.unique(nearest)) == len(nearest) and float(gaps.max()) <= _SAME * other.radius


def _length(vector: FloatArray) -> float:
    return float(np.linalg.norm(vector)) or 1.0


def _triple(vector: FloatArray) -> tuple[float, float, float]:
    return float(vector[0]), float(vector[1]), float(vector[2])
