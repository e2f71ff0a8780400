"""What turns a way: the flow of the edges around, or a place on a border that it shall meet at a right angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.marks.flow_field import FlowField
from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.marks.trace_way import Steer, Triple
from loopwright.numerics.norms import norms
from loopwright.types import FloatArray

_TIGHTEST = 1.2  # least radius of a turn, in mesh edges
_APART = 1.5  # least distance between two places to make for, in mesh edges
_PLACES = 4  # most of them
_WIDEST = 80.0  # degrees from the heading to a place to make for
_AS_FAR = 45.0  # a place so many degrees aside counts as twice as far


@dataclass(frozen=True)
class Target:
    """A place on a border or line, and the tangent of the surface there that crosses it at a right angle."""

    place: FloatArray
    across: FloatArray


def along_flow(field: FlowField, reach: float) -> Steer:
    """Return what turns a way to the nearest arm of the crosses, the more slowly the less clear they are."""

    def steer(at: Triple, normal: Triple, heading: Triple, gone: float) -> float:
        arms, strength = field.near(np.array([at]))
        off = _angle(heading, arms[0], normal)
        turn = np.sin(4.0 * off) / 4.0 * float(strength[0]) * 2.0
        return float(np.clip(turn, -1.0, 1.0)) * gone / (_TIGHTEST * reach)

    return steer


def across_at(target: Target, reach: float) -> Steer:
    """Return what turns a way onto the arc that ends at a right angle at a place.

    The arc of a circle from here to there that ends along n starts along n mirrored on its chord.
    """
    place, across = target.place, target.across

    def steer(at: Triple, normal: Triple, heading: Triple, gone: float) -> float:
        chord = place - np.array(at)
        square = float(chord @ chord)
        if square < (0.3 * reach) ** 2:
            return 0.0
        wished = 2.0 * float(across @ chord) / square * chord - across
        most = gone / (_TIGHTEST * reach)
        return float(np.clip(_angle(heading, wished, normal), -most, most))

    return steer


def find_targets(
    cutter: SurfaceCutter, held: np.ndarray, at: FloatArray, heading: FloatArray, reach: float, limit: float
) -> list[Target]:
    """Return the best few places ahead, within a limit, on borders and lines between their junctions."""
    chord = np.array([cutter.points[v] for v in held.tolist()]) - at
    far = norms(chord)
    ahead = heading / max(float(np.linalg.norm(heading)), 1e-300)
    aside = np.degrees(np.arccos(np.clip(chord @ ahead / np.maximum(far, 1e-300), -1.0, 1.0)))
    price = far * (1.0 + (aside / _AS_FAR) ** 2)
    fit = np.flatnonzero((far > reach) & (far < limit) & (aside < _WIDEST))
    out: list[Target] = []
    for k in fit[np.argsort(price[fit], kind="stable")].tolist():
        place = at + chord[k]
        if any(float(np.linalg.norm(place - other.place)) < _APART * reach for other in out):
            continue
        across = _across(cutter, int(held[k]), chord[k])
        if across is not None:
            out.append(Target(place, across))
        if len(out) == _PLACES:
            break
    return out


def _across(cutter: SurfaceCutter, v: int, chord: FloatArray) -> FloatArray | None:
    """Return the unit tangent that crosses the border at a vertex the way a chord does; None at a junction."""
    ends = [w for w in sorted(cutter.neighbours(v)) if cutter.is_held_edge(v, w)]
    if len(ends) != 2:
        return None
    across: FloatArray = np.cross(cutter.points[ends[0]] - cutter.points[ends[1]], cutter.normal(v))
    size = float(np.linalg.norm(across))
    if size < 1e-300:
        return None
    return across / size if float(across @ chord) > 0.0 else -across / size


def _angle(heading: Triple, wished: FloatArray, normal: Triple) -> float:
    """Return the angle about the normal from a heading to a direction, in radians."""
    x, y, z = heading
    nx, ny, nz = normal
    a, b, c = wished.tolist()
    side = a * (ny * z - nz * y) + b * (nz * x - nx * z) + c * (nx * y - ny * x)
    return float(np.arctan2(side, a * x + b * y + c * z))
