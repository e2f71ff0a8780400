from __future__ import annotations

import time

import igl
import lagrange
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from loopwright.demo import DEMO_OPEN_COLOR, demo_region_pieces, demo_regions, make_creature
from loopwright.demo.polygonise_field import evaluate_field
from loopwright.demo.shape_creature import shape_creature
from loopwright.errors import Cancelled, InputError
from loopwright.types import IntArray, Sculpt

SMALL = 100_000


@pytest.fixture(scope="module")
def full_and_seconds() -> tuple[Sculpt, float]:
    """Return the sculpt in its usual size and the processor time that it took."""
    start = time.process_time()
    made = make_creature()
    return made, time.process_time() - start


@pytest.fixture(scope="module")
def full(full_and_seconds: tuple[Sculpt, float]) -> Sculpt:
    return full_and_seconds[0]


@pytest.fixture(scope="module")
def small() -> Sculpt:
    return make_creature(triangle_count=SMALL)


def labels_of(sculpt: Sculpt) -> IntArray:
    assert sculpt.colors is not None
    palette = np.array([region.color for region in demo_regions()], np.int64)
    hit = (sculpt.colors[:, None, :] == palette[None]).all(axis=2)
    assert (hit.sum(axis=1) == 1).all(), "a vertex has a colour that is no region's"
    labels: IntArray = hit.argmax(axis=1).astype(np.int32)
    return labels


def pieces_of(triangles: IntArray, count: int) -> list[IntArray]:
    """Return the vertex ids of each piece that hangs together through the triangles, largest first."""
    pairs = np.concatenate([triangles[:, :2], triangles[:, 1:]])
    graph = csr_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    piece = connected_components(graph, directed=False)[1]
    used = np.unique(triangles)
    groups = [used[piece[used] == k].astype(np.int32) for k in np.unique(piece[used])]
    return sorted(groups, key=len, reverse=True)


def region_pieces(sculpt: Sculpt, name: str) -> list[IntArray]:
    labels = labels_of(sculpt)
    index = [region.name for region in demo_regions()].index(name)
    inner = sculpt.triangles[(labels[sculpt.triangles] == index).all(axis=1)]
    return pieces_of(inner, len(labels))


def signed_volume(sculpt: Sculpt) -> float:
    """Return the volume by the divergence theorem: positive where triangles turn outwards."""
    a, b, c = (sculpt.positions[sculpt.triangles[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


@pytest.fixture(params=["small", "full"])
def sculpt(request: pytest.FixtureRequest) -> Sculpt:
    made = request.getfixturevalue(request.param)
    assert isinstance(made, Sculpt)
    return made


def test_has_the_wished_number_of_triangles(small: Sculpt, full: Sculpt) -> None:
    assert 400_000 <= len(full.triangles) <= 1.02 * 420_000
    assert SMALL <= len(small.triangles) <= 1.04 * SMALL


def test_is_one_closed_oriented_manifold_of_genus_zero(sculpt: Sculpt) -> None:
    triangles = sculpt.triangles
    # Reference: libigl's own checks.
    assert igl.is_edge_manifold(triangles.astype(np.int64))[0]
    assert igl.is_vertex_manifold(triangles.astype(np.int64)).all()
    count = len(sculpt.positions)
    directed = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]).astype(np.int64)
    key = np.sort(directed[:, 0] * count + directed[:, 1])
    back = np.sort(directed[:, 1] * count + directed[:, 0])
    assert (np.diff(key) > 0).all() and (key == back).all(), "every edge is run through once each way"
    assert len(pieces_of(triangles, count)) == 1
    assert len(np.unique(triangles)) == count
    # Euler: V - E + F = 2 on a closed surface of genus 0.
    assert count - len(key) // 2 + len(triangles) == 2
    assert signed_volume(sculpt) > 0.0


@pytest.mark.parametrize("triangle_count", [112_000, 130_000])
def test_genus_stays_zero_at_other_resolutions(triangle_count: int) -> None:
    made = make_creature(triangle_count=triangle_count)
    assert len(made.positions) - len(made.triangles) // 2 == 2


def test_does_not_pass_through_itself(small: Sculpt) -> None:
    mesh = lagrange.SurfaceMesh()
    mesh.add_vertices(np.ascontiguousarray(small.positions))
    mesh.add_triangles(small.triangles.astype(np.uint32))
    assert len(lagrange.bvh.compute_intersecting_pairs(mesh)) == 0


def test_triangles_are_even(sculpt: Sculpt) -> None:
    corners = sculpt.positions[sculpt.triangles]
    lengths = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2.0
    # 4 sqrt(3) area / (sum of squared edges): 1 for the equilateral triangle, 0 for a flat one (derived).
    quality = 4.0 * np.sqrt(3.0) * area / (lengths**2).sum(axis=1)
    assert quality.mean() > 0.9 and np.quantile(quality, 0.01) > 0.7 and quality.min() > 0.0
    assert lengths.max() < 3.0 * np.median(lengths)


def test_is_symmetric_but_a_little_off(small: Sculpt) -> None:
    picked = small.positions[:: max(1, len(small.positions) // 6000)] * np.array([-1.0, 1.0, 1.0])
    squared = igl.point_mesh_squared_distance(picked, small.positions, small.triangles.astype(np.int64))[0]
    distance = np.sqrt(squared)
    diagonal = float(np.linalg.norm(np.ptp(small.positions, axis=0)))
    assert distance.max() < 0.01 * diagonal
    assert 1e-4 * diagonal < np.sqrt((distance**2).mean()) < 4e-3 * diagonal


def test_is_rough_but_near_its_form(small: Sculpt) -> None:
    height = evaluate_field(shape_creature, small.positions)
    assert 0.004 < height.std() < 0.08


def test_every_region_is_there_in_its_pieces(sculpt: Sculpt) -> None:
    found = {name: len(region_pieces(sculpt, name)) for name in demo_region_pieces()}
    assert found == demo_region_pieces()


def test_rings_are_complete(sculpt: Sculpt) -> None:
    names = [region.name for region in demo_regions()]
    labels = labels_of(sculpt)
    ends = labels[sculpt.triangles[:, [0, 1, 1, 2, 2, 0]]].reshape(-1, 2)
    touching = {frozenset((names[a], names[b])) for a, b in np.unique(np.sort(ends, axis=1), axis=0) if a != b}
    neighbours = {n: {o for pair in touching if n in pair for o in pair - {n}} for n in names}
    # A ring is complete where what lies inside it touches nothing but the ring.
    assert neighbours["eyelid"] == {"open", "orbit"}
    assert neighbours["lips"] == {"open", "mouth_surround"}
    assert neighbours["open"] == {"eyelid", "lips", "neck"}
    assert {"open", "eyelid"} & neighbours["orbit"] == {"eyelid"}
    assert "open" not in neighbours["mouth_surround"]


def test_rings_are_wide_enough_for_rows_of_quads(small: Sculpt) -> None:
    names = [region.name for region in demo_regions()]
    labels = labels_of(small)

    def gap(first: IntArray, second: str) -> float:
        tree = cKDTree(small.positions[labels == names.index(second)])
        return float(tree.query(small.positions[first])[0].min())

    trim, *holes = region_pieces(small, "open")
    assert small.positions[trim, 1].max() < -10.0
    eyes = [hole for hole in holes if small.positions[hole, 1].mean() > -2.0]
    assert len(eyes) == 2
    for eye in eyes:
        size = float(np.linalg.norm(np.ptp(small.positions[eye], axis=0)))
        assert gap(eye, "orbit") > 0.08 * size
    (mouth,) = [hole for hole in holes if small.positions[hole, 1].mean() <= -2.0]
    assert gap(mouth, "mouth_surround") > 0.3
    for lid in region_pieces(small, "eyelid"):
        assert min(gap(lid, "forehead"), gap(lid, "cheek_and_jaw"), gap(lid, "nose")) > 0.25
    assert min(gap(piece, "cheek_and_jaw") for piece in region_pieces(small, "lips")) > 0.5


def test_colours_are_far_apart() -> None:
    colours = np.array([region.color for region in demo_regions()], float)
    apart = np.linalg.norm(colours[:, None] - colours[None], axis=2) + 1e3 * np.eye(len(colours))
    assert apart.min() > 60.0
    assert demo_regions()[0].name == "open" and demo_regions()[0].color == DEMO_OPEN_COLOR


def same_bytes(first: NDArray[np.generic] | None, second: NDArray[np.generic] | None) -> bool:
    return first is not None and second is not None and first.tobytes() == second.tobytes()


def test_same_seed_same_bytes_other_seed_other_skin(small: Sculpt) -> None:
    seen: list[float] = []
    again = make_creature(triangle_count=SMALL, progress=lambda stage, done: seen.append(done))
    assert seen == sorted(seen) and seen[0] == 0.0 and seen[-1] == 1.0
    assert same_bytes(again.positions, small.positions) and same_bytes(again.triangles, small.triangles)
    assert same_bytes(again.colors, small.colors)
    other = make_creature(triangle_count=SMALL, seed=11)
    assert not same_bytes(other.positions, small.positions) and not same_bytes(other.colors, small.colors)
    assert {n: len(region_pieces(other, n)) for n in demo_region_pieces()} == demo_region_pieces()


def test_positions_survive_a_file_of_single_precision(small: Sculpt) -> None:
    assert (small.positions.astype(np.float32) == small.positions).all()


def test_is_made_in_under_twenty_seconds_of_processor_time(full_and_seconds: tuple[Sculpt, float]) -> None:
    assert full_and_seconds[1] < 20.0


@pytest.mark.parametrize("triangle_count", [0, 99_999, 10**9])
def test_refuses_counts_out_of_range(triangle_count: int) -> None:
    with pytest.raises(InputError, match="triangle_count"):
        make_creature(triangle_count=triangle_count)


def test_stops_when_asked() -> None:
    def stop(stage: str, done: float) -> None:
        if done > 0.0:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        make_creature(triangle_count=SMALL, progress=stop)
