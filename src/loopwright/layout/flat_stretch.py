"""How far a piece is from flat, by the scale of its conformal flattening, and the forms that stand out in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix, diags

from loopwright.layout.cross_field import corner_angles
from loopwright.layout.piece import boundary_loops
from loopwright.numerics.factorize import factorize
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import distinct_edges
from loopwright.types import BoolArray, FloatArray, IntArray, MirrorPlane


def flat_stretch(positions: FloatArray, triangles: IntArray, on_mirror: BoolArray, *, blur: float = 0.0) -> FloatArray:
    """Return (n,) u such that the metric times exp(-2u) is flat, with u = 0 on the rim.

    u is the solution of laplace u = -K (K the Gauss curvature, here the angle
    defect): zero on boundary outside the mirror plane, without slope across
    the plane.  It grows towards the tip of whatever stands out of the piece
    or is sunk into it: a horn, an ear, a nostril.  ``blur`` is the length over
    which the curvature is averaged first, so that small pits and folds in a
    larger form do not bend its level lines.

    References
    ----------
    Ben-Chen, Gotsman, Bunin, "Conformal flattening by curvature prescription
    and metric scaling", CGF 27(2), 2008, doi:10.1111/j.1467-8659.2008.01142.x.
    """
    count = len(positions)
    angles = corner_angles(positions, triangles)
    total = np.bincount(triangles.reshape(-1), weights=angles.reshape(-1), minlength=count)
    is_fixed, in_plane = np.zeros(count, bool), np.zeros(count, bool)
    for loop in boundary_loops(triangles):
        flags = on_mirror[loop]
        inside = flags & np.roll(flags, 1) & np.roll(flags, -1)
        in_plane[loop[inside]] = True
        is_fixed[loop[~inside]] = True
    defect: FloatArray = (np.where(in_plane, np.pi, 2 * np.pi) - total).astype(np.float64)
    defect[is_fixed] = 0.0
    inner = np.flatnonzero(~is_fixed)
    u = np.zeros(count)
    if len(inner) and is_fixed.any():
        laplacian = stiffness(angles, triangles, count)
        if blur > 0:
            mass = diags(vertex_areas(positions, triangles))
            defect = mass @ factorize(mass + blur**2 * laplacian).solve(defect)
        matrix = laplacian[inner][:, inner]
        u[inner] = factorize(matrix).solve(defect[inner])
    return u


def vertex_areas(positions: FloatArray, triangles: IntArray) -> FloatArray:
    """Return (n,) a third of the area of the triangles round each vertex, above 0."""
    p = positions[triangles]
    area = norms(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])) / 6
    total = np.bincount(triangles.reshape(-1), weights=np.repeat(area, 3), minlength=len(positions))
    bounded: FloatArray = np.maximum(total.astype(np.float64), 1e-300)
    return bounded


def stiffness(angles: FloatArray, triangles: IntArray, count: int) -> csr_matrix:
    """Return the cotangent stiffness matrix of a surface of ``count`` vertices, (m, 3) corner angles in radians."""
    rows, cols, vals = [], [], []
    for i in range(3):
        weight = 0.5 * np.clip(1.0 / np.tan(angles[:, i]), 0.02, 20.0)
        a, b = triangles[:, (i + 1) % 3], triangles[:, (i + 2) % 3]
        rows += [a, b, a, b]
        cols += [a, b, b, a]
        vals += [weight, weight, -weight, -weight]
    entries = (np.concatenate(vals), (np.concatenate(rows), np.concatenate(cols)))
    return coo_matrix(entries, shape=(count, count)).tocsr()


@dataclass(frozen=True)
class Form:
    """A form that stands out: its summit, and the value of u where it joins a higher form or the rim."""

    summit: int
    saddle: float
    top: float


def find_forms(u: FloatArray, triangles: IntArray, least: float) -> list[Form]:
    """Return the maxima of u that rise at least ``least`` over their saddle, the highest first."""
    neighbours = _neighbours(triangles, len(u))
    order = np.lexsort((np.arange(len(u)), -u))
    root = np.full(len(u), -1)
    top: dict[int, int] = {}
    saddle: dict[int, float] = {}

    def find(v: int) -> int:
        while root[v] != v:
            root[v] = root[root[v]]
            v = int(root[v])
        return v

    for v in order.tolist():
        if u[v] <= 0:
            break
        around = sorted({find(w) for w in neighbours[v] if root[w] >= 0}, key=lambda r: (-u[top[r]], top[r]))
        if not around:
            root[v], top[v] = v, v
            continue
        root[v] = around[0]
        for lower in around[1:]:
            saddle[top[lower]] = float(u[v])
            root[lower] = around[0]
    summits = sorted(set(top.values()), key=lambda s: (-u[s], s))
    forms = [Form(s, saddle.get(s, 0.0), float(u[s])) for s in summits]
    return [f for f in forms if f.top - f.saddle >= least]


def form_above(u: FloatArray, triangles: IntArray, summit: int, level: float) -> BoolArray:
    """Return (n,) bool: the vertices above ``level`` connected to the summit, without holes."""
    neighbours = _neighbours(triangles, len(u))
    inside = _grow(neighbours, [summit], u > level)
    rim = np.unique(np.concatenate([*boundary_loops(triangles), np.zeros(0, np.int32)]))
    outer = [v for v in rim.tolist() if u[v] <= level]
    outside = _grow(neighbours, outer, ~inside)
    filled: BoolArray = ~outside
    return filled


def overhang(positions: FloatArray, triangles: IntArray, inside: BoolArray, mirror: MirrorPlane | None) -> float:
    """Return the share of a form's skin that is seen from behind, looking along the mean normal of what it covers.

    A dome has none, however high; an ear, a horn or a nostril has much.

    Parameters
    ----------
    inside : (n,) bool, the vertices of the form (see :func:`form_above`).
    mirror : the plane that the form ends in, so that its image is the other half of it, or None.
    """
    skin = triangles[inside[triangles].all(axis=1)]
    p = positions[skin]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    area = norms(normal)
    up = spanned_area(positions, skin, mirror)
    return float(area[normal @ up < 0].sum() / max(area.sum(), 1e-300))


def spanned_area(positions: FloatArray, triangles: IntArray, mirror: MirrorPlane | None) -> FloatArray:
    """Return the vector area of a piece of skin, which is that of any other with the same rim.

    Parameters
    ----------
    mirror : the plane that the skin ends in, so that what its image has in the plane's direction cancels, or None.
    """
    p = positions[triangles]
    area: FloatArray = 0.5 * np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]).sum(axis=0)
    return area if mirror is None else area - (area @ mirror.normal) * mirror.normal


def _grow(neighbours: list[list[int]], starts: list[int], allowed: BoolArray) -> BoolArray:
    seen = np.zeros(len(allowed), bool)
    stack = [v for v in starts if allowed[v]]
    seen[stack] = True
    while stack:
        for w in neighbours[stack.pop()]:
            if allowed[w] and not seen[w]:
                seen[w] = True
                stack.append(w)
    return seen


def _neighbours(triangles: IntArray, count: int) -> list[list[int]]:
    edges = distinct_edges(triangles).astype(np.int64)
    keys = np.sort(np.concatenate([edges[:, 0] * count + edges[:, 1], edges[:, 1] * count + edges[:, 0]]))
    both = np.stack([keys // count, keys % count], axis=1)
    starts = np.searchsorted(both[:, 0], np.arange(count + 1))
    heads = both[:, 1].tolist()
    return [heads[a:b] for a, b in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True)]
