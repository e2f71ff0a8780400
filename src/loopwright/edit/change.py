"""One edit of a mesh: the new mesh, and how its vertices come from the old ones."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_matrix, identity

from loopwright.fit.reflect import put_in_plane
from loopwright.types import BoolArray, QuadMesh


@dataclass(frozen=True)
class Change:
    """The outcome of one or more edits.

    Attributes
    ----------
    mesh : the new mesh; its positions are ``blend @ old positions``.
    blend : sparse (new vertices, old vertices), rows sum to one.
    """

    mesh: QuadMesh
    blend: csr_matrix

    @property
    def is_new(self) -> BoolArray:
        """Return (n,) bool: vertices that do not stand where an old one stood."""
        return np.asarray(self.blend.max(axis=1).todense()).ravel() < 1.0

    def then(self, change: Change) -> Change:
        """Return this change and one of its outcome as a single change."""
        return Change(change.mesh, csr_matrix(change.blend @ self.blend))


def no_change(mesh: QuadMesh) -> Change:
    """Return the change that leaves a mesh as it is."""
    return Change(mesh, csr_matrix(identity(len(mesh.positions), format="csr")))


def blend_positions(mesh: QuadMesh, old: QuadMesh, blend: csr_matrix) -> Change:
    """Return the change with the positions that the blend gives; mirror vertices are put in the plane exactly."""
    positions = np.ascontiguousarray(blend @ old.positions)
    if mesh.mirror is not None:
        positions = put_in_plane(positions, mesh.on_mirror, mesh.mirror)
    return Change(replace(mesh, positions=positions), blend)
