"""Whether the two halves of a mesh are exact mirror images."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from loopwright.types import IntArray, MirrorPlane, QuadMesh

TOLERANCE = 1e-6
"""Largest distance between a vertex and its partner's image that counts as exact, in bounding-box diagonals."""


def measure_symmetry(mesh: QuadMesh, mirror: MirrorPlane | None) -> dict[str, float]:
    """Return the shares of vertices and faces whose mirror image is in the mesh; empty without a plane.

    A face counts if the partners of its corners are the corners of another face.
    """
    if mirror is None or not len(mesh.positions):
        return {}
    diagonal = float(np.linalg.norm(np.ptp(mesh.positions, axis=0)))
    distance, partner = cKDTree(mesh.positions, balanced_tree=False, compact_nodes=False).query(
        mirror.reflect(mesh.positions)
    )
    is_matched = distance <= TOLERANCE * diagonal
    faces = {tuple(sorted(face)) for face in mesh.quads.tolist()}
    images: IntArray = np.sort(partner[mesh.quads], axis=1).astype(np.int32)
    has_image = [tuple(image) in faces for image in images.tolist()]
    is_face_matched = is_matched[mesh.quads].all(axis=1) & np.asarray(has_image, bool)
    return {
        "vertices_matched": float(is_matched.mean()),
        "faces_matched": float(is_face_matched.mean()),
        "largest_gap": float(distance.max() / diagonal),
    }
