from __future__ import annotations

import time

import igl
import lagrange
import numpy as np
import pytest
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from loopwright.demo import BODY_OPEN_COLOR, body_region_pieces, body_regions, make_body
from loopwright.errors import Cancelled, InputError
from loopwright.types import BoolArray, IntArray, Sculpt

SMALL = 110_000
NAMES = [region.name for region in body_regions()]
FINGERS = ("thumb", "index_finger", "middle_finger", "ring_finger", "little_finger")
# Each ring of a limb between the regions before and after it.
LIMBS = (
    ("shoulder", "upper_arm", "elbow", "forearm", "wrist"),
    ("pelvis", "thigh", "knee", "shin", "ankle", "foot", "toes"),
)


@pytest.fixture(scope="module")
def small() -> Sculpt:
    return make_body(triangle_count=SMALL)


def labels_of(sculpt: Sculpt) -> IntArray:
    assert sculpt.colors is not None
    palette = np.array([region.color for region in body_regions()], np.int64)
    hit = (sculpt.colors[:, None, :] == palette[None]).all(axis=2)
    assert (hit.sum(axis=1) == 1).all(), "a vertex has a colour that is no region's"
    labels: IntArray = hit.argmax(axis=1).astype(np.int32)
    return labels


def pieces_of(triangles: IntArray) -> list[IntArray]:
    """Return the triangles of each piece that hangs together."""
    size = int(triangles.max()) + 1
    pairs = np.concatenate([triangles[:, :2], triangles[:, 1:]])
    graph = csr_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(size, size))
    piece = connected_components(graph, directed=False)[1][triangles[:, 0]]
    return [triangles[piece == k] for k in np.unique(piece)]


def cut_out(sculpt: Sculpt, name: str) -> list[IntArray]:
    """Return the triangles of each piece of a region, those on its rim with it."""
    labels = labels_of(sculpt)
    chosen = (np.sort(labels[sculpt.triangles], axis=1)[:, 1] == NAMES.index(name)) & (
        labels[sculpt.triangles] == NAMES.index(name)
    ).any(axis=1)
    return pieces_of(sculpt.triangles[chosen])


def euler_of(triangles: IntArray) -> int:
    edges = np.unique(np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    return len(np.unique(triangles)) - len(edges) + len(triangles)


def neighbours_of(sculpt: Sculpt) -> dict[str, set[str]]:
    ends = labels_of(sculpt)[sculpt.triangles[:, [0, 1, 1, 2, 2, 0]]].reshape(-1, 2)
    touching = {(NAMES[a], NAMES[b]) for a, b in np.unique(ends, axis=0) if a != b}
    return {name: {b for a, b in touching if a == name} for name in NAMES}


def test_has_the_wished_number_of_triangles(small: Sculpt) -> None:
    assert SMALL <= len(small.triangles) <= 1.04 * SMALL


@pytest.mark.parametrize("triangle_count", [100_000, 140_000])
def test_is_one_closed_oriented_manifold_of_genus_zero(triangle_count: int) -> None:
    made = make_body(triangle_count=triangle_count)
    triangles = made.triangles.astype(np.int64)
    # Reference: libigl's own checks.
    assert igl.is_edge_manifold(triangles)[0]
    assert igl.is_vertex_manifold(triangles).all()
    assert len(pieces_of(made.triangles)) == 1
    # Euler: V - E + F = 2 on a closed surface of genus 0; fingers or legs that touch would raise the genus.
    assert euler_of(made.triangles) == 2
    a, b, c = (made.positions[triangles[:, k]] for k in range(3))
    # The divergence theorem: positive where triangles turn outwards.
    assert np.einsum("ij,ij->i", a, np.cross(b, c)).sum() > 0.0


def test_does_not_pass_through_itself(small: Sculpt) -> None:
    mesh = lagrange.SurfaceMesh()
    mesh.add_vertices(np.ascontiguousarray(small.positions))
    mesh.add_triangles(small.triangles.astype(np.uint32))
    assert len(lagrange.bvh.compute_intersecting_pairs(mesh)) == 0


def test_stands_on_the_ground_and_mirrors_itself_nearly(small: Sculpt) -> None:
    assert abs(small.positions[:, 1].min()) < 0.3
    mirrored = small.positions * [-1.0, 1.0, 1.0]
    closest = igl.point_mesh_squared_distance(mirrored, small.positions, small.triangles.astype(np.int64))[0]
    distance = np.sqrt(closest)
    diagonal = float(np.linalg.norm(np.ptp(small.positions, axis=0)))
    assert distance.max() < 0.01 * diagonal
    assert 1e-4 * diagonal < np.sqrt((distance**2).mean()) < 4e-3 * diagonal


def test_every_region_is_there_in_its_pieces(small: Sculpt) -> None:
    assert {name: len(cut_out(small, name)) for name in NAMES} == body_region_pieces()


def test_limbs_are_stacks_of_rings(small: Sculpt) -> None:
    near = neighbours_of(small)
    for limb in LIMBS:
        for before, ring, after in zip(limb, limb[1:], limb[2:], strict=False):
            assert near[ring] == {before, after}
            # Euler: 0 for a ring.
            assert [euler_of(piece) for piece in cut_out(small, ring)] == [0, 0]


def test_fingers_and_toes_are_caps_apart_from_each_other(small: Sculpt) -> None:
    near = neighbours_of(small)
    for name in FINGERS:
        assert near[name] == {"palm", "hand_back"}
    assert near["toes"] == {"foot"} and near["open"] == {"neck"}
    for name in (*FINGERS, "toes"):
        # Euler: 1 for a disc.
        assert [euler_of(piece) for piece in cut_out(small, name)] == [1, 1]


def test_fingers_are_wide_enough_and_spread(small: Sculpt) -> None:
    labels = labels_of(small)
    edge = float(np.linalg.norm(np.diff(small.positions[small.triangles[:, :2]], axis=1), axis=2).mean())
    for first, second in zip(FINGERS, FINGERS[1:], strict=False):
        a, b = (held_by(labels, name) for name in (first, second))
        assert cKDTree(small.positions[a]).query(small.positions[b])[0].min() > edge


def held_by(labels: IntArray, name: str) -> BoolArray:
    held: BoolArray = labels == NAMES.index(name)
    return held


def test_open_area_is_the_top_of_the_neck(small: Sculpt) -> None:
    assert NAMES[0] == "open" and body_regions()[0].color == BODY_OPEN_COLOR
    heights = small.positions[:, 1]
    is_open = held_by(labels_of(small), "open")
    assert heights[is_open].min() > heights[~is_open].max() - 3.0


def test_colours_are_far_apart() -> None:
    colours = np.array([region.color for region in body_regions()], float)
    apart = np.linalg.norm(colours[:, None] - colours[None], axis=2) + 1e3 * np.eye(len(colours))
    assert apart.min() > 55.0


def test_same_seed_same_bytes_other_seed_other_skin(small: Sculpt) -> None:
    seen: list[float] = []
    again = make_body(triangle_count=SMALL, progress=lambda stage, done: seen.append(done))
    assert seen == sorted(seen) and seen[0] == 0.0 and seen[-1] == 1.0
    assert again.positions.tobytes() == small.positions.tobytes()
    assert again.triangles.tobytes() == small.triangles.tobytes()
    assert again.colors is not None and small.colors is not None
    assert again.colors.tobytes() == small.colors.tobytes()
    other = make_body(triangle_count=SMALL, seed=5)
    assert other.positions.tobytes() != small.positions.tobytes()
    assert {name: len(cut_out(other, name)) for name in NAMES} == body_region_pieces()


def test_positions_survive_a_file_of_single_precision(small: Sculpt) -> None:
    assert (small.positions.astype(np.float32) == small.positions).all()


def test_is_made_in_under_twenty_seconds_of_processor_time() -> None:
    start = time.process_time()
    made = make_body()
    assert time.process_time() - start < 20.0
    assert 400_000 <= len(made.triangles) <= 1.02 * 400_000


@pytest.mark.parametrize("triangle_count", [0, 99_999, 10**9])
def test_refuses_counts_out_of_range(triangle_count: int) -> None:
    with pytest.raises(InputError, match="triangle_count"):
        make_body(triangle_count=triangle_count)


def test_stops_when_asked() -> None:
    def stop(stage: str, done: float) -> None:
        if done > 0.0:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        make_body(triangle_count=SMALL, progress=stop)
