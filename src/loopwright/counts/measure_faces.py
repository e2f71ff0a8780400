"""How many quads and poles a patch gets, from the counts and the lengths of its sides."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.errors import InfeasibleError
from loopwright.layout.types import Layout, Patch
from loopwright.patterns.fill_patch import fill_patch, pole_count
from loopwright.types import FloatArray, IntArray

UNFILLED = 99  # poles that a patch without a fill counts as, so that it is shunned


def measure_fills(layout: Layout, counts: IntArray) -> list[tuple[int, int]]:
    """Return for each patch the numbers of quads and of poles that it gets in the mesh.

    A patch without a fill has about as many quads as it would have, and ``UNFILLED`` poles.
    """
    sides = side_counts(layout, counts)
    return [_measure_fill(layout, patch, tuple(each)) for patch, each in zip(layout.patches, sides, strict=True)]


def filled_faces(layout: Layout, counts: IntArray) -> IntArray:
    """Return (patches,) the number of quads that each patch gets in the mesh."""
    return np.array([faces for faces, _ in measure_fills(layout, counts)], np.int32)


def fill_poles(sides: tuple[int, ...]) -> int:
    """Return the number of poles that a patch with these sides gets, however long they are; ``UNFILLED`` for none."""
    if is_simple(sides):
        return abs(4 - len(sides))
    try:
        return pole_count(sides)
    except InfeasibleError:
        return UNFILLED


def _measure_fill(layout: Layout, patch: Patch, sides: tuple[int, ...]) -> tuple[int, int]:
    if is_simple(sides):
        return round(patch_faces(sides)), abs(4 - len(sides))
    try:  # of several fills with as few poles, the lengths of the sides choose one
        faces = len(fill_patch(sides, side_lengths=side_lengths(layout, patch)).quads)
    except InfeasibleError:
        return round(patch_faces(sides)), UNFILLED
    return faces, fill_poles(sides)


def side_lengths(layout: Layout, patch: Patch) -> list[float]:
    """Return the length of each side of a patch."""
    return [float(sum(layout.arcs[arc].length for arc, _ in side)) for side in patch.sides]


def is_simple(sides: tuple[int, ...]) -> bool:
    """Tell whether no pole, or the one planned, fills a patch with 3 to 5 sides."""
    n = len(sides)
    if n == 4:
        return sides[0] == sides[2] and sides[1] == sides[3]
    if sum(sides) % 2:
        return False
    if n == 3:
        return all(sum(sides) - 2 * e >= 2 for e in sides)
    return all(sides[(i + 1) % n] + sides[i - 1] + sides[i] - sides[(i + 2) % n] - sides[i - 2] >= 2 for i in range(n))


def patch_faces(side_counts: Sequence[float]) -> float:
    """Return the number of quads of a patch: exact where one pole (or none) suffices, else a good guess."""
    e = np.array(side_counts, float)
    n = len(e)
    if n == 4:
        return float((e[0] + e[2]) * (e[1] + e[3]) / 4)
    if n == 3:
        s = (e.sum() - 2 * e) / 2
    else:
        s = np.array([e[(i + 1) % n] + e[i - 1] + e[i] - e[(i + 2) % n] - e[i - 2] for i in range(n)]) / 2
    s = np.maximum(s, 0.5)
    return float((s * np.roll(s, -1)).sum())


def side_counts(layout: Layout, counts: IntArray) -> list[list[int]]:
    """Return the segment counts of every patch's sides."""
    return [[int(sum(counts[a] for a, _ in side)) for side in patch.sides] for patch in layout.patches]


def side_sums(layout: Layout, counts: IntArray | FloatArray) -> list[list[float]]:
    """Return the same of counts that need not be whole."""
    return [[float(sum(counts[a] for a, _ in side)) for side in patch.sides] for patch in layout.patches]


def face_gradient(layout: Layout, counts: IntArray | FloatArray) -> FloatArray:
    """Return (arcs,) how many faces one more segment brings, by differences of :func:`patch_faces` about ``counts``."""
    gradient = np.zeros(len(counts))
    for patch, sides in zip(layout.patches, side_sums(layout, counts), strict=True):
        for k, side in enumerate(patch.sides):
            more = list(sides)
            more[k] += 1
            less = list(sides)
            less[k] -= 1
            slope = (patch_faces(more) - patch_faces(less)) / 2
            for a, _ in side:
                gradient[a] += slope
    return gradient
