"""What relaxing minimises: quads near rectangles, rows that run straight and grade smoothly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags

from loopwright.fit.fold_mirror import Fold
from loopwright.fit.link_edges import link_stars, unique_edges
from loopwright.fit.mend_worst import mean_normals
from loopwright.numerics.factorize import factorize
from loopwright.surface.edges import cross_rows, dot_rows, row_lengths
from loopwright.surface.project import unit
from loopwright.types import FloatArray, IntArray, QuadMesh

_LEAST_SIDE = 0.25  # of the side that smooth grading would give: a side's target is at least this
_OBLONG, _TOO_LONG = 1.4, 2.3  # aspects from which, and at which in full, a rectangle is long
_NO_LENGTH = 1e-30  # stands in for the mean edge of a mesh that is a single point
_AGREES = 0.3  # cosine of a quad's own normal with the surface's, above which its own is taken


@dataclass(frozen=True)
class Smoother:
    """Averages a value per edge over the rows round about.

    Attributes
    ----------
    edges : (e, 2) of the half.
    sides : (m, 4) edge from each corner to the next.
    smooth : takes (e,) values to their averages.
    """

    edges: NDArray[np.int64]
    sides: NDArray[np.int64]
    smooth: Callable[[FloatArray], FloatArray]

    def usual_sides(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return (m,) lengths that each quad's two middle lines would have if edges graded smoothly."""
        length = row_lengths(points[self.edges[:, 0]] - points[self.edges[:, 1]])
        usual = self.smooth(np.log(np.maximum(length, 1e-2 * max(float(length.mean()), _NO_LENGTH))))[self.sides]
        return np.exp((usual[:, 0] + usual[:, 2]) / 2.0), np.exp((usual[:, 1] + usual[:, 3]) / 2.0)


@dataclass(frozen=True)
class ShapeEnergy:
    """Linear rows over the whole mesh's vertices, one block after the other.

    Attributes
    ----------
    quads : (m, 4) int32, the half's own quads.
    squares : the transpose of the rows, each entry squared.
    rows : sparse (3 m + l + s, N): per quad its two middle lines u, v and its twist h; then the second
        differences of the lines; then those of the stars.
    row_center : (l + s,) vertex that each fairness row is about, of the half.
    along_curve : (l + s,) bool, fairness rows that run along the curve of the vertex they are about.
    share : (l + s,) 1, or 1/2 for rows about a vertex in the mirror plane, which the image half shares.
    lines : (l, 3) vertices (before, middle, after) of the whole, of the fairness rows along lines.
    smoother : grades edge lengths.
    """

    quads: IntArray
    rows: csr_matrix
    squares: csr_matrix
    row_center: NDArray[np.int64]
    along_curve: NDArray[np.bool_]
    share: FloatArray
    lines: NDArray[np.int64]
    smoother: Smoother


def build_shape_energy(mesh: QuadMesh, fold: Fold, *, size_reach: float = 4.0) -> ShapeEnergy:
    """Return the rows for a mesh and its fold; edge lengths are graded over ``size_reach`` rows."""
    quads = mesh.quads.astype(np.int64)
    m, count = len(quads), fold.whole_count
    stars = link_stars(fold.quads, count)
    lines = stars.lines[stars.lines[:, 1] < fold.count]
    own = stars.star_center < fold.count
    centers, owner = np.unique(stars.star_center[own], return_inverse=True)
    neighbour = stars.star_neighbour[own]
    degree = np.bincount(owner, minlength=len(centers))
    quad = np.arange(m)
    blocks: list[tuple[NDArray[np.int64], NDArray[np.int64], FloatArray]] = []
    for block, signs in enumerate(((-0.5, 0.5, 0.5, -0.5), (-0.5, -0.5, 0.5, 0.5), (0.5, -0.5, 0.5, -0.5))):
        for corner, sign in enumerate(signs):
            blocks.append((block * m + quad, quads[:, corner], np.full(m, sign)))
    line_row = 3 * m + np.arange(len(lines))
    for column, weight in enumerate((0.5, -1.0, 0.5)):
        blocks.append((line_row, lines[:, column], np.full(len(lines), weight)))
    first = 3 * m + len(lines)
    blocks.append((first + owner, neighbour, 1.0 / degree[owner]))
    blocks.append((first + np.arange(len(centers)), centers, np.full(len(centers), -1.0)))
    total = first + len(centers)
    rows = csr_matrix(
        (
            np.concatenate([b[2] for b in blocks]),
            (np.concatenate([b[0] for b in blocks]), np.concatenate([b[1] for b in blocks])),
        ),
        shape=(total, count),
    )
    center = np.concatenate([lines[:, 1], centers])
    return ShapeEnergy(
        quads=mesh.quads,
        rows=rows,
        squares=rows.multiply(rows).T.tocsr(),
        row_center=center,
        along_curve=_along_curve(mesh, lines, len(centers)),
        share=np.where(mesh.on_mirror[center], 0.5, 1.0),
        lines=lines,
        smoother=_length_smoother(mesh.quads, lines, size_reach),
    )


def _length_smoother(quads: IntArray, lines: NDArray[np.int64], reach: float) -> Smoother:
    """Return the implicit diffusion step (1 + reach^2 L)^-1 on edges, and each quad's edges.

    Linked are the edges on opposite sides of a quad, and those that follow one another on a line.
    """
    edges = unique_edges(quads)
    size = int(quads.max()) + 1
    keys = edges[:, 0] * size + edges[:, 1]

    def ids(a: NDArray[np.integer], b: NDArray[np.integer]) -> NDArray[np.int64]:
        return np.asarray(np.searchsorted(keys, np.minimum(a, b).astype(np.int64) * size + np.maximum(a, b)), np.int64)

    sides = np.stack([ids(quads[:, k], quads[:, (k + 1) % 4]) for k in range(4)], axis=1)
    lines = lines[(lines < size).all(axis=1)]
    pairs = np.vstack(
        [
            sides[:, [0, 2]],
            sides[:, [1, 3]],
            np.stack([ids(lines[:, 0], lines[:, 1]), ids(lines[:, 1], lines[:, 2])], axis=1),
        ]
    )
    link = csr_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(edges), len(edges)))
    link = link + link.T
    degree = np.asarray(link.sum(axis=1)).ravel()
    return Smoother(edges, sides, factorize(diags(1.0 + reach**2 * degree) - reach**2 * link).solve)


def _along_curve(mesh: QuadMesh, lines: NDArray[np.int64], stars: int) -> NDArray[np.bool_]:
    """Return whether each fairness row runs along the curve of the vertex it is about."""
    own = len(mesh.positions)
    curve = np.concatenate([mesh.vertex_curve, [-1]])
    stop = np.concatenate([mesh.is_fixed | mesh.on_mirror, [False]])
    before, after = np.minimum(lines[:, 0], own), np.minimum(lines[:, 2], own)
    middle = curve[lines[:, 1]]
    follows = (middle >= 0) & ((curve[before] == middle) | stop[before]) & ((curve[after] == middle) | stop[after])
    return np.concatenate([follows, np.zeros(stars, bool)])


def quad_targets(
    energy: ShapeEnergy,
    points: FloatArray,
    values: FloatArray,
    normals: FloatArray,
    *,
    squareness: float,
    long_squareness: float,
    evenness: float,
    growth: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return (3 m, 3) targets of the quads' rows, (m,) mean side lengths, and those averaged round about.

    Each quad's middle lines become the sides of the rectangle, facing as the surface does, that is
    nearest to it; so a folded quad unfolds. Its twist may keep its part along the normal.

    Parameters
    ----------
    energy : the rows.
    points : (N, 3) positions of the whole.
    values : (r, 3) rows applied to them.
    normals : (n, 3) surface normals at the vertices.
    squareness : 0 keeps each rectangle's aspect, 1 makes squares.
    long_squareness : so much more where a rectangle is long.
    evenness : 0 keeps each rectangle's sides, 1 takes those of smoothly graded rows.
    growth : (2, m) factors on the sides of smoothly graded rows, where a quad shall be larger than its row.
    """
    m = len(energy.quads)
    u, v, twist = values[:m], values[m : 2 * m], values[2 * m : 3 * m]
    surface = mean_normals(normals, energy.quads)
    own = unit(cross_rows(u, v))
    normal = np.where((dot_rows(own, surface) > _AGREES)[:, None], own, surface)
    u_flat, v_flat = _flatten(u, normal), _flatten(v, normal)
    a, b = row_lengths(u_flat), row_lengths(v_flat)
    usual_a, usual_b = energy.smoother.usual_sides(points)
    side_a = np.maximum(a, _LEAST_SIDE * usual_a) ** (1.0 - evenness) * usual_a**evenness
    side_b = np.maximum(b, _LEAST_SIDE * usual_b) ** (1.0 - evenness) * usual_b**evenness
    mean = np.sqrt(side_a * side_b)
    long = np.clip((np.exp(np.abs(np.log(side_a / side_b))) - _OBLONG) / (_TOO_LONG - _OBLONG), 0.0, 1.0)
    pull = np.minimum(squareness + long_squareness * long, 1.0)
    side_a, side_b = side_a * (mean / side_a) ** pull, side_b * (mean / side_b) ** pull
    if growth is not None:
        side_a = np.where(growth[0] > 1.0, np.maximum(side_a, growth[0] * usual_a), side_a)
        side_b = np.where(growth[1] > 1.0, np.maximum(side_b, growth[1] * usual_b), side_b)
    direction = unit(u_flat * side_a[:, None] - cross_rows(normal, v_flat) * side_b[:, None])
    across = cross_rows(normal, direction)
    bump = dot_rows(twist, normal)[:, None] * normal
    targets = np.vstack([direction * side_a[:, None], across * side_b[:, None], bump])
    return targets, mean, np.sqrt(usual_a * usual_b)


def fairness_targets(
    energy: ShapeEnergy, points: FloatArray, values: FloatArray, normals: FloatArray, tangents: FloatArray
) -> FloatArray:
    """Return (l + s, 3) targets of the fairness rows: what is left of each when its line is straight and even.

    What bends along the normal may stay. Along the line it is the true lengths of its two edges that shall be
    equal, not their lengths as seen in the tangent plane: at a sharp fold that would push vertices off.
    On lines along a curve only that counts.
    """
    m = len(energy.quads)
    bend = values[3 * m :]
    normal = normals[energy.row_center]
    target: FloatArray = dot_rows(bend, normal)[:, None] * normal
    line = energy.lines
    before, here, after = points[line[:, 0]], points[line[:, 1]], points[line[:, 2]]
    count = len(line)
    along = unit(_flatten(after - before, normal[:count]))
    curved = energy.along_curve[:count]
    tangent = tangents[line[curved, 1]]
    along[curved] = tangent * np.sign(dot_rows(tangent, after[curved] - before[curved]))[:, None]
    uneven = (row_lengths(after - here) - row_lengths(here - before)) / 2.0
    sideways = cross_rows(normal[:count], along)
    sideways[curved] = 0.0
    crooked = dot_rows(bend[:count], sideways)
    target[:count] = bend[:count] - uneven[:, None] * along - crooked[:, None] * sideways
    return target


def _flatten(vectors: FloatArray, normal: FloatArray) -> FloatArray:
    flat: FloatArray = vectors - dot_rows(vectors, normal)[:, None] * normal
    return flat
