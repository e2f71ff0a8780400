"""The half of a mesh that is its own mirror image."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from loopwright.fit.fold_mirror import is_half
from loopwright.fit.reflect import put_in_plane
from loopwright.types import MirrorPlane, QuadMesh

_SAME_PLACE = 1e-6  # of the mesh's extent


@dataclass(frozen=True)
class SymmetricHalf:
    """One half of a whole mesh.

    Attributes
    ----------
    mesh : the half, which ends at its mirror plane.
    own : (k,) the whole's vertex for each of the half's.
    image : (n,) the mirror image of each of the whole's vertices.
    """

    mesh: QuadMesh
    own: NDArray[np.int64]
    image: NDArray[np.int64]


def split_symmetric(mesh: QuadMesh) -> SymmetricHalf | None:
    """Return the half of a whole mesh that mirrors itself across x = 0, y = 0, z = 0 or its own plane, else None."""
    if len(mesh.quads) == 0 or is_half(mesh):
        return None
    planes = [MirrorPlane(axis, 0.0) for axis in np.eye(3)]
    for plane in planes if mesh.mirror is None else [mesh.mirror, *planes]:
        half = _split(mesh, plane)
        if half is not None:
            return half
    return None


def _split(mesh: QuadMesh, plane: MirrorPlane) -> SymmetricHalf | None:
    extent = float(np.ptp(mesh.positions, axis=0).max())
    distance, image = cKDTree(mesh.positions, balanced_tree=False).query(plane.reflect(mesh.positions))
    n = len(mesh.positions)
    if distance.max() > _SAME_PLACE * extent or not np.array_equal(image[image], np.arange(n)):
        return None
    quads = np.sort(mesh.quads, axis=1)
    mirrored = np.sort(image[mesh.quads], axis=1)
    if not np.array_equal(np.unique(quads, axis=0), np.unique(mirrored, axis=0)):
        return None
    side = plane.signed_distance(mesh.positions[mesh.quads].mean(axis=1))
    if (np.abs(side) <= _SAME_PLACE * extent).any() or not (side > 0).any():
        return None
    own, inverse = np.unique(mesh.quads[side > 0], return_inverse=True)
    on_mirror = image[own] == own
    if (plane.signed_distance(mesh.positions[own]) < -_SAME_PLACE * extent).any():
        return None
    half = replace(
        mesh,
        positions=put_in_plane(mesh.positions[own], on_mirror, plane),
        quads=np.ascontiguousarray(inverse.reshape(-1, 4), np.int32),
        quad_region=mesh.quad_region[side > 0],
        vertex_curve=mesh.vertex_curve[own],
        is_fixed=mesh.is_fixed[own],
        on_mirror=on_mirror,
        mirror=plane,
    )
    return SymmetricHalf(half, own.astype(np.int64), image.astype(np.int64))
