"""One level of a stack as a mesh."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.detail.level_surface import LevelSurface, level_surface
from loopwright.detail.types import Levels
from loopwright.errors import InputError
from loopwright.fit.fold_mirror import is_half
from loopwright.fit.reflect import put_in_plane, reflect_half
from loopwright.types import FloatArray, QuadMesh


def rebuild_level(levels: Levels, level: int, *, whole: bool = True) -> QuadMesh:
    """Return a level with its vertices on the sculpt.

    Parameters
    ----------
    level : 0 for the cage's own faces, up to ``levels.count``.
    whole : mirror a half, after its detail was laid on: its seam stays closed. False returns the half.

    Raises
    ------
    InputError
        If there is no such level.
    """
    if not 0 <= level <= levels.count:
        raise InputError(f"There is no level {level}: the stack has levels 0 to {levels.count}.", places=(level,))
    surface = level_surface(levels.cage, level, levels.creases.as_sharpness())
    if len(surface.mesh.positions) > len(levels.offsets):
        raise InputError("The stack's offsets do not fit its cage; write the stack again.")
    mesh = displace(surface, levels.offsets[: len(surface.mesh.positions)])
    return reflect_half(mesh) if whole and is_half(mesh) else mesh


def displace(surface: LevelSurface, offsets: FloatArray) -> QuadMesh:
    """Return a level moved by (n, 3) offsets along tangent, bitangent and normal."""
    positions = surface.mesh.positions + np.einsum("ni,nij->nj", offsets, surface.frames)
    if surface.mesh.mirror is not None:
        positions = put_in_plane(positions, surface.mesh.on_mirror, surface.mesh.mirror)
    return replace(surface.mesh, positions=positions)
