"""What relaxing minimises: quads near rectangles, rows that run straight and grade smoothly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.sparse.linalg import splu

from loopwright.fit.fold_mirror import Fold
from loopwright.fit.link_edges import link_stars
from loopwright.surface.project import unit
from loopwright.types import FloatArray, IntArray, QuadMesh

_LEAST_SIDE = 0.25  # of a quad's own mean side: a side's target is at least this


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
    on_curve_line : (l,) bool, lines that run along a curve or a rim.
    share : (l + s,) 1, or 1/2 for rows about a vertex in the mirror plane, which the image half shares.
    smooth_sizes : takes (m,) values per quad to their average over some rows of neighbours.
    """

    quads: IntArray
    rows: csr_matrix
    squares: csr_matrix
    row_center: NDArray[np.int64]
    along_curve: NDArray[np.bool_]
    share: FloatArray
    smooth_sizes: Callable[[FloatArray], FloatArray]


def build_shape_energy(mesh: QuadMesh, fold: Fold, *, size_reach: float) -> ShapeEnergy:
    """Return the rows for a mesh and its fold; sizes are averaged over ``size_reach`` quads."""
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
        smooth_sizes=_size_smoother(mesh.quads, size_reach),
    )


def _size_smoother(quads: IntArray, reach: float) -> Callable[[FloatArray], FloatArray]:
    """Return the implicit diffusion step (1 + reach^2 L)^-1 over quads that share an edge."""
    m = len(quads)
    pairs = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    owner = np.repeat(np.arange(m), 4)
    order = np.lexsort((owner, pairs[:, 1], pairs[:, 0]))
    pairs, owner = pairs[order], owner[order]
    twin = (pairs[1:] == pairs[:-1]).all(axis=1)
    a, b = owner[:-1][twin], owner[1:][twin]
    link = coo_matrix((np.ones(len(a)), (a, b)), shape=(m, m)).tocsr()
    link = link + link.T
    degree = np.asarray(link.sum(axis=1)).ravel()
    solver = splu((diags(1.0 + reach**2 * degree) - reach**2 * link).tocsc(), permc_spec="MMD_AT_PLUS_A")
    solve: Callable[[FloatArray], FloatArray] = solver.solve
    return solve


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
    energy: ShapeEnergy, values: FloatArray, normals: FloatArray, *, squareness: float, evenness: float
) -> tuple[FloatArray, FloatArray]:
    """Return (3 m, 3) targets of the quads' rows, and (m,) mean side lengths.

    Each quad's middle lines become the sides of the rectangle, facing as the surface does, that is
    nearest to it; so a folded quad unfolds. Its twist may keep its part along the normal.

    Parameters
    ----------
    energy : the rows.
    values : (r, 3) rows applied to the present positions.
    normals : (n, 3) surface normals at the vertices.
    squareness : 0 keeps each rectangle's aspect, 1 makes squares.
    evenness : 0 keeps each rectangle's size, 1 takes the average size round about.
    """
    m = len(energy.quads)
    u, v, twist = values[:m], values[m : 2 * m], values[2 * m : 3 * m]
    normal = unit(normals[energy.quads].sum(axis=1))
    u_flat, v_flat = _flatten(u, normal), _flatten(v, normal)
    a, b = np.linalg.norm(u_flat, axis=1), np.linalg.norm(v_flat, axis=1)
    mean = np.sqrt(np.maximum(a, 0.1 * b) * np.maximum(b, 0.1 * a))
    mean = np.maximum(mean, 1e-3 * max(float(mean.mean()), 1e-300))
    side_a = np.maximum(a, _LEAST_SIDE * mean)
    side_b = np.maximum(b, _LEAST_SIDE * mean)
    side_a, side_b = side_a * (mean / side_a) ** squareness, side_b * (mean / side_b) ** squareness
    logs = np.log(mean)
    grow = np.exp(np.clip(evenness * (energy.smooth_sizes(logs) - logs), -0.7, 0.7))
    side_a, side_b = side_a * grow, side_b * grow
    direction = unit(u_flat * side_a[:, None] - np.cross(normal, v_flat) * side_b[:, None])
    across = np.cross(normal, direction)
    bump = np.einsum("ij,ij->i", twist, normal)[:, None] * normal
    return np.vstack([direction * side_a[:, None], across * side_b[:, None], bump]), mean


def fairness_targets(energy: ShapeEnergy, values: FloatArray, normals: FloatArray, tangents: FloatArray) -> FloatArray:
    """Return (l + s, 3) targets of the fairness rows: the part of each that bending alone explains.

    That is the part along the normal; for lines along a curve, all but the part along its tangent.
    """
    m = len(energy.quads)
    bend = values[3 * m :]
    normal = normals[energy.row_center]
    target: FloatArray = np.einsum("ij,ij->i", bend, normal)[:, None] * normal
    line = energy.along_curve
    tangent = tangents[energy.row_center[line]]
    target[line] = bend[line] - np.einsum("ij,ij->i", bend[line], tangent)[:, None] * tangent
    return target


def _flatten(vectors: FloatArray, normal: FloatArray) -> FloatArray:
    flat: FloatArray = vectors - np.einsum("ij,ij->i", vectors, normal)[:, None] * normal
    return flat
