"""Meshes by property: grids, cubed spheres, tori; whole, halved, painted, with a pair of poles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from loopwright.edit.quad_links import link_quads
from loopwright.types import Curve, FloatArray, MirrorPlane, QuadMesh, Region

REGIONS = (Region("rest", (200, 120, 40)), Region("cap", (40, 120, 200)))
PLANE = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)


def bare(positions: FloatArray, quads: NDArray[np.integer], mirror: MirrorPlane | None = None) -> QuadMesh:
    count = len(positions)
    return QuadMesh(
        np.ascontiguousarray(positions, np.float64),
        np.ascontiguousarray(quads, np.int32),
        np.zeros(len(quads), np.int32),
        REGIONS[:1],
        np.full(count, -1, np.int32),
        (),
        np.zeros(count, bool),
        np.abs(positions[:, 0]) < 1e-12 if mirror is not None else np.zeros(count, bool),
        mirror,
    )


def grid(columns: int, rows: int, *, left: float = 0.0) -> QuadMesh:
    x, y = np.meshgrid(left + np.arange(columns + 1.0), np.arange(rows + 1.0), indexing="ij")
    positions = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    ids = np.arange(x.size).reshape(x.shape)
    quads = np.stack([ids[:-1, :-1], ids[1:, :-1], ids[1:, 1:], ids[:-1, 1:]], axis=-1).reshape(-1, 4)
    return bare(positions, quads)


def torus(long: int, short: int) -> QuadMesh:
    u, v = np.meshgrid(np.arange(long), np.arange(short), indexing="ij")
    a, b = 2 * np.pi * u.ravel() / long, 2 * np.pi * v.ravel() / short
    ring = 2.0 + 0.7 * np.cos(b)
    positions = np.stack([ring * np.cos(a), ring * np.sin(a), 0.7 * np.sin(b)], axis=1)
    ids = np.arange(long * short).reshape(long, short)
    right, up = np.roll(ids, -1, axis=0), np.roll(ids, -1, axis=1)
    both = np.roll(right, -1, axis=1)
    return bare(positions, np.stack([ids, right, both, up], axis=-1).reshape(-1, 4))


def cubed_sphere(number: int, *, mirror: bool = False, cap: bool = False) -> QuadMesh:
    """Return a unit sphere of 6 number^2 quads; with a cap, the face around +z is a region of its own."""
    flat = grid(number, number)
    uv = 2.0 * flat.positions[:, :2] / number - 1.0
    uv = np.tan(uv * np.pi / 4)
    faces: list[FloatArray] = []
    quads: list[NDArray[np.integer]] = []
    for axis in range(3):
        for sign in (1.0, -1.0):
            p = np.empty((len(uv), 3))
            p[:, axis], p[:, (axis + 1) % 3], p[:, (axis + 2) % 3] = sign, uv[:, 0], uv[:, 1]
            quads.append((flat.quads if sign > 0 else flat.quads[:, ::-1]) + len(uv) * len(faces))
            faces.append(p)
    points = np.vstack(faces)
    _, first, group = np.unique(np.round(points, 9), axis=0, return_index=True, return_inverse=True)
    points = points[first]
    points[np.abs(points) < 1e-12] = 0.0
    points = points / np.linalg.norm(points, axis=1, keepdims=True)
    points = np.round(points, 14)  # so that both halves are equal to the bit
    mesh = bare(points, group.ravel()[np.vstack(quads)], PLANE if mirror else None)
    return _paint_cap(mesh) if cap else mesh


def _paint_cap(mesh: QuadMesh) -> QuadMesh:
    centre = mesh.positions[mesh.quads].mean(axis=1)
    is_cap = (centre[:, 2] > np.abs(centre[:, 0])) & (centre[:, 2] > np.abs(centre[:, 1]))
    p = mesh.positions
    on_ring = np.isclose(p[:, 2], np.maximum(np.abs(p[:, 0]), np.abs(p[:, 1])))
    ring = p[on_ring]
    ring = ring[np.argsort(np.arctan2(ring[:, 1], ring[:, 0]))]
    return replace(
        mesh,
        quad_region=is_cap.astype(np.int32),
        regions=REGIONS,
        vertex_curve=np.where(on_ring, 0, -1).astype(np.int32),
        curves=(Curve(np.ascontiguousarray(ring), True),),
    )


def canonical(quads: NDArray[np.integer]) -> list[tuple[int, ...]]:
    """Return quads in an order that does not depend on how they are stored."""
    first = quads.argmin(axis=1)
    rolled = quads[np.arange(len(quads))[:, None], (first[:, None] + np.arange(4)) % 4]
    return sorted(map(tuple, rolled.tolist()))


def by_place(mesh: QuadMesh) -> list[tuple[int, ...]]:
    """Return the quads by the rank of their corners' positions."""
    _, rank = np.unique(np.round(mesh.positions, 7) + 0.0, axis=0, return_inverse=True)
    assert len(np.unique(rank)) == len(mesh.positions), "two vertices in one place"
    return canonical(rank.ravel()[mesh.quads])


def shuffled(mesh: QuadMesh, seed: int) -> QuadMesh:
    rng = np.random.default_rng(seed)
    order = rng.permutation(len(mesh.positions))
    rank = np.argsort(order)
    quad_order = rng.permutation(len(mesh.quads))
    quads = rank[mesh.quads][quad_order].astype(np.int32)
    return replace(
        mesh,
        positions=mesh.positions[order],
        quads=np.ascontiguousarray(np.roll(quads, seed % 4, axis=1)),
        quad_region=mesh.quad_region[quad_order],
        vertex_curve=mesh.vertex_curve[order],
        is_fixed=mesh.is_fixed[order],
        on_mirror=mesh.on_mirror[order],
    )


def characteristic(mesh: QuadMesh) -> int:
    links = link_quads(mesh.quads, len(mesh.positions))
    return int(np.count_nonzero(links.valence)) - len(links.edges) + len(mesh.quads)


def index_sum(mesh: QuadMesh) -> int:
    """Return the sum of 4 - valence inside and 3 - valence on the boundary."""
    links = link_quads(mesh.quads, len(mesh.positions))
    return int((np.where(links.is_boundary, 3, 4) - links.valence).sum())


def assert_sound(mesh: QuadMesh, chi: int) -> None:
    """Hold a mesh to Euler's formula and to what follows from it; link_quads itself refuses non-manifold edges."""
    links = link_quads(mesh.quads, len(mesh.positions))
    assert (links.valence > 0).all(), "no loose vertices"
    assert links.valence[~links.is_boundary].min() >= 3
    assert characteristic(mesh) == chi
    # From V - E + F = chi and 4 F = 2 E - B: the indices sum to four times chi.
    assert index_sum(mesh) == 4 * chi
    edge = np.linalg.norm(np.diff(mesh.positions[links.edges], axis=1), axis=2)
    assert edge.min() > 0.0


def assert_mirrored(mesh: QuadMesh) -> None:
    """The image of every quad is a quad, to the bit for the plane x = 0."""
    image = mesh.positions * np.array([-1.0, 1.0, 1.0]) + 0.0
    place = {tuple(p): i for i, p in enumerate((mesh.positions + 0.0).tolist())}
    of = np.array([place[tuple(p)] for p in image.tolist()])
    assert canonical(of[mesh.quads][:, ::-1].astype(np.int32)) == canonical(mesh.quads)
    assert np.array_equal(mesh.on_mirror, mesh.positions[:, 0] == 0.0)


Maker = Callable[..., QuadMesh]


@pytest.fixture(params=["grid", "torus", "sphere", "capped sphere", "mirrored sphere"])
def any_mesh(request: pytest.FixtureRequest) -> QuadMesh:
    """Serve one mesh of each kind."""
    return {
        "grid": lambda: grid(7, 5),
        "torus": lambda: torus(12, 7),
        "sphere": lambda: cubed_sphere(4),
        "capped sphere": lambda: cubed_sphere(6, cap=True),
        "mirrored sphere": lambda: cubed_sphere(6, mirror=True, cap=True),
    }[request.param]()
