"""Handles that hold parts of a sculpt, and poses that move them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from loopwright.surface.repair_work import plural
from loopwright.types import BoolArray, Finding, FloatArray, IntArray, QuadMesh

WIDEST_TURN = 90.0
"""Degrees beyond which a turn of two handles relative to each other is told."""
_EXACT = 1e-6  # degrees by which a turn comes out inexact


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

    def turn(self, share: float = 1.0) -> Rotation:
        """Return the turn alone, or for a share below one a part of it."""
        direction = self.axis / np.linalg.norm(self.axis)
        return Rotation.from_rotvec(np.radians(share * self.degrees) * direction)

    def apply(self, points: FloatArray, share: float = 1.0) -> FloatArray:
        """Return where (n, 3) points go, or for a share below one how far on the way there."""
        turn = self.turn(share).as_matrix()
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


def tell_wide_turns(poses: Sequence[Pose], handles: Sequence[str]) -> list[Finding]:
    """Return a finding for each pose with turns so wide that :func:`bend` pinches what lies between the handles.

    What counts is how far two handles turn relative to each other, brought to 0 to 180 degrees. Half way between
    them, the mean of both shrinks towards the axis of that turn to the cosine of half the angle: to 0.71 at 90
    degrees, to nothing at 180.

    Parameters
    ----------
    handles : names of all handles; those that a pose does not name stay.
    """
    found = []
    for pose in poses:
        turns = [(name, pose.motions[name].turn() if name in pose.motions else Rotation.identity()) for name in handles]
        wide = [
            (degrees, one, other)
            for (one, first), (other, second) in combinations(turns, 2)
            if (degrees := float(np.degrees((first.inv() * second).magnitude()))) > WIDEST_TURN + _EXACT
        ]
        if wide:
            degrees, one, other = max(wide, key=lambda pair: round(pair[0], 6))
            # Who moves is named first, and that against what it turns.
            one, other = (one, other) if one in pose.motions else (other, one)
            more = f" (and {plural(len(wide) - 1, 'other pair')} too far)" if len(wide) > 1 else ""
            text = (
                f'The pose "{pose.name}" turns {one} by {degrees:.4g} degrees against {other}{more}: beyond '
                f"{WIDEST_TURN:g} degrees, what bends is pinched by the way of bending itself, here to "
                f"{abs(np.cos(np.radians(degrees / 2))):.2f} of its width at worst, in any mesh. Compare meshes with "
                "each other there, or turn by less."
            )
            found.append(Finding("wide_turn", text, len(wide)))
    return found


def nearest_regions(points: FloatArray, mesh: QuadMesh) -> IntArray:
    """Return (n,) the region of the quad whose centre is nearest to each of (n, 3) points."""
    nearest = cKDTree(mesh.positions[mesh.quads].mean(axis=1), balanced_tree=False, compact_nodes=False).query(points)[
        1
    ]
    return np.asarray(mesh.quad_region[nearest], np.int32)
