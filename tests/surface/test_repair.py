"""Check and repair: whatever comes in, an oriented manifold or one clear error comes out, and all is told."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.errors import InputError
from loopwright.surface.check import check_sculpt
from loopwright.surface.repair import repair_sculpt
from loopwright.surface.repair_work import RepairOptions
from loopwright.surface.weld import weld_exact
from loopwright.types import ByteArray, Finding, FloatArray, IntArray, Sculpt


def make(mesh: trimesh.Trimesh, colors: ByteArray | None = None) -> Sculpt:
    return Sculpt(np.array(mesh.vertices, np.float64), np.array(mesh.faces, np.int32), colors, "made")


def ball(subdivisions: int = 3, radius: float = 1.0, center: tuple[float, float, float] = (0, 0, 0)) -> Sculpt:
    sphere = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    sphere.apply_translation(center)
    return make(sphere)


def join(*sculpts: Sculpt) -> Sculpt:
    starts = np.cumsum([0, *(len(s.positions) for s in sculpts)])
    triangles = [s.triangles + np.int32(start) for s, start in zip(sculpts, starts[:-1], strict=True)]
    return Sculpt(np.concatenate([s.positions for s in sculpts]), np.concatenate(triangles).astype(np.int32))


def with_triangles(sculpt: Sculpt, triangles: object) -> Sculpt:
    return Sculpt(sculpt.positions, np.ascontiguousarray(triangles, np.int32), sculpt.colors, sculpt.name)


def kinds(findings: list[Finding]) -> dict[str, int]:
    return {finding.kind: finding.count for finding in findings}


def assert_oriented_manifold(sculpt: Sculpt) -> None:
    """Check by brute force: every directed edge once, one fan round every vertex, no vertex unused."""
    triangles = sculpt.triangles.tolist()
    directed = [(t[k], t[(k + 1) % 3]) for t in triangles for k in range(3)]
    assert len(set(directed)) == len(directed)
    links: dict[int, dict[int, int]] = defaultdict(dict)
    for t in triangles:
        assert len(set(t)) == 3
        for k in range(3):
            links[t[k]][t[(k + 1) % 3]] = t[(k + 2) % 3]
    for link in links.values():
        fronts = set(link) - set(link.values())
        assert len(fronts) <= 1
        first = at = next(iter(fronts or link))
        for _ in range(len(link)):
            at = link[at]
        assert at == first if not fronts else at not in link
        steps, at = 0, first
        while at in link and (steps == 0 or at != first):
            at, steps = link[at], steps + 1
        assert steps == len(link)
    assert sorted(links) == list(range(len(sculpt.positions)))


def volume(sculpt: Sculpt) -> float:
    a, b, c = (sculpt.positions[sculpt.triangles[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def moebius(segments: int = 40) -> Sculpt:
    angle = np.arange(segments) * 2 * np.pi / segments
    sides = []
    for s in (-0.3, 0.3):
        reach = 1 + s * np.cos(angle / 2)
        sides.append(np.stack([reach * np.cos(angle), reach * np.sin(angle), s * np.sin(angle / 2)], axis=1))
    a = np.arange(segments) * 2
    b, c, d = a + 1, np.append(a[1:], 1), np.append(a[1:] + 1, 0)
    triangles = np.concatenate([np.stack([a, c, b], axis=1), np.stack([b, c, d], axis=1)])
    return Sculpt(np.stack(sides, axis=1).reshape(-1, 3), triangles.astype(np.int32))


RING = make(trimesh.creation.torus(2.0, 0.5, major_sections=24, minor_sections=12))


@pytest.mark.parametrize("sculpt", [ball(), RING], ids=["ball", "ring"])
def test_a_sound_sculpt_passes_unchanged(sculpt: Sculpt) -> None:
    repaired, findings = repair_sculpt(sculpt)
    assert repaired is sculpt and findings == [] and check_sculpt(sculpt) == []


def test_a_soup_of_triangles_is_welded() -> None:
    source = RING
    soup = Sculpt(source.positions[source.triangles].reshape(-1, 3), np.arange(source.triangles.size, dtype=np.int32)
                  .reshape(-1, 3))  # fmt: skip
    repaired, findings = repair_sculpt(soup)
    assert kinds(findings) == {"duplicate_vertex": source.triangles.size - len(source.positions)}
    assert_oriented_manifold(repaired)
    assert len(repaired.positions) - len(repaired.triangles) / 2 == 0  # Euler: V - E + F of a ring, with 2 E = 3 F


def test_colors_follow_their_vertices() -> None:
    source = ball(2)
    colors = np.random.default_rng(0).integers(0, 256, source.positions.shape, dtype=np.uint8)
    order = source.triangles.ravel()
    soup = Sculpt(source.positions[order], np.arange(len(order), dtype=np.int32).reshape(-1, 3), colors[order])
    repaired, _ = repair_sculpt(soup)
    assert repaired.colors is not None
    lookup = {tuple(p): tuple(c) for p, c in zip(source.positions.tolist(), colors.tolist(), strict=True)}
    found = zip(repaired.positions.tolist(), repaired.colors.tolist(), strict=True)
    assert all(lookup[tuple(p)] == tuple(c) for p, c in found)


@pytest.mark.parametrize("share", [0.0, 0.05, 0.4, 0.6, 1.0])
def test_orientation_is_made_to_agree_and_to_face_outward(share: float) -> None:
    source = RING
    triangles = source.triangles.copy()
    turned = np.random.default_rng(3).random(len(triangles)) < share
    triangles[turned] = triangles[turned][:, ::-1]
    repaired, findings = repair_sculpt(with_triangles(source, triangles))
    assert_oriented_manifold(repaired)
    assert volume(repaired) > 0
    np.testing.assert_array_equal(np.sort(repaired.triangles, axis=1), np.sort(source.triangles, axis=1))
    said = kinds(findings)
    assert ("inward_orientation" in said) == (share > 0.5)
    if 0 < share < 1:
        assert said["mixed_orientation"] == min(turned.sum(), (~turned).sum())


def test_an_open_bowl_faces_outward_and_a_flat_sheet_stays() -> None:
    source = ball()
    bowl = source.triangles[(source.positions[source.triangles][:, :, 2] < 0.3).all(axis=1)]
    repaired, findings = repair_sculpt(with_triangles(source, bowl[:, ::-1]))
    assert kinds(findings).keys() == {"inward_orientation", "hole", "unused_vertex"}
    assert volume(repaired) > 0
    sheet = Sculpt(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]), np.array([[0, 2, 1], [0, 3, 2]], np.int32))
    assert repair_sculpt(sheet)[0] is sheet


def test_holes_are_told_with_their_rims() -> None:
    source = ball()
    is_gone = np.zeros(len(source.triangles), np.bool_)
    is_gone[[5, 600]] = True
    findings = check_sculpt(with_triangles(source, source.triangles[~is_gone]))
    assert kinds(findings) == {"hole": 2}
    corners = source.positions[source.triangles[[5, 600]]]
    rims = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).sum(axis=1)
    assert all(f"{rim:.4g} (3 edges)" in findings[0].text for rim in rims)
    assert set(findings[0].elements) == set(source.triangles[[5, 600]].ravel())


def test_double_broken_and_unused() -> None:
    source = ball()
    extra = np.vstack([source.triangles[:7], source.triangles[7:10, ::-1], [[1, 1, 2], [4, 5, 4]]])
    dirty = Sculpt(np.vstack([source.positions, [[9.0, 9, 9]]]), np.vstack([source.triangles, extra]).astype(np.int32))
    repaired, findings = repair_sculpt(dirty)
    assert kinds(findings) == {"degenerate_face": 2, "duplicate_face": 10, "unused_vertex": 1}
    np.testing.assert_array_equal(repaired.triangles, source.triangles)
    np.testing.assert_array_equal(repaired.positions, source.positions)


def test_both_sides_of_every_triangle() -> None:
    source = ball()
    repaired, _ = repair_sculpt(with_triangles(source, np.vstack([source.triangles[:, ::-1], source.triangles])))
    assert len(repaired.triangles) == len(source.triangles) and volume(repaired) > 0
    assert_oriented_manifold(repaired)


def test_stray_bits_go_and_eyeballs_stay() -> None:
    head, eyes = ball(4), [ball(2, 0.12, (x, 0.5, 1.5)) for x in (-0.4, 0.4)]
    crumbs = [ball(1, 0.01, (2.0 + k, 0, 0)) for k in range(3)]
    repaired, findings = repair_sculpt(join(crumbs[0], head, crumbs[1], *eyes, crumbs[2]))
    assert kinds(findings) == {"stray_piece": 3, "piece": 3}
    assert len(repaired.triangles) == len(head.triangles) + 2 * len(eyes[0].triangles)
    kept, _ = repair_sculpt(join(head, crumbs[0]), RepairOptions(stray_share=0.0))
    assert len(kept.triangles) == len(head.triangles) + len(crumbs[0].triangles)


def test_a_fin_is_cut_off() -> None:
    source = ball()
    a, b, _ = source.triangles[0]
    tip = len(source.positions)
    fin = Sculpt(np.vstack([source.positions, source.positions[a] * 1.3]),
                 np.vstack([source.triangles, [[a, b, tip]]]).astype(np.int32))  # fmt: skip
    repaired, findings = repair_sculpt(fin)
    assert kinds(findings) == {"non_manifold_edge": 1, "fin": 1}
    np.testing.assert_array_equal(repaired.triangles, source.triangles)


def test_a_membrane_leaves_the_outside_whole() -> None:
    angle = np.arange(32) * 2 * np.pi / 32
    rim = np.stack([np.cos(angle), np.sin(angle), np.zeros(32)], axis=1)
    fan = np.array([[k, (k + 1) % 32, 32] for k in range(32)], np.int32)
    source, lower, wall = (Sculpt(np.vstack([rim, [[0.0, 0, z]]]), fan) for z in (1.0, -1.0, 0.0))
    repaired, findings = repair_sculpt(join(source, lower, wall))
    assert_oriented_manifold(repaired)
    said = kinds(findings)
    assert said["non_manifold_edge"] == len(rim) and said["piece"] == 2 and said["hole"] == 1
    assert repair_sculpt(repaired)[0] is repaired


def test_two_balls_that_share_a_vertex_or_an_edge_become_two() -> None:
    one = ball(2)
    for shared in (1, 2):
        corners = one.triangles[0][:shared]
        other = with_triangles(Sculpt(one.positions * -1 + 2 * one.positions[corners].mean(axis=0), one.triangles),
                               one.triangles[:, ::-1])  # fmt: skip
        both = join(one, other)
        triangles = both.triangles.copy()
        partners = corners if shared == 1 else corners[::-1]
        for mine, theirs in zip(corners, partners, strict=True):
            triangles[triangles == theirs + len(one.positions)] = mine
        repaired, findings = repair_sculpt(with_triangles(both, triangles))
        assert_oriented_manifold(repaired)
        said = kinds(findings)
        assert said["non_manifold_vertex"] == shared and said["piece"] == 2
        assert said.get("non_manifold_edge", 0) == shared - 1
        assert len(repaired.triangles) == 2 * len(one.triangles) and volume(repaired) > 0


def test_balls_that_only_touch_are_left_alone() -> None:
    one = ball(2)
    top = one.positions[np.argmax(one.positions[:, 2])]
    both = join(one, Sculpt(one.positions * -1 + 2 * top, one.triangles[:, ::-1].copy()))
    repaired, findings = repair_sculpt(both)
    assert repaired is both and kinds(findings) == {"piece": 2}


def test_a_flat_triangle_on_an_edge_is_mended_without_a_hole() -> None:
    source = ball()
    a, b, c = source.triangles[0]
    middle = len(source.positions)
    positions = np.vstack([source.positions, 0.5 * (source.positions[a] + source.positions[b])])
    triangles = np.vstack([source.triangles[1:], [[middle, b, c], [a, middle, c], [a, b, middle]]])
    repaired, findings = repair_sculpt(Sculpt(positions, triangles.astype(np.int32)))
    assert kinds(findings) == {"sliver_face": 1}
    assert_oriented_manifold(repaired)
    assert volume(repaired) == pytest.approx(volume(source))
    assert check_sculpt(repaired) == []


def test_positions_that_are_no_numbers_go_with_their_triangles() -> None:
    source = ball()
    positions = source.positions.copy()
    positions[100, 1] = np.nan
    repaired, findings = repair_sculpt(Sculpt(positions, source.triangles))
    assert kinds(findings) == {"not_finite": 1, "hole": 1}
    assert_oriented_manifold(repaired)


def test_one_sided_surfaces_are_refused() -> None:
    with pytest.raises(InputError, match="one-sided"):
        repair_sculpt(moebius())
    with pytest.raises(InputError, match="one-sided"):
        check_sculpt(moebius())


@pytest.mark.parametrize(
    ("triangles", "said"),
    [
        ([[0, 1, 99]], "vertex 99"),
        ([[0, 1, -1]], "vertex -1"),
        (np.zeros((0, 3)), "no faces"),
        ([[0, 0, 1]], "no sound"),
    ],
)
def test_nothing_to_mend(triangles: object, said: str) -> None:
    sculpt = with_triangles(ball(0), triangles)
    with pytest.raises(InputError, match=said):
        repair_sculpt(sculpt)


def test_the_input_is_never_changed() -> None:
    source = ball()
    triangles = source.triangles.copy()
    triangles[::3] = triangles[::3, ::-1]
    dirty = with_triangles(source, np.vstack([triangles, triangles[:5]]))
    before = (dirty.positions.copy(), dirty.triangles.copy())
    for array in (dirty.positions, dirty.triangles):
        array.setflags(write=False)
    repair_sculpt(dirty)
    np.testing.assert_array_equal(dirty.positions, before[0])
    np.testing.assert_array_equal(dirty.triangles, before[1])


@settings(max_examples=200, deadline=None)
@given(st.integers(4, 12).flatmap(lambda n: st.lists(st.tuples(*[st.integers(0, n - 1)] * 3), min_size=1, max_size=50)),
       st.integers(0, 2**32 - 1))  # fmt: skip
def test_any_tangle_becomes_an_oriented_manifold(triangles: list[tuple[int, int, int]], seed: int) -> None:
    count = max(max(t) for t in triangles) + 1
    positions = np.random.default_rng(seed).integers(-2, 3, (count, 3)).astype(np.float64)
    sculpt = Sculpt(positions, np.array(triangles, np.int32))
    try:
        repaired, findings = repair_sculpt(sculpt)
    except InputError:
        return
    assert_oriented_manifold(repaired)
    assert repaired.triangles.dtype == np.int32
    assert all(f.count > 0 and f.text.endswith(".") for f in findings)
    again = repair_sculpt(sculpt)[0]
    assert again.triangles.tobytes() == repaired.triangles.tobytes()


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(*[st.sampled_from([0.0, -0.0, 1.0, 0.1, -1e-300])] * 3), min_size=1, max_size=40))
def test_welding_agrees_with_a_dictionary(points: list[tuple[float, float, float]]) -> None:
    array: FloatArray = np.array(points, np.float64)
    kept, group = weld_exact(array)
    seen: dict[tuple[float, float, float], int] = {}
    expected = [seen.setdefault(point, len(seen)) for point in points]  # 0.0 == -0.0 in a dictionary too
    assert group.tolist() == expected
    first: IntArray = np.array([expected.index(k) for k in range(len(seen))], np.int32)
    assert kept.tolist() == first.tolist()
