"""The rim of a flap: a form that lies over what it grows from, as an outer ear does, with a front and a back side."""

from __future__ import annotations

import numpy as np
from scipy.sparse import diags

from loopwright.layout.cross_field import corner_angles
from loopwright.layout.flat_stretch import form_above, spanned_area, stiffness, vertex_areas
from loopwright.numerics.factorize import factorize
from loopwright.types import BoolArray, FloatArray, IntArray, MirrorPlane


def depth_and_height(
    positions: FloatArray, triangles: IntArray, inside: BoolArray, mirror: MirrorPlane | None
) -> tuple[float, float]:
    """Return how far a form goes in and out of the opening that it covers, both as shares of its breadth, 0 or more.

    The breadth is the root of the opening's area: a hemisphere goes 0 in and 1 / sqrt(pi) out.

    Parameters
    ----------
    inside : (n,) bool, the vertices of the form (see :func:`loopwright.layout.flat_stretch.form_above`).
    mirror : the plane that the form ends in, so that its image is the other half of it, or None.
    """
    full = inside[triangles].all(axis=1)
    up = spanned_area(positions, triangles[full], mirror)
    area = float(np.linalg.norm(up))
    crossed = inside[triangles].any(axis=1) & ~full
    if area == 0.0 or not crossed.any():
        return 0.0, 0.0
    breadth = np.sqrt(area if mirror is None else 2.0 * area)
    rim = positions[np.unique(triangles[crossed])].mean(axis=0)
    height = (positions[inside] - rim) @ up / (area * breadth)
    return max(float(-height.min()), 0.0), max(float(height.max()), 0.0)


def front_of_flap(
    positions: FloatArray,
    triangles: IntArray,
    u: FloatArray,
    summit: int,
    level: float,
    mirror: MirrorPlane | None,
    *,
    blur: float,
) -> FloatArray:
    """Return (n,) values that are positive on the front of a flap alone: their zero line is its rim.

    Where the flap stands off, its rim is where its skin turns away from the
    direction in which the covered opening faces; where it grows out of what
    lies round it, the rim goes on along the level line of ``u``.

    Parameters
    ----------
    u : (n,) see :func:`loopwright.layout.flat_stretch.flat_stretch`.
    summit, level : the form, and the level of u at which it starts.
    mirror : the plane that the form ends in, or None.
    blur : length over which normals are averaged first, so that folds on the front do not count.
    """
    form = form_above(u, triangles, summit, level)
    up = spanned_area(positions, triangles[form[triangles].all(axis=1)], mirror)
    facing = _blurred_normals(positions, triangles, blur) @ (up / max(float(np.linalg.norm(up)), 1e-300))
    values = np.where(form, np.minimum(np.maximum(u - level, 1e-9), facing), np.minimum(u - level, -1e-9))
    front = form_above(values, triangles, int(values.argmax()), 0.0)
    signed: FloatArray = np.where(front, np.maximum(values, 1e-9), np.minimum(values, -1e-9))
    return signed


def _blurred_normals(positions: FloatArray, triangles: IntArray, blur: float) -> FloatArray:
    p = positions[triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    at_vertex = np.zeros_like(positions)
    for i in range(3):
        np.add.at(at_vertex, triangles[:, i], normal)
    at_vertex /= np.maximum(np.linalg.norm(at_vertex, axis=1, keepdims=True), 1e-300)
    if blur > 0:
        mass = diags(vertex_areas(positions, triangles))
        step = mass + blur**2 * stiffness(corner_angles(positions, triangles), triangles, len(positions))
        at_vertex = factorize(step).solve(mass @ at_vertex)
    return at_vertex
