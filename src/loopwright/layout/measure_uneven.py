"""How far a patch is from a place for a grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from loopwright.layout.piece import Piece, side_chains
from loopwright.layout.ring_bays import BayOptions, breadth, gaps, has_bay
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import arc_length
from loopwright.surface.proxy import surface_area
from loopwright.types import FloatArray, IntArray

_DEPTH = 2.0  # how much more it counts that a patch is larger than its sides enclose: rows lack where it bulges


@dataclass(frozen=True)
class UnevenOptions:
    """When a patch is cut further.

    most : the unevenness (see :func:`unevenness`) up to which a patch is left alone.
    gain : how much lower that of the parts must be, weighted by area.
    least_area : parts smaller than this many faces, of the piece's middle size, are not made.
    grave : the unevenness from which smaller parts are made and more cuts looked at.
    wander : the logarithm of a strip's largest width over its least from which it is cut in any case.
    ring_wander : the same of a ring, whose loops may draw together and apart.
    bays : when a ring has a bay, and is cut in any case.
    least_grave : the least area of parts of such a patch.
    bent : how much a cut's bend counts: its price over its ends' distance, less one.
    starts : boundary points tried. tried : best cuts whose outcome is looked at.
    shattered : the same for cuts whose parts are cut on; ``shattered_grave`` of a grave patch.
    patience : the search for such cuts ends when so many in a row could be cut on but are no better than those before
        by ``least_gain``, or not good enough.
    deepest : cuts of cuts.
    drift : how far, in degrees, a cut may leave the field.
    both : how much it adds in a patch of four sides that its other opposite sides are unlike too.
    ring : how much more the loops of a ring may differ than the sides of other patches, as a logarithm.
    quarter : the logarithm of how many times longer one loop is than the other from which a ring is cut into sectors.
    """

    most: float = 1.0
    gain: float = 0.3
    least_area: float = 12.0
    grave: float = 2.0
    wander: float = 1.6
    ring_wander: float = 2.5
    bays: BayOptions = field(default_factory=BayOptions)
    least_grave: float = 4.0
    bent: float = 0.6
    starts: int = 48
    tried: int = 8
    shattered: int = 4
    shattered_grave: int = 12
    patience: int = 4
    least_gain: float = 0.1
    deepest: int = 6
    drift: float = 60.0
    both: float = 0.0
    ring: float = 0.8
    quarter: float = np.inf


def weigh_patch(
    patch: Piece,
    points: FloatArray,
    size: float,
    scale: FloatArray | None = None,
    options: UnevenOptions | None = None,
) -> tuple[float, float, bool]:
    """Return a patch's unevenness, its area in faces, and whether it is a strip or ring that is none."""
    opt = options or UnevenOptions()
    uneven = unevenness(patch, points, size, scale, both=opt.both, ring=opt.ring)
    faces = surface_area(points, patch.triangles) / size**2
    if not is_stray(patch, points, uneven, opt):
        return uneven, faces, False
    return (
        max(unevenness(replace(patch, is_ring=False), points, size, scale, both=opt.both, ring=opt.ring), opt.grave),
        faces,
        True,
    )


def is_stray(patch: Piece, points: FloatArray, uneven: float, opt: UnevenOptions) -> bool:
    """Tell whether a ring, of this unevenness, is no stack of loops, or a strip no stack of rows.

    Such are what is left between scattered regions, now narrow, now wide.
    """
    if patch.is_ring and uneven > opt.most:
        return True
    sides = side_chains(patch.loops[0], patch.quadrants)
    if len(sides) != 4:
        return False
    first = loop_side(patch, points, sides)
    long_sides = sides[first], sides[first + 2]
    narrow, wide = breadth(*(points[side] for side in long_sides))
    if wide > np.exp(opt.ring_wander if patch.is_ring else opt.wander) * narrow:
        return True
    if not patch.is_ring or wide < opt.bays.least_wide * narrow:
        return False
    first_loop, second_loop = (np.column_stack([side[:-1], side[1:]]) for side in long_sides)
    return has_bay(points, patch.triangles, first_loop, second_loop, opt.bays)


def ring_width(area: float, near: FloatArray, far: FloatArray) -> float:
    """Return how wide a ring of this area between two loops, (k, 3) and (l, 3) points, is on the whole.

    That is the area over the loops' mean length, or how far they are apart in space if that is more: loops that are
    jagged are longer than the ring is.
    """
    loops = 0.5 * (arc_length(near)[-1] + arc_length(far)[-1])
    return float(max(area / max(loops, 1e-300), gaps(near, far).mean()))


def _long_side(points: FloatArray, sides: Sequence[IntArray]) -> int:
    """Return 0 or 1: which pair of opposite sides has the longest."""
    return int(np.argmax([arc_length(points[s])[-1] for s in sides])) % 2


def loop_side(patch: Piece, points: FloatArray, sides: Sequence[IntArray]) -> int:
    """Return 0 or 1: which opposite sides are a ring's loops, or a strip's long sides.

    A closed ring is cut open along one way, which both its other sides follow; of half a ring the longest counts.
    """
    for k in (0, 1):
        if patch.is_ring and np.array_equal(patch.origin[sides[k]], patch.origin[sides[k + 2]][::-1]):
            return 1 - k
    return _long_side(points, sides)


def unevenness(
    patch: Piece,
    points: FloatArray,
    size: float,
    scale: FloatArray | None = None,
    *,
    both: float = 0.0,
    ring: float = UnevenOptions.ring,
) -> float:
    """How far a patch is from a place for a grid, as a logarithm: 0 is fair, 1 is a factor of e.

    The larger of two: how much the sides differ that a grid makes equal
    (less in a ring, whose rows may grow longer outward), and how much the area
    differs from what the sides would enclose.  Where there is a pole, each of
    its spokes has one segment at least; it counts how far those of the sides
    come from even by that, and how near the pole comes to a side.  The sides
    where a ring was cut open tell little of its width: it has its area over
    the mean length of its loops.

    Parameters
    ----------
    size : the wished edge length in the patch.
    scale : (n,) how much finer than that is wished at each vertex: lengths count by as much more. A ring's do not,
        whose rows keep their number anyway.
    both, ring : see :class:`UnevenOptions`; the first does not count in rings.
    """
    sides = side_chains(patch.loops[0], patch.quadrants)
    counts = None if patch.is_ring else scale
    lengths = np.array([arc_length(points[s], None if counts is None else counts[s])[-1] for s in sides])
    area = surface_area(points, patch.triangles, counts)
    if patch.is_ring and len(sides) == 4:
        seam = 1 - loop_side(patch, points, sides)
        lengths[[seam, seam + 2]] = ring_width(area, points[sides[1 - seam]], points[sides[3 - seam]])
    worst, enclosed = compare_sides(lengths[None], size, both=0.0 if patch.is_ring else both)
    unlike = float(worst[0]) - (ring if patch.is_ring and len(lengths) == 4 else 0.0)
    stretch = float(np.log(area / enclosed[0]))
    return max(unlike, _DEPTH * stretch, -stretch)


def compare_sides(lengths: FloatArray, size: float, *, both: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Return for (k, n) side lengths, n from 3 to 5, (k,) logarithms of how much they differ, and areas enclosed.

    Of two pairs of opposite sides the more unlike one counts, and so much of the other as ``both`` says.
    """
    e, n = lengths, lengths.shape[1]
    if n == 4:
        pairs = np.abs(np.log(e[:, :2] / e[:, 2:]))
        worst = pairs.max(axis=1) + both * pairs.min(axis=1)
        return worst, (e[:, 0] + e[:, 2]) * (e[:, 1] + e[:, 3]) / 4
    if n == 3:
        spokes = np.maximum(e.sum(axis=1, keepdims=True) / 2 - e, size)
        sides = spokes.sum(axis=1, keepdims=True) - spokes
    else:
        ahead, back = np.roll(e, -1, axis=1), np.roll(e, 1, axis=1)
        spokes = np.maximum((ahead + back + e - np.roll(e, -2, axis=1) - np.roll(e, 2, axis=1)) / 2, size)
        sides = np.roll(spokes, 1, axis=1) + np.roll(spokes, -1, axis=1)
    uneven = 2.0 * np.abs(np.log(sides / e)).max(axis=1)
    worst = np.maximum(uneven, np.log(e.mean(axis=1) / 2 / spokes.min(axis=1)))
    return worst, (spokes * np.roll(spokes, -1, axis=1)).sum(axis=1)


def skewness(corners: FloatArray) -> float:
    """Return how far four corners, (4, 3) points in order, are from a rectangle's, as a logarithm.

    It is that of the sine of the angle between the sides of a parallelogram with the means of opposite sides and with
    these diagonals: a grid in it has about this sine at each vertex.
    """
    sides = norms(np.roll(corners, -1, axis=0) - corners)
    first, second = 0.5 * (sides[0] + sides[2]), 0.5 * (sides[1] + sides[3])
    diagonals = norms(corners[2:] - corners[:2])
    cosine = float((diagonals[0] ** 2 - diagonals[1] ** 2) / max(4.0 * first * second, 1e-300))
    return float(-0.5 * np.log(max(1.0 - cosine**2, 0.01)))
