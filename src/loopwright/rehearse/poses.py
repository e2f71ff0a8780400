"""Handles that hold parts of a sculpt, and poses that move them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from loopwright.types import BoolArray, Finding, FloatArray, IntArray, QuadMesh

WIDEST_TURN = 90.0
"""Degrees beyond which a turn is told."""


@dataclass(frozen=True)
class Handle:
    """A part that moves as one piece: all that lies in its balls, boxes or regions.

    Attributes
    ----------
    name : as the poses call it.
    regions : names of regions of the mesh.
    balls : centres and radii. boxes : lowest and highest corners.
    """

    name: str
    regions: tuple[str, ...] = ()
    balls: tuple[tuple[FloatArray, float], ...] = ()
    boxes: tuple[tuple[FloatArray, FloatArray], ...] = ()

    def holds(self, points: FloatArray, nearest_region: IntArray, names: tuple[str, ...]) -> BoolArray:
        """Return (n,) which of (n, 3) points are in it, given the region of the mesh nearest to each."""
        inside = np.zeros(len(points), bool)
        for center, radius in self.balls:
            inside |= ((points - center) ** 2).sum(axis=1) <= radius**2
        for low, high in self.boxes:
            inside |= ((points >= low) & (points <= high)).all(axis=1)
        wanted = [index for index, name in enumerate(names) if name in self.regions]
        return np.asarray(inside | np.isin(nearest_region, wanted))


@dataclass(frozen=True)
class Motion:
    """A turn about an axis through a point, then a shift.

    Attributes
    ----------
    through, axis : the hinge, a point and a direction. degrees : right-handed about it.
    shift : added after the turn.
    """

    through: FloatArray = field(default_factory=lambda: np.zeros(3))
    axis: FloatArray = field(default_factory=lambda: np.array([1.0, 0.0, 0.0]))
    degrees: float = 0.0
    shift: FloatArray = field(default_factory=lambda: np.zeros(3))

    def apply(self, points: FloatArray, share: float = 1.0) -> FloatArray:
        """Return where (n, 3) points go, or for a share below one how far on the way there."""
        direction = self.axis / np.linalg.norm(self.axis)
        turn = Rotation.from_rotvec(np.radians(share * self.degrees) * direction).as_matrix()
        moved: FloatArray = (points - self.through) @ turn.T + self.through + share * self.shift
        return moved


@dataclass(frozen=True)
class Pose:
    """What each handle does; one that is not named stays."""

    name: str
    motions: dict[str, Motion]


def bend(points: FloatArray, weights: FloatArray, handles: tuple[str, ...], pose: Pose) -> FloatArray:
    """Return (n, 3) points moved by the mean of the handles' motions, weighted by (n, h) weights.

    References
    ----------
    N. Magnenat-Thalmann, R. Laperriere, D. Thalmann, "Joint-dependent local deformations for hand animation and
    object grasping", Graphics Interface 1988: the linear blend.
    """
    moved = np.zeros_like(points)
    for column, name in enumerate(handles):
        there = pose.motions[name].apply(points) if name in pose.motions else points
        moved += weights[:, column : column + 1] * there
    return moved


def tell_wide_turns(poses: Sequence[Pose]) -> list[Finding]:
    """Return a finding for each turn so wide that :func:`bend` pinches what lies between the handles.

    Half way between a handle that stays and one that turns by an angle, the mean of both shrinks towards the axis to
    the cosine of half the angle: to 0.71 at 90 degrees, to nothing at 180.
    """
    found = []
    for pose in poses:
        for handle, motion in pose.motions.items():
            if abs(motion.degrees) > WIDEST_TURN:
                left = abs(np.cos(np.radians(motion.degrees / 2)))
                text = (
                    f'The pose "{pose.name}" turns {handle} by {motion.degrees:g} degrees: beyond {WIDEST_TURN:g} '
                    f"degrees, what bends is pinched by the way of bending itself, here to {left:.2f} of its width at "
                    "worst, in any mesh. Compare meshes with each other there, or turn by less."
                )
                found.append(Finding("wide_turn", text))
    return found


def nearest_regions(points: FloatArray, mesh: QuadMesh) -> IntArray:
    """Return (n,) the region of the quad whose centre is nearest to each of (n, 3) points."""
    nearest = cKDTree(mesh.positions[mesh.quads].mean(axis=1), balanced_tree=False, compact_nodes=False).query(points)[
        1
    ]
    return np.asarray(mesh.quad_region[nearest], np.int32)
