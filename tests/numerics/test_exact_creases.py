"""Semi-sharp subdivision beside the rules in exact fractions, and beside a reference library."""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial import cKDTree
from tests.numerics.test_catmull_clark import MESHES, reference

from loopwright.numerics.catmull_clark import Sharpness, subdivide, unique_edges
from loopwright.types import FloatArray

Point = tuple[Fraction, ...]
Edge = frozenset[int]
Sharp = dict[Edge, Fraction]
ENDLESS = Fraction(10**9)


def mix(*parts: tuple[Fraction, Point]) -> Point:
    return tuple(sum((weight * point[k] for weight, point in parts), Fraction(0)) for k in range(3))


def mean(points: list[Point]) -> Point:
    return mix(*((Fraction(1, len(points)), point) for point in points))


class ExactLevel:
    """One level by the rules of DeRose, Kass, Truong (SIGGRAPH 1998) in fractions, written from the paper's rules.

    While a vertex changes its rule, both rules are blended by the mean sharpness of the edges that fade. With
    ``single`` that mean is rounded to single precision, and nothing else is.
    """

    def __init__(self, points: list[Point], quads: list[tuple[int, ...]], sharp: Sharp, single: bool) -> None:
        self.points = points
        self.faces_at: dict[Edge, list[int]] = defaultdict(list)
        for face, quad in enumerate(quads):
            for k in range(4):
                self.faces_at[frozenset((quad[k], quad[(k + 1) % 4]))].append(face)
        edges = sorted(self.faces_at, key=sorted)
        self.middles = [mean([points[v] for v in quad]) for quad in quads]
        before = {e: sharp.get(e, Fraction(0)) if len(self.faces_at[e]) == 2 else ENDLESS for e in edges}
        after = {e: max(value - 1, Fraction(0)) for e, value in before.items()}
        self.edges_of: dict[int, list[Edge]] = defaultdict(list)
        for edge in edges:
            for vertex in edge:
                self.edges_of[vertex].append(edge)
        new = [self.vertex_point(v, before, after, single) for v in range(len(points))]
        place = {edge: len(new) + k for k, edge in enumerate(edges)}
        new += [self.edge_point(edge, min(before[edge], Fraction(1))) for edge in edges]
        first = len(new)
        self.quads: list[tuple[int, ...]] = [
            (
                quad[k],
                place[frozenset((quad[k], quad[(k + 1) % 4]))],
                first + f,
                place[frozenset((quad[k - 1], quad[k]))],
            )
            for f, quad in enumerate(quads)
            for k in range(4)
        ]
        kept = [edge for edge in edges if len(self.faces_at[edge]) == 2 and after[edge] > 0]
        self.sharp = {frozenset((vertex, place[edge])): after[edge] for edge in kept for vertex in edge}
        self.new = new + self.middles

    def rule(self, vertex: int, sharp: Sharp) -> tuple[str, Point]:
        own, around = self.points[vertex], self.edges_of[vertex]
        others = {edge: self.points[next(iter(edge - {vertex}))] for edge in around}
        hard = [others[edge] for edge in around if sharp[edge] > 0]
        if len(hard) >= 3:
            return "corner", own
        if len(hard) == 2:
            return "crease", mix((Fraction(3, 4), own), *((Fraction(1, 8), point) for point in hard))
        n = Fraction(len(around))
        faces = sorted({face for edge in around for face in self.faces_at[edge]})
        ring = [*others.values(), *(self.middles[face] for face in faces)]
        return "smooth", mix(((n - 2) / n, own), *((1 / n**2, point) for point in ring))

    def vertex_point(self, vertex: int, before: Sharp, after: Sharp, single: bool) -> Point:
        (kind, point), (next_kind, next_point) = self.rule(vertex, before), self.rule(vertex, after)
        if kind == next_kind:
            return point
        fading = [before[edge] for edge in self.edges_of[vertex] if before[edge] > 0 and after[edge] == 0]
        share = sum(fading, Fraction(0)) / len(fading)
        if single:
            share = Fraction(float(np.float32(float(sum(fading))) / np.float32(len(fading))))
        return mix((min(share, Fraction(1)), point), (1 - min(share, Fraction(1)), next_point))

    def edge_point(self, edge: Edge, share: Fraction) -> Point:
        ends = [self.points[v] for v in edge]
        faces = self.faces_at[edge]
        smooth = mean(ends) if len(faces) == 1 else mean(ends + [self.middles[face] for face in faces])
        return mix((share, mean(ends)), (1 - share, smooth))


def exact(points: FloatArray, quads: list[tuple[int, ...]], sharp: Sharp, single: bool) -> FloatArray:
    now: list[Point] = [tuple(Fraction(value) for value in point) for point in points.tolist()]
    for _ in range(2):
        level = ExactLevel(now, quads, sharp, single)
        now, quads, sharp = level.new, level.quads, level.sharp
    return np.array([[float(value) for value in point] for point in now])


@pytest.mark.parametrize("name", MESHES)
@pytest.mark.parametrize("seed", range(2))
def test_mixed_creases_are_exact_and_the_library_is_off_by_its_single_precision(name: str, seed: int) -> None:
    # Outside references: the published rules in exact arithmetic, and lagrange.subdivision.subdivide_mesh.
    points, quads = MESHES[name]
    rng = np.random.default_rng(seed)
    edges = unique_edges(quads)
    chosen = edges[rng.random(len(edges)) < 0.4]
    values = rng.choice([0.25, 0.5, 1.0, 1.25, 1.75, 2.0, 3.5], len(chosen))
    sharpness = Sharpness(chosen, values, np.zeros(0, np.int64))
    ours, _ = subdivide(points, quads, 2, sharpness)
    theirs = cKDTree(np.asarray(reference(points, quads, 2, sharpness).vertices))
    faces = [tuple(quad) for quad in quads.tolist()]
    sharp = {frozenset(edge): Fraction(value) for edge, value in zip(chosen.tolist(), values.tolist(), strict=True)}
    truth, rounded = (exact(points, faces, sharp, single) for single in (False, True))
    assert np.abs(ours - truth).max() < 1e-14
    assert theirs.query(rounded)[0].max() < 1e-14  # the library, once the means are rounded as it rounds them
    assert theirs.query(ours)[0].max() < 1e-8
