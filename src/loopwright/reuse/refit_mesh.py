"""The mesh that is fitted after registration: its curves, its half, and places where it has to be mended."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.measure_quality import measure_quality
from loopwright.reuse.mirror_pairs import MirrorPairs
from loopwright.reuse.register import Registration
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, Curve, FloatArray, IntArray, QuadMesh

_CURVE_LEVELS = 3
_BAD = 0.3  # scaled Jacobian below which a quad that has become worse is mended
_WORSE = 0.1
_RINGS = 3


def with_rim_curves(
    mesh: QuadMesh, positions: FloatArray, registration: Registration, projector: SurfaceProjector
) -> QuadMesh:
    """Return the mesh at new positions, its rims on their borders or, without one, where they have come to lie."""
    curves: list[Curve] = []
    vertex_curve = np.full(len(positions), -1, np.int32)
    rims, match = registration.template.rims, registration.rims
    for rim, border in zip(rims, match.of_rim, strict=True):
        vertex_curve[rim] = len(curves)
        curves.append(match.curves[border] if border >= 0 else own_curve(positions[rim], projector))
    return replace(
        mesh,
        positions=positions,
        vertex_curve=vertex_curve,
        curves=tuple(curves),
        is_fixed=np.zeros(len(positions), bool),
        on_mirror=np.zeros(len(positions), bool),
        mirror=None,
    )


def own_curve(controls: FloatArray, projector: SurfaceProjector) -> Curve:
    """Return the limit curve of (k, 3) control points of a closed rim, put on the sculpt.

    The cubic B-spline of the rim: points 1/8, 6/8, 1/8 and 1/2, 1/2 per level, 1/6, 4/6, 1/6 in the limit.
    """
    points = controls
    for _ in range(_CURVE_LEVELS):
        before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
        points = np.stack([(before + 6.0 * points + after) / 8.0, (points + after) / 2.0], axis=1).reshape(-1, 3)
    points = (np.roll(points, 1, axis=0) + 4.0 * points + np.roll(points, -1, axis=0)) / 6.0
    return Curve(projector.project(points).points, True)


@dataclass(frozen=True)
class HalfOf:
    """The half of a symmetric mesh and the whole's vertex of each of its vertices."""

    mesh: QuadMesh
    vertices: NDArray[np.int64]


def take_half(mesh: QuadMesh, pairs: MirrorPairs) -> HalfOf | None:
    """Return the half on the positive side of the sculpt's plane, or None where the mesh crosses the plane."""
    plane = pairs.sculpt_plane
    own = pairs.partner == np.arange(len(pairs.partner))
    distance = plane.signed_distance(mesh.positions)
    is_kept = distance[mesh.quads].mean(axis=1) > 0.0
    used, inverse = np.unique(mesh.quads[is_kept], return_inverse=True)
    partner_quads = np.isin(pairs.partner[mesh.quads], used[~own[used]]).any(axis=1)
    if (
        (distance[used[~own[used]]] <= 0.0).any()
        or (is_kept & partner_quads).any()
        or 2 * is_kept.sum() != len(is_kept)
    ):
        return None
    positions = mesh.positions[used]
    on_mirror = own[used]
    half = replace(
        mesh,
        positions=positions,
        quads=np.ascontiguousarray(inverse.reshape(-1, 4), np.int32),
        quad_region=mesh.quad_region[is_kept],
        vertex_curve=mesh.vertex_curve[used],
        is_fixed=mesh.is_fixed[used],
        on_mirror=on_mirror,
        mirror=plane,
    )
    return HalfOf(half, used.astype(np.int64))


def whole_again(half: HalfOf, positions: FloatArray, whole: QuadMesh, pairs: MirrorPairs) -> QuadMesh:
    """Return the whole mesh, in its own order, with the half at new positions and its images."""
    out = whole.positions.copy()
    plane = pairs.sculpt_plane
    points = positions.copy()
    flat = half.mesh.on_mirror
    points[flat] -= plane.signed_distance(points[flat])[:, None] * plane.normal
    out[half.vertices] = points
    sided = ~flat
    out[pairs.partner[half.vertices[sided]]] = plane.reflect(points[sided])
    own = pairs.partner == np.arange(len(out))
    return replace(whole, positions=out, on_mirror=own, mirror=plane)


def spoilt_places(quads: IntArray, positions: FloatArray, before: FloatArray) -> BoolArray:
    """Return (n,) the vertices within three rings of quads that registration has spoilt; often none.

    Parameters
    ----------
    before : (m,) scaled Jacobian of each quad on the mesh as it came.
    """
    now = measure_quality(positions, quads).scaled_jacobian
    touched = np.zeros(len(positions), bool)
    touched[quads[(now < _BAD) & (now < before - _WORSE)]] = True
    for _ in range(_RINGS if touched.any() else 0):
        touched[quads[touched[quads].any(axis=1)]] = True
    return touched
