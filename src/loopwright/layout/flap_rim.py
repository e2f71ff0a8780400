"""The rim of a flap: a form that lies over what it grows from, as an outer ear does, with a front and a back side."""

from __future__ import annotations

import numpy as np
from scipy.sparse import diags

from loopwright.layout.cross_field import corner_angles
from loopwright.layout.flat_stretch import Form, flat_stretch, form_above, spanned_area, stiffness, vertex_areas
from loopwright.numerics.factorize import factorize
from loopwright.numerics.norms import norms
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
    area, breadth = float(np.linalg.norm(up)), _breadth(up, mirror)
    crossed = inside[triangles].any(axis=1) & ~full
    if area == 0.0 or not crossed.any():
        return 0.0, 0.0
    rim = positions[np.unique(triangles[crossed])].mean(axis=0)
    height = (positions[inside] - rim) @ up / (area * breadth)
    return max(float(-height.min()), 0.0), max(float(height.max()), 0.0)


def front_of_flap(
    positions: FloatArray,
    triangles: IntArray,
    on_mirror: BoolArray,
    u: FloatArray,
    form: Form,
    mirror: MirrorPlane | None,
    *,
    start: float,
    blur: float,
    least_blur: float,
) -> FloatArray:
    """Return (n,) values that are positive on the front of a flap alone: their zero line is its rim.

    Where the flap stands off, its rim is where its skin turns away from the
    direction in which the covered opening faces; where it grows out of what
    lies round it, the rim goes on along the level line of ``u``.

    Parameters
    ----------
    on_mirror : (n,) bool, the vertices in the mirror plane.
    u : (n,) see :func:`loopwright.layout.flat_stretch.flat_stretch`.
    mirror : the plane that the part ends in, or None.
    start : where the flap starts, as a share of what it stands out.
    blur : length over which curvature was averaged for ``u`` and normals are, so that folds on the front do not count.
    least_blur : the least of that length as a share of the flap's breadth; below it u is found anew, so that the rim
        does not follow folds of a flap whose edges are much smaller.
    """
    whole, up, breadth = _cover(positions, triangles, on_mirror, u, form, start, mirror)
    reach = max(blur, least_blur * breadth)
    if reach > blur:
        u = flat_stretch(positions, triangles, on_mirror, blur=reach)
        summit = int(np.where(whole, u, -np.inf).argmax())
        form = Form(summit, form.saddle, float(u[summit]))
        whole, up, _ = _cover(positions, triangles, on_mirror, u, form, start, mirror)
    facing = _blurred_normals(positions, triangles, reach) @ (up / max(float(np.linalg.norm(up)), 1e-300))
    above = u - _level(form, start)
    values = np.where(whole, np.minimum(np.maximum(above, 1e-9), facing), np.minimum(above, -1e-9))
    front = form_above(values, triangles, int(values.argmax()), 0.0)
    signed: FloatArray = np.where(front, np.maximum(values, 1e-9), np.minimum(values, -1e-9))
    return signed


def _level(form: Form, start: float) -> float:
    return form.saddle + start * (form.top - form.saddle)


def _cover(
    positions: FloatArray,
    triangles: IntArray,
    on_mirror: BoolArray,
    u: FloatArray,
    form: Form,
    start: float,
    mirror: MirrorPlane | None,
) -> tuple[BoolArray, FloatArray, float]:
    """Return the vertices of a flap, the vector area of the opening that it covers, and that opening's breadth."""
    whole = form_above(u, triangles, form.summit, _level(form, start))
    plane = mirror if on_mirror[whole].any() else None
    up = spanned_area(positions, triangles[whole[triangles].all(axis=1)], plane)
    return whole, up, _breadth(up, plane)


def _breadth(up: FloatArray, mirror: MirrorPlane | None) -> float:
    return float(np.sqrt(np.linalg.norm(up) * (1.0 if mirror is None else 2.0)))


def _blurred_normals(positions: FloatArray, triangles: IntArray, blur: float) -> FloatArray:
    p = positions[triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    at_vertex = np.zeros_like(positions)
    for i in range(3):
        np.add.at(at_vertex, triangles[:, i], normal)
    at_vertex /= np.maximum(norms(at_vertex)[..., None], 1e-300)
    if blur > 0:
        mass = diags(vertex_areas(positions, triangles))
        step = mass + blur**2 * stiffness(corner_angles(positions, triangles), triangles, len(positions))
        at_vertex = factorize(step).solve(mass @ at_vertex)
    return at_vertex
