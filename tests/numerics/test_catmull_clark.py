"""Catmull-Clark operators against a reference library, closed forms and their own limits."""

from __future__ import annotations

from typing import Any

import lagrange
import numpy as np
import pytest
from scipy.spatial import cKDTree

from loopwright.errors import InternalError
from loopwright.numerics.catmull_clark import Sharpness, subdivide, unique_edges
from loopwright.numerics.limit_surface import limit_matrix, limit_normals, limit_tangent_matrices
from loopwright.types import FloatArray, IntArray


def cube() -> tuple[FloatArray, IntArray]:
    points = np.array([[x, y, z] for z in (-1.0, 1.0) for y in (-1.0, 1.0) for x in (-1.0, 1.0)])
    quads = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]]
    return points, np.array(quads, np.int32)


def fan(valence: int) -> tuple[FloatArray, IntArray]:
    """An open disc of quads round one inner vertex, refined twice, so that there are rims of every kind."""
    angle = 2 * np.pi * np.arange(2 * valence) / (2 * valence)
    radius = np.where(np.arange(2 * valence) % 2 == 0, 1.0, 1.3)
    ring = np.stack([radius * np.cos(angle), radius * np.sin(angle), 0.2 * np.cos(2 * angle)], axis=1)
    quads = [[0, 1 + 2 * k, 2 + 2 * k, 1 + (2 * k + 2) % (2 * valence)] for k in range(valence)]
    return np.vstack([[[0.0, 0.0, 0.3]], ring]), np.array(quads, np.int32)


def bumpy(points: FloatArray, seed: int = 3) -> FloatArray:
    return points + 0.1 * np.random.default_rng(seed).normal(size=points.shape)


def meshes() -> dict[str, tuple[FloatArray, IntArray]]:
    found = {f"fan{k}": fan(k) for k in (3, 4, 5, 6, 8)}
    found = {name: subdivide(*mesh, 1) for name, mesh in found.items()}
    found["cube"] = cube()
    found["cube2"] = subdivide(*cube(), 2)
    grid = np.arange(20).reshape(4, 5)
    corners = [grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1]]
    xy = np.stack(np.meshgrid(np.arange(5.0), np.arange(4.0)), axis=-1).reshape(-1, 2)
    quads = np.delete(np.stack(corners, axis=-1).reshape(-1, 4), 9, axis=0)  # a bay: rim vertices with three quads
    found["notched"] = (np.c_[xy, 0.1 * xy[:, 0] ** 2], quads.astype(np.int32))
    return {name: (bumpy(points), quads) for name, (points, quads) in found.items()}


MESHES = meshes()


def reference(
    points: FloatArray, quads: IntArray, levels: int, sharpness: Sharpness | None = None, **choices: Any
) -> Any:
    mesh = lagrange.SurfaceMesh()
    mesh.add_vertices(np.ascontiguousarray(points))
    mesh.add_quads(quads.astype(np.uint32))
    if sharpness is not None:
        mesh.initialize_edges()
        values = np.zeros(mesh.num_edges)
        wanted = {tuple(sorted(p)): v for p, v in zip(sharpness.edges.tolist(), sharpness.values.tolist(), strict=True)}
        for edge in range(mesh.num_edges):
            ends = tuple(sorted(int(v) for v in mesh.get_edge_vertices(edge)))
            values[edge] = min(wanted.get(ends, 0.0) / 10.0, 1.0)
        choices["edge_sharpness_attr"] = mesh.create_attribute(
            "sharpness",
            element=lagrange.AttributeElement.Edge,
            usage=lagrange.AttributeUsage.Scalar,
            initial_values=values,
        )
    return lagrange.subdivision.subdivide_mesh(mesh, num_levels=levels, **choices)


def same_points(ours: FloatArray, theirs: FloatArray, tolerance: float) -> None:
    assert len(ours) == len(theirs)
    distance, match = cKDTree(theirs).query(ours)
    assert distance.max() < tolerance
    assert len(np.unique(match)) == len(theirs)


@pytest.mark.parametrize("name", MESHES)
def test_two_levels_agree_with_reference_library(name: str) -> None:
    # Outside reference: lagrange.subdivision.subdivide_mesh.
    points, quads = MESHES[name]
    ours, faces = subdivide(points, quads, 2)
    theirs = reference(points, quads, 2)
    assert len(faces) == 16 * len(quads)
    same_points(ours, np.asarray(theirs.vertices), 1e-9)


@pytest.mark.parametrize("name", MESHES)
@pytest.mark.parametrize("seed", range(4))
def test_two_levels_with_random_creases_agree_with_reference_library(name: str, seed: int) -> None:
    # Outside reference: the same library; its attribute holds sharpness / 10. It averages the sharpness round a vertex
    # in single precision, so a mean over 3 or 5 edges is off by 1e-7 there; elsewhere we agree to 1e-15. That nothing
    # else differs is shown in test_exact_creases.py.
    points, quads = MESHES[name]
    rng = np.random.default_rng(seed)
    edges = unique_edges(quads)
    chosen = rng.random(len(edges)) < 0.4
    values = rng.choice([0.25, 0.5, 1.0, 1.25, 1.75, 2.0, 3.5, 10.0], int(chosen.sum()))
    ours, _ = subdivide(points, quads, 2, Sharpness(edges[chosen], values, np.zeros(0, np.int64)))
    theirs = reference(points, quads, 2, Sharpness(edges[chosen], values, np.zeros(0, np.int64)))
    same_points(ours, np.asarray(theirs.vertices), 1e-8)
    distance, _ = cKDTree(np.asarray(theirs.vertices)).query(ours)
    assert np.quantile(distance, 0.7) < 1e-12


@pytest.mark.parametrize("name", MESHES)
@pytest.mark.parametrize("seed", range(4))
def test_two_levels_with_mixed_creases_agree_where_single_precision_holds_the_means(name: str, seed: int) -> None:
    # Outside reference: the same library. Fifteenths of 1/256 have means over two to six edges that single precision
    # holds, in (0, 1] for what fades in the first level and in (1, 2] for what fades in the second; 3.5 outlasts both.
    points, quads = MESHES[name]
    rng = np.random.default_rng(100 + seed)
    edges = unique_edges(quads)
    chosen = rng.random(len(edges)) < 0.4
    count = int(chosen.sum())
    values = 60 / 1024 * rng.integers(1, 18, count).astype(np.float64) + rng.integers(0, 2, count)
    values[rng.random(count) < 0.2] = 3.5
    sharpness = Sharpness(edges[chosen], values, np.zeros(0, np.int64))
    ours, _ = subdivide(points, quads, 2, sharpness)
    theirs = np.asarray(reference(points, quads, 2, sharpness).vertices)
    same_points(ours, theirs, 1e-12)


@pytest.mark.parametrize("name", MESHES)
def test_limit_agrees_with_reference_library(name: str) -> None:
    # Outside reference: the same library with use_limit_surface at level 0 and its limit normals.
    points, quads = MESHES[name]
    theirs = reference(points, quads, 0, use_limit_surface=True, output_limit_normals="normal")
    ours = limit_matrix(quads, len(points)) @ points
    distance, match = cKDTree(np.asarray(theirs.vertices)).query(ours)
    assert distance.max() < 1e-9
    wanted = np.asarray(theirs.attribute("normal").data)[match]
    agreement = np.einsum("ij,ij->i", limit_normals(points, quads), wanted)
    # Where three quads or more meet at the rim, the library's tangents are those of other boundary rules than it
    # subdivides with, and change from level to level; ours do not (the next test).
    edges = unique_edges(quads)
    valence, faces = np.bincount(edges.ravel()), np.bincount(quads.ravel())
    usual = (valence == faces) | (faces <= 2)
    assert agreement[usual].min() > 1.0 - 1e-9
    assert agreement.min() > 0.99


@pytest.mark.parametrize("name", MESHES)
def test_limit_is_what_subdividing_tends_to(name: str) -> None:
    points, quads = MESHES[name]
    deep, faces = subdivide(points, quads, 5)
    count = len(points)
    # Exact: the limit of a refined net is the limit of the net.
    fine = limit_matrix(faces, len(deep))[:count] @ deep
    assert np.abs(fine - limit_matrix(quads, count) @ points).max() < 1e-12
    first, second = limit_tangent_matrices(faces, len(deep))
    normal = np.cross(first[:count] @ deep, second[:count] @ deep)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    assert np.einsum("ij,ij->i", normal, limit_normals(points, quads)).min() > 1.0 - 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_limit_with_creases_does_not_change_under_refinement(seed: int) -> None:
    points, quads = MESHES["cube2"]
    rng = np.random.default_rng(seed)
    edges = unique_edges(quads)
    chosen = rng.random(len(edges)) < 0.3
    values = rng.choice([0.3, 0.5, 1.0, 1.7, 2.0], int(chosen.sum()))
    sharp = Sharpness(edges[chosen], values, np.zeros(0, np.int64))
    deep, faces = subdivide(points, quads, 2, sharp)  # nothing is sharp any more
    fine = limit_matrix(faces, len(deep))[: len(points)] @ deep
    assert np.abs(fine - limit_matrix(quads, len(points), sharp) @ points).max() < 1e-12


@pytest.mark.parametrize("valence", range(3, 13))
def test_limit_weights_match_closed_form(valence: int) -> None:
    # Halstead, Kass, DeRose, SIGGRAPH 1993: (n^2 v + 4 sum e + sum f) / (n (n + 5)).
    points, quads = fan(valence)
    row = limit_matrix(quads, len(points))[0].toarray().ravel()
    total = valence * (valence + 5)
    assert np.isclose(row[0], valence**2 / total)
    assert np.allclose(row[1::2], 4 / total)
    assert np.allclose(row[2::2], 1 / total)


@pytest.mark.parametrize(
    ("valence", "eigenvalue"), [(3, 0.410097), (4, 0.5), (5, 0.549988), (6, 0.579682), (8, 0.611117)]
)
def test_tangents_shrink_by_the_published_eigenvalue(valence: int, eigenvalue: float) -> None:
    # (A_n + 4) / 16 (Halstead, Kass, DeRose 1993): one level later the same weights give eigenvalue times as much.
    points, quads = subdivide(*fan(valence), 2)
    points = bumpy(points)
    finer, faces = subdivide(points, quads, 1)
    for axis in range(2):
        now = np.linalg.norm((limit_tangent_matrices(quads, len(points))[axis] @ points)[0])
        later = np.linalg.norm((limit_tangent_matrices(faces, len(finer))[axis] @ finer)[0])
        assert later / now == pytest.approx(eigenvalue, abs=1e-6)


def test_cube_matches_closed_forms() -> None:
    # Recomputed independently: limit corner 0.5, edge point (0.609568, 0.609568, 0), face centre 68/81, and the
    # semi-sharp corner 1 - 2^-s / 2 for whole s, 0.5 + 0.25 s for s up to 1 (derived).
    points, quads = cube()
    assert np.allclose(np.abs(limit_matrix(quads, 8) @ points), 0.5)
    finer, faces = subdivide(points, quads, 1)
    limit = np.sort(np.abs(limit_matrix(faces, len(finer)) @ finer), axis=1)
    assert np.allclose(limit[8:20], [0.0, 0.609568, 0.609568], atol=1e-6)
    assert np.allclose(limit[20:], [0.0, 0.0, 68 / 81])
    edges = unique_edges(quads)
    for value, corner in ((0.25, 0.5625), (0.5, 0.625), (1.0, 0.75), (2.0, 0.875), (3.0, 0.9375)):
        sharp = Sharpness(edges, np.full(len(edges), value), np.zeros(0, np.int64))
        assert np.allclose(np.abs(limit_matrix(quads, 8, sharp) @ points), corner)


def test_parabola_is_lifted_by_a_third_of_the_squared_spacing() -> None:
    # z = x^2 with spacing h has the limit x^2 + h^2 / 3 (derived).
    h, n = 0.25, 9
    grid = np.arange(n * n).reshape(n, n)
    quads = np.stack([grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1]], axis=-1).reshape(-1, 4)
    x, y = (a.ravel() * h for a in np.meshgrid(np.arange(n), np.arange(n)))
    points = np.stack([x, y, x**2], axis=1)
    limit = limit_matrix(quads.astype(np.int32), n * n) @ points
    inner = (x > 0) & (x < h * (n - 1)) & (y > 0) & (y < h * (n - 1))
    assert np.allclose(limit[inner, 2], x[inner] ** 2 + h * h / 3)
    rim = (y == 0) & (x > 0) & (x < h * (n - 1))
    assert np.allclose(limit[rim, 2], x[rim] ** 2 + h * h / 3)  # the boundary curve (1, 4, 1) / 6 of the same net


def test_corners_and_endless_creases_keep_to_their_rules() -> None:
    points, quads = MESHES["notched"]
    kept = Sharpness(np.zeros((0, 2), np.int64), np.zeros(0), np.array([0, 4]))
    assert np.allclose((limit_matrix(quads, len(points), kept) @ points)[[0, 4]], points[[0, 4]])
    line = np.array([[8, 13], [13, 18], [3, 8]])
    crease = Sharpness(line, np.full(3, np.inf), np.zeros(0, np.int64))
    limit = limit_matrix(quads, len(points), crease) @ points
    assert np.allclose(limit[13], (points[8] + 4 * points[13] + points[18]) / 6)


def test_affine_maps_commute_with_the_limit() -> None:
    points, quads = MESHES["fan5"]
    turn = np.random.default_rng(0).normal(size=(3, 3))
    rows = limit_matrix(quads, len(points))
    assert np.allclose(rows @ (points @ turn + 7.0), (rows @ points) @ turn + 7.0)


def test_edges_of_three_quads_and_unknown_sharp_edges_are_refused() -> None:
    points, quads = cube()
    with pytest.raises(InternalError, match="share an edge"):
        subdivide(points, np.vstack([quads, quads[:1]]), 1)
    with pytest.raises(InternalError, match="no edge of the mesh"):
        subdivide(points, quads, 1, Sharpness(np.array([[0, 7]]), np.ones(1), np.zeros(0, np.int64)))
