"""Keep a symmetric mesh symmetric on a symmetric sculpt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.errors import InfeasibleError
from loopwright.surface.mirror import MOST_APART, find_mirror
from loopwright.surface.pair_vertices import pair_vertices
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, MirrorPlane

_SAME = 2e-3  # of the diagonal: the most that a vertex may miss its image by; all faces have to match too
# of the diagonal, between a sculpt's halves, where a mirror is taken by itself: more would even out an uneven face
_AUTO_RMS = 1e-3


@dataclass(frozen=True)
class MirrorPairs:
    """Partners under the mirror, and both planes.

    Attributes
    ----------
    partner : (n,) the vertex on the other side; a vertex in the plane is its own.
    mesh_plane, sculpt_plane : the planes of the mesh as it was and of the sculpt that it goes to.
    """

    partner: NDArray[np.int64]
    mesh_plane: MirrorPlane
    sculpt_plane: MirrorPlane

    def even(self, positions: FloatArray) -> FloatArray:
        """Return (n, 3) positions made symmetric to the sculpt's plane: the mean of each and its partner's image.

        For a plane across an axis through the origin partners agree to the bit.
        """
        image = self.sculpt_plane.reflect(positions[self.partner])
        middle = (positions + image) / 2.0
        first = np.arange(len(positions)) < self.partner
        own = np.arange(len(positions)) == self.partner
        out = middle.copy()
        out[own] -= self.sculpt_plane.signed_distance(middle[own])[:, None] * self.sculpt_plane.normal
        out[self.partner[first]] = self.sculpt_plane.reflect(out[first])
        return out


def find_mirror_pairs(
    positions: FloatArray, quads: IntArray, projector: SurfaceProjector, wish: str
) -> MirrorPairs | None:
    """Find out whether mesh and sculpt are both symmetric.

    Parameters
    ----------
    wish : "none"; "auto", which takes a mirror if there is one; or "x", "y", "z", the axis that it is across on the
        mesh, which has to be there.

    Raises
    ------
    InfeasibleError
        If an axis was wished for and the mesh or the sculpt is not symmetric.
    """
    if wish == "none":
        return None
    axes = range(3) if wish == "auto" else ["xyz".index(wish)]
    found = None
    for axis in axes:
        found = pair_vertices(positions, quads, axis, same=_SAME)
        if found is not None:
            break
    if found is None:
        if wish == "auto":
            return None
        raise InfeasibleError(
            f"The mesh is not symmetric across {wish}, so no mirror can be kept; leave the mirror out.", places=[wish]
        )
    fit = find_mirror(projector, max_rms=_AUTO_RMS if wish == "auto" else MOST_APART)
    if fit is None:
        if wish == "auto":
            return None
        raise InfeasibleError(
            f"The sculpt's halves differ by more than {100 * MOST_APART:g} % of its diagonal, so no mirror can be "
            "kept; leave the mirror out.",
            places=[wish],
        )
    return MirrorPairs(found[0], found[1], fit.plane)
