"""The whole mesh from its half."""

from __future__ import annotations

import numpy as np

from loopwright.errors import InternalError
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.types import Curve, FloatArray, MirrorPlane, QuadMesh

_IN_PLANE = 1e-9  # of a curve's extent


def reflect_half(mesh: QuadMesh) -> QuadMesh:
    """Return the whole mesh of a half that ends at its mirror plane.

    The half's vertices and quads come first, in their order, then the images.
    Vertices with ``on_mirror`` are put exactly in the plane and shared. For a
    plane x = 0 the image of (x, y, z) is (-x, y, z) to the bit. Each curve
    gets a mirrored copy, except those that lie in the plane.

    Raises
    ------
    InternalError
        If the mesh has no mirror plane, or does not lie on its positive side.
    """
    if mesh.mirror is None:
        raise InternalError("This mesh has no mirror plane to be reflected in.")
    positions = put_in_plane(mesh.positions, mesh.on_mirror, mesh.mirror)
    fold = fold_mirror(mesh)
    if fold.mirror is None:
        raise InternalError("This mesh lies on both sides of its mirror plane: it is whole already.")
    curves, curve_image = _mirror_curves(mesh.curves, mesh.mirror)
    image_curve = mesh.vertex_curve[fold.source]
    image_curve = np.where(image_curve >= 0, curve_image[image_curve], -1)
    return QuadMesh(
        positions=np.ascontiguousarray(fold.unfold_points(positions)),
        quads=fold.quads,
        quad_region=np.tile(mesh.quad_region, 2).astype(np.int32),
        regions=mesh.regions,
        vertex_curve=np.concatenate([mesh.vertex_curve, image_curve]).astype(np.int32),
        curves=curves,
        is_fixed=np.concatenate([mesh.is_fixed, mesh.is_fixed[fold.source]]),
        on_mirror=np.concatenate([mesh.on_mirror, np.zeros(len(fold.source), bool)]),
        mirror=mesh.mirror,
    )


def put_in_plane(
    positions: FloatArray, chosen: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], mirror: MirrorPlane
) -> FloatArray:
    """Return the positions with the chosen ones moved straight into the plane."""
    moved = positions.copy()
    moved[chosen] -= mirror.signed_distance(positions[chosen])[:, None] * mirror.normal
    return moved


def _mirror_curves(
    curves: tuple[Curve, ...], mirror: MirrorPlane
) -> tuple[tuple[Curve, ...], np.ndarray[tuple[int, ...], np.dtype[np.int64]]]:
    copies = list(curves)
    image = np.full(len(curves) + 1, -1, np.int64)  # the last entry serves index -1
    for index, curve in enumerate(curves):
        extent = float(np.ptp(curve.points, axis=0).max()) if len(curve.points) else 0.0
        if (np.abs(mirror.signed_distance(curve.points)) <= _IN_PLANE * extent).all():
            image[index] = index
            continue
        image[index] = len(copies)
        copies.append(Curve(np.ascontiguousarray(mirror.reflect(curve.points)), curve.closed))
    return tuple(copies), image
