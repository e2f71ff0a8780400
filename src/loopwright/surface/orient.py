"""Turn triangles so that neighbours agree and pieces face outward."""

from __future__ import annotations

import numpy as np

from loopwright.surface.glue import area_vectors, glued_pairs, is_mixed, label_components
from loopwright.types import BoolArray, FloatArray, IntArray

OPEN_VOLUME_SHARE = 0.02
"""An open piece is turned only if its volume about its centroid is below minus this times area ** 1.5
(a sphere has 0.094)."""


def flips_to_agree(triangles: IntArray, twin: IntArray, areas: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Find which triangles to flip so that all glued neighbours agree.

    Patches that agree within themselves are the nodes of a small graph; it is
    coloured with two colours, and in each piece the smaller area flips.

    Returns
    -------
    flip : (m,) bool.
    is_one_sided : (m,) bool, triangles of pieces that cannot be oriented, such as a Moebius band.
    """
    left, right = glued_pairs(twin)
    mixed = is_mixed(triangles, left, right)
    nothing = np.zeros(len(triangles), np.bool_)
    if not mixed.any():
        return nothing, nothing
    count, patch = label_components(len(triangles), left[~mixed] // 3, right[~mixed] // 3)
    one, other = patch[left[mixed] // 3], patch[right[mixed] // 3]
    _, side = label_components(2 * count, np.concatenate([one, one + count]), np.concatenate([other + count, other]))
    upper, lower = side[:count], side[count:]
    piece = np.minimum(upper, lower)
    patch_area = np.bincount(patch, areas, minlength=count)
    is_upper = upper < lower
    lean = np.bincount(piece, np.where(is_upper, patch_area, -patch_area), minlength=2 * count)
    flip_patch = np.where(lean[piece] >= 0.0, ~is_upper, is_upper)
    one_sided: BoolArray = (upper == lower)[patch]
    flip: BoolArray = flip_patch[patch] & ~one_sided
    return flip, one_sided


def flip_gluing(twin: IntArray, flip: BoolArray) -> IntArray:
    """Carry a gluing along when the corners 0 and 1 of some triangles change places."""
    renamed = np.arange(len(twin), dtype=np.int32).reshape(-1, 3)
    renamed[flip] = renamed[flip][:, [0, 2, 1]]
    new_name = renamed.ravel()
    carried = np.full_like(twin, -1)
    carried[new_name] = np.where(twin >= 0, new_name[twin], -1)
    return carried


def pieces_facing_inward(positions: FloatArray, triangles: IntArray, twin: IntArray, piece: IntArray) -> BoolArray:
    """Tell which pieces have their inside out.

    A closed piece has it where its signed volume is negative.  Of open pieces only the
    largest is judged, by the volume of the cone over it from its centroid: a bag
    that opens outward, like the inside of a mouth, rightly faces its own inside.
    """
    number = int(piece.max(initial=-1)) + 1
    normals = area_vectors(positions, triangles)
    areas = np.sqrt(np.einsum("ij,ij->i", normals, normals))
    total = np.maximum(np.bincount(piece, areas, minlength=number), np.finfo(float).tiny)
    corner = positions[triangles[:, 0]]
    centroid = np.stack([np.bincount(piece, areas * corner[:, k], number) / total for k in range(3)], axis=1)
    cones = np.einsum("ij,ij->i", corner, normals) - np.einsum("ij,ij->i", centroid[piece], normals)
    volume = np.bincount(piece, cones, minlength=number) / 6.0
    is_open = np.bincount(piece[np.flatnonzero(twin < 0) // 3], minlength=number) > 0
    is_largest = np.arange(number) == np.argmax(total)
    limit = np.where(is_open, OPEN_VOLUME_SHARE * (0.5 * total) ** 1.5, 0.0)
    inward: BoolArray = (volume < -limit) & (~is_open | is_largest)
    return inward
