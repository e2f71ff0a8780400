"""Lists of edits: replayed alike on both sides, at any order of vertices, or refused with a reason."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.spatial import cKDTree
from tests.edit.conftest import (
    PLANE,
    assert_mirrored,
    assert_sound,
    by_place,
    canonical,
    characteristic,
    cubed_sphere,
    grid,
    shuffled,
    torus,
)

from loopwright.edit.apply_edits import apply_edits
from loopwright.edit.edge_roles import border_edges
from loopwright.edit.mirror_halves import cut_in_half, join_halves
from loopwright.edit.move_pole import find_poles
from loopwright.edit.quad_links import link_quads
from loopwright.edit.run_edits import run_edits
from loopwright.edit.turn_disc import turn_disc
from loopwright.errors import InfeasibleError, MarksError
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.relax import relax
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Curve, QuadMesh, Region

Edit = dict[str, Any]
ON_SPHERE: list[Edit] = [
    {"op": "insert_loop", "near": [0.3, 0.9, 0.2], "along": [1, 0, 0]},
    {"op": "insert_loop", "near": [0.9, 0.1, 0.4], "across": [0, 1, 0]},
    {"op": "change_count", "near": [0.2, 0.3, -0.9], "across": [0, 1, 0], "by": 2},
    {"op": "turn", "near": [0.47, 0.34, -0.81]},
    {"op": "remove_loop", "near": [0.2, 0.95, 0.25], "along": [1, 0, 0]},
    {"op": "change_count", "near": [0.2, 0.3, -0.9], "across": [0, 1, 0], "by": -1},
    {"op": "split_region", "near": [0.128, 0.06, 0.98], "along": [1, 0, 0], "name": "brow"},
    {"op": "merge_regions", "regions": ["cap", "brow"]},
]


def poled_grid() -> QuadMesh:
    """Return a flat grid with two 3-5 pairs, made by turning one edge."""
    return apply_edits(grid(10, 10), [{"op": "turn", "near": [5.0, 5.5, 0.0], "steps": 1}])[0]


def valences(mesh: QuadMesh) -> list[int]:
    return sorted(link_quads(mesh.quads, len(mesh.positions)).valence[find_poles(mesh)].tolist())


@pytest.mark.parametrize("count", range(1, len(ON_SPHERE) + 1))
def test_a_mirrored_sphere_stays_mirrored_and_sound(count: int) -> None:
    mesh = cubed_sphere(6, mirror=True, cap=True)
    edited, findings = apply_edits(mesh, ON_SPHERE[:count])
    assert_mirrored(edited)
    assert_sound(edited, 2)
    assert len([f for f in findings if f.kind == "edited"]) == count
    assert {r.name for r in edited.regions} == ({"rest", "cap", "brow"} if count == 7 else {"rest", "cap"})


def test_the_other_side_means_the_same() -> None:
    mesh = cubed_sphere(6, mirror=True, cap=True)

    def turn(vector: list[float]) -> list[float]:
        return [-vector[0], *vector[1:]]

    there = [{k: turn(v) if k in ("near", "along", "across") else v for k, v in e.items()} for e in ON_SPHERE]
    for edit in there:
        if edit["op"] == "turn":
            edit["steps"] = -1
    here, _ = apply_edits(mesh, ON_SPHERE)
    other, _ = apply_edits(mesh, there)
    assert np.array_equal(here.quads, other.quads)
    assert np.array_equal(here.positions, other.positions)


def test_edits_are_plain_data_and_do_not_change_the_mesh() -> None:
    mesh = cubed_sphere(6, mirror=True, cap=True)
    positions, quads = mesh.positions.copy(), mesh.quads.copy()
    one, _ = apply_edits(mesh, ON_SPHERE)
    two, _ = apply_edits(mesh, json.loads(json.dumps(ON_SPHERE)))
    assert np.array_equal(one.quads, two.quads)
    assert np.array_equal(mesh.positions, positions)
    assert np.array_equal(mesh.quads, quads)
    assert apply_edits(mesh, []) == (mesh, [])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_order_of_vertices_and_quads_does_not_matter(seed: int) -> None:
    mesh = cubed_sphere(6, mirror=True, cap=True)
    assert by_place(apply_edits(mesh, ON_SPHERE)[0]) == by_place(apply_edits(shuffled(mesh, seed), ON_SPHERE)[0])


def test_edits_outlive_small_changes() -> None:
    mesh = cubed_sphere(6, mirror=True, cap=True)
    noise = np.random.default_rng(0).uniform(-0.01, 0.01, mesh.positions.shape)
    halves = cut_in_half(mesh)
    moved = halves.half.positions + noise[halves.kept] * (~halves.half.on_mirror)[:, None]
    shaken = join_halves(halves, replace(halves.half, positions=moved), None)
    one, two = apply_edits(mesh, ON_SPHERE)[0], apply_edits(shaken, ON_SPHERE)[0]
    assert canonical(one.quads) == canonical(two.quads)


def test_sides_with_shapes_of_their_own_keep_them() -> None:
    mesh = cubed_sphere(6, mirror=True, cap=True)
    bent = mesh.positions.copy()
    bent[:, 1] += 0.1 * np.maximum(bent[:, 0], 0.0) ** 2  # one side only
    edited, _ = apply_edits(replace(mesh, positions=bent), ON_SPHERE[:2])
    even, _ = apply_edits(mesh, ON_SPHERE[:2])
    assert np.array_equal(edited.quads, even.quads)
    links = cut_in_half(edited)
    assert not links.is_exact
    assert np.array_equal(links.half.quads, cut_in_half(even).half.quads)
    left = edited.positions[:, 0] < 0.0
    assert np.array_equal(edited.positions[left], even.positions[left])
    assert np.abs(edited.positions - even.positions).max() > 0.05


def test_a_half_and_its_whole_are_edited_alike() -> None:
    mesh = cubed_sphere(6, mirror=True)
    halves = cut_in_half(mesh)
    edited_half, _ = apply_edits(halves.half, ON_SPHERE[:4])
    edited, _ = apply_edits(mesh, ON_SPHERE[:4])
    assert np.array_equal(edited.quads[: len(edited_half.quads)], edited_half.quads)
    assert np.array_equal(edited.positions[: len(edited_half.positions)], edited_half.positions)


def test_inserting_then_removing_gives_back_the_mesh(any_mesh: QuadMesh) -> None:
    for place in any_mesh.positions[any_mesh.quads[::7]].mean(axis=1):
        for way in ([0.3, 0.9, 0.2], [0.8, -0.4, 0.5]):
            edit: Edit = {"near": place.tolist(), "along": way}
            fine, _ = apply_edits(any_mesh, [{"op": "insert_loop", **edit}])
            distance = cKDTree(any_mesh.positions).query(fine.positions)[0]
            new = np.flatnonzero(distance > 1e-9)
            nearest = fine.positions[new[np.linalg.norm(fine.positions[new] - place, axis=1).argmin()]]
            links = link_quads(fine.quads, len(fine.positions))
            on_loop = np.isin(links.edges, new).all(axis=1)
            middles = fine.positions[links.edges[on_loop]].mean(axis=1)
            spot = middles[np.linalg.norm(middles - nearest, axis=1).argmin()]
            back, _ = apply_edits(fine, [{"op": "remove_loop", "near": spot.tolist()}])
            assert by_place(back) == by_place(any_mesh)


def test_raising_then_lowering_gives_back_the_links() -> None:
    for mesh, place, way in (
        (torus(12, 7), [2.7, 0.0, 0.0], [0, 1, 0]),
        (cubed_sphere(6, mirror=True), [0.0, 0.1, 1.0], [0, 1, 0]),
    ):
        edit: Edit = {"op": "change_count", "near": place, "across": way}
        fine, _ = apply_edits(mesh, [{**edit, "by": 3}])
        back, _ = apply_edits(fine, [{**edit, "by": -3}])
        assert valences(back) == valences(mesh)
        assert len(back.quads) == len(mesh.quads)
        tally = [np.sort(np.bincount(link_quads(m.quads, len(m.positions)).strips.of_edge)) for m in (mesh, back)]
        assert np.array_equal(tally[0], tally[1])


def test_a_hexagon_is_parted_in_three_ways() -> None:
    mesh = grid(10, 10)
    seen = [canonical(mesh.quads)]
    for steps in (1, 2, 3):
        turned, _ = apply_edits(mesh, [{"op": "turn", "near": [5.0, 5.5, 0.0], "steps": steps}])
        assert_sound(turned, 1)
        seen.append(canonical(turned.quads))
    assert seen[3] == seen[0]
    assert len({str(s) for s in seen}) == 3
    # Turning moves one edge from two ends to two others: 4, 4, 4, 4 becomes 3, 3, 5, 5.
    assert valences(poled_grid()) == [3, 3, 5, 5]


@pytest.mark.parametrize("what", ["pole", "pair"])
@pytest.mark.parametrize("steps", [1, 2, 3])
def test_turning_back_gives_back_the_links(what: str, steps: int) -> None:
    # A corner of a cubed sphere has three edges and regular neighbours; each pole of the grid has a partner.
    mesh = poled_grid() if what == "pair" else replace(cubed_sphere(6), mirror=None)
    pole = mesh.positions[find_poles(mesh)[0]].tolist()
    edit: Edit = {"op": "turn", "near": pole, "what": what}
    turned, _ = apply_edits(mesh, [{**edit, "steps": steps}])
    assert_sound(turned, characteristic(mesh))
    disc = np.flatnonzero((mesh.quads != turned.quads).any(axis=1))
    assert len(disc) >= 3
    back = turn_disc(turned, disc, -steps).mesh
    assert canonical(back.quads) == canonical(mesh.quads)


@pytest.mark.parametrize("which", range(4))
def test_a_pair_of_poles_moves_by_one_row_and_back(which: int) -> None:
    mesh = poled_grid()
    links = link_quads(mesh.quads, len(mesh.positions))
    pole = int(find_poles(mesh)[which])
    moved_some = False
    for toward in ([1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]):
        edit: Edit = {"op": "move_pole", "near": mesh.positions[pole].tolist(), "toward": toward, "how": "pair"}
        try:
            moved, _ = apply_edits(mesh, [edit])
        except InfeasibleError:
            continue
        moved_some = True
        assert_sound(moved, 1)
        assert valences(moved) == valences(mesh)
        assert pole not in find_poles(moved)
        gone = np.setdiff1d(find_poles(moved), find_poles(mesh))
        assert len(gone) == 2
        after = link_quads(moved.quads, len(moved.positions))
        new = gone[after.valence[gone] == links.valence[pole]]
        new = new[np.argsort(-(moved.positions[new] - mesh.positions[pole]) @ np.array(toward))]
        step = moved.positions[new[0]] - mesh.positions[pole]
        assert step @ np.array(toward) > 0.0
        assert np.linalg.norm(step) < 2.5  # rows are one apart
        back: Edit = {"op": "move_pole", "near": moved.positions[new[0]].tolist(), "toward": (-step).tolist()}
        again, _ = apply_edits(moved, [{**back, "how": "pair"}])
        assert canonical(again.quads) == canonical(mesh.quads)
    assert moved_some


def test_a_lone_pole_moves_by_shifting_rows() -> None:
    mesh = cubed_sphere(6, mirror=True)
    corner = (np.ones(3) / np.sqrt(3)).tolist()
    edit: Edit = {"op": "move_pole", "near": corner, "toward": [0, 0, -1], "how": "rows"}
    moved, _ = apply_edits(mesh, [edit])
    assert_mirrored(moved)
    assert_sound(moved, 2)
    assert valences(moved) == [3] * 8
    heights = np.sort(moved.positions[find_poles(moved), 2])
    assert np.allclose(heights[:4], -1 / np.sqrt(3))
    # The upper poles now stand where the row below stood.
    row = np.unique(np.round(mesh.positions[np.isclose(mesh.positions[:, 0], mesh.positions[:, 1]), 2], 9))
    assert np.allclose(heights[4:], row[row < 1 / np.sqrt(3) - 1e-6].max())
    with pytest.raises(InfeasibleError, match="no partner"):
        apply_edits(mesh, [{**edit, "how": "pair"}])


def test_a_fixed_pole_is_not_moved_by_shifting_rows() -> None:
    mesh = cubed_sphere(6, mirror=True)
    corner = np.ones(3) / np.sqrt(3)
    fixed = np.linalg.norm(mesh.positions - corner, axis=1) < 1e-6
    assert fixed.sum() == 1
    edit: Edit = {"op": "move_pole", "near": corner.tolist(), "toward": [0, 0, -1], "how": "rows"}
    with pytest.raises(InfeasibleError, match="lies where borders meet"):
        apply_edits(replace(mesh, is_fixed=mesh.is_fixed | fixed), [edit])


def test_split_and_merged_regions() -> None:
    mesh = cubed_sphere(6, mirror=True, cap=True)
    split, _ = apply_edits(mesh, ON_SPHERE[6:7])
    share = np.bincount(split.quad_region)
    assert share.sum() == len(mesh.quads)
    assert share[1] + share[2] == 36
    links = link_quads(split.quads, len(split.positions))
    border = np.unique(links.edges[border_edges(split, links)])
    assert np.array_equal(np.flatnonzero(split.vertex_curve >= 0), border)
    assert int(split.is_fixed.sum()) == 2  # where the new border meets the old one
    merged, _ = apply_edits(split, [{"op": "merge_regions", "regions": ["cap", "brow"]}])
    assert np.bincount(merged.quad_region).tolist() == np.bincount(mesh.quad_region).tolist()
    assert np.array_equal(merged.vertex_curve >= 0, merged.vertex_curve == 0)
    assert int((merged.vertex_curve >= 0).sum()) == 24
    bare, _ = apply_edits(mesh, [{"op": "merge_regions", "regions": ["rest", "cap"], "name": "all"}])
    assert [r.name for r in bare.regions] == ["all"]
    assert (bare.vertex_curve < 0).all()


def test_new_vertices_are_put_on_the_sculpt() -> None:
    fine = cubed_sphere(24)
    triangles = np.vstack([fine.quads[:, :3], fine.quads[:, [0, 2, 3]]])
    projector = SurfaceProjector(fine.positions, triangles)
    mesh = cubed_sphere(6, mirror=True, cap=True)
    edited, _ = apply_edits(mesh, ON_SPHERE[:3], projector)
    assert_mirrored(edited)
    free = edited.vertex_curve < 0
    # The facets of the sculpt sag by at most h^2 / 8 for edges of length h, here 0.1.
    assert np.abs(np.linalg.norm(edited.positions[free], axis=1) - 1.0).max() < 0.1**2 / 4
    plain, _ = apply_edits(mesh, ON_SPHERE[:3])
    assert np.array_equal(plain.quads, edited.quads)
    assert np.abs(np.linalg.norm(plain.positions, axis=1) - 1.0).max() > 0.01


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        ({"op": "grow", "near": [0, 0, 0]}, "must be one of"),
        ({"op": "insert_loop"}, "needs near"),
        ({"op": "insert_loop", "near": [0, 0]}, "three finite numbers"),
        ({"op": "insert_loop", "near": [0, 0, float("nan")]}, "three finite numbers"),
        ({"op": "insert_loop", "near": [0, 0, True]}, "three finite numbers"),
        ({"op": "insert_loop", "near": [0, 0, 1], "along": [0, 0, 0]}, "must not be zero"),
        ({"op": "insert_loop", "near": [0, 0, 1], "along": [1, 0, 0], "across": [1, 0, 0]}, "not both"),
        ({"op": "insert_loop", "near": [0, 0, 1], "by": 2}, "by means nothing here"),
        ({"op": "change_count", "near": [0, 0, 1], "by": 0}, "whole number"),
        ({"op": "change_count", "near": [0, 0, 1], "by": 1.5}, "whole number"),
        ({"op": "turn", "near": [0, 0, 1], "what": "face"}, "must be one of"),
        ({"op": "merge_regions", "regions": ["cap", "tail"]}, 'no region "tail"'),
        ({"op": "merge_regions", "regions": ["cap"]}, "at least two"),
        ({"op": "split_region", "near": [0.1, 0, 1], "name": "cap"}, "taken"),
        ({"op": "split_region", "near": [0.1, 0, 1], "name": "brow", "color": [1, 2, 300]}, "0 to 255"),
    ],
)
def test_edits_that_make_no_sense_are_named(edit: Edit, message: str) -> None:
    mesh = cubed_sphere(6, mirror=True, cap=True)
    with pytest.raises(MarksError, match=message) as caught:
        apply_edits(mesh, [ON_SPHERE[0], edit])
    assert str(caught.value).startswith("edit 2") or "edit 2" in str(caught.value)


def test_edits_that_cannot_be_done_say_where_and_why() -> None:
    mesh = cubed_sphere(6, mirror=True, cap=True)
    with pytest.raises(InfeasibleError, match=r"edit 1 \(turn\): .*border"):
        apply_edits(mesh, [{"op": "turn", "near": [0.7, 0.13, 0.7]}])
    with pytest.raises(InfeasibleError, match="edge loop there ends at a pole"):
        apply_edits(cubed_sphere(3), [{"op": "split_region", "near": [0.58, 0.58, 0.5], "name": "x"}])
    with pytest.raises(
        InfeasibleError, match=r"lowered by 9, but by \d at most \(the lowest by possible there is -\d\)"
    ):
        apply_edits(grid(4, 4), [{"op": "change_count", "near": [1.5, 0, 0], "across": [1, 0, 0], "by": -9}])


def test_a_count_is_lowered_as_far_as_no_face_turns_off_the_surface() -> None:
    """The lowest count that the refusal names can be had, one less cannot, and what is had still covers the ball."""
    mesh = cubed_sphere(8)
    edit: Edit = {"op": "change_count", "near": [0.1, 0.05, 1.0], "across": [1, 0, 0]}
    with pytest.raises(InfeasibleError, match=r"lowest by possible there is -\d+") as caught:
        apply_edits(mesh, [{**edit, "by": -40}])
    least = int(re.search(r"possible there is (-\d+)", str(caught.value)).group(1))  # type: ignore[union-attr]
    lower, findings = apply_edits(mesh, [{**edit, "by": least}])
    assert_sound(lower, 2)
    assert "near (0.1, 0.05, 1)" in findings[0].text
    with pytest.raises(InfeasibleError):
        apply_edits(mesh, [{**edit, "by": least - 1}])


def test_a_held_place_outlives_the_junction_that_it_was_on() -> None:
    """Three regions meet in a held vertex; merged, nothing else binds it: it stays, or the edits are refused."""
    mesh = grid(6, 6)
    centre = int(np.linalg.norm(mesh.positions - [3.0, 3.0, 0.0], axis=1).argmin())
    middle = mesh.positions[mesh.quads].mean(axis=1)
    region = np.where(middle[:, 0] < 3, 0, np.where(middle[:, 1] < 3, 1, 2)).astype(np.int32)
    names = tuple(Region(name, (9 * k, 80, 200)) for k, name in enumerate("abc"))
    fixed = mesh.is_fixed.copy()
    fixed[centre] = True
    mesh = replace(mesh, quad_region=region, regions=names, is_fixed=fixed)
    flat = SurfaceProjector(mesh.positions, np.concatenate([mesh.quads[:, :3], mesh.quads[:, [0, 2, 3]]]))
    merge: Edit = {"op": "merge_regions", "regions": ["a", "b", "c"]}
    free, _ = run_edits(mesh, [merge], flat)
    assert not free.is_fixed[centre]
    kept, _ = run_edits(mesh, [merge], flat, held=[centre])
    assert kept.is_fixed[centre] and (kept.positions[centre] == mesh.positions[centre]).all()
    loop: Edit = {"op": "remove_loop", "near": [3.0, 2.5, 0.0], "along": [0, 1, 0]}
    other: Edit = {"op": "insert_loop", "near": [1.5, 0.5, 0.0], "along": [0, 1, 0]}
    for edits, number in (([merge, loop], 2), ([merge, other, loop], 3), ([merge, loop, other], 2)):
        with pytest.raises(InfeasibleError) as caught:
            run_edits(mesh, edits, flat, held=[0, centre], names=["corner", "chin"])
        text = rf"edit {number} \(remove_loop\) takes away the vertex of chin, held at \(3\.0, 3\.0, 0\.0\): drop"
        assert re.match(text, str(caught.value))
        assert caught.value.about == "points" and caught.value.places[0] == "chin"
    with pytest.raises(InfeasibleError, match=r"takes away the vertex of a place held at \(3\.0, 3\.0, 0\.0\)"):
        run_edits(mesh, [merge, loop], flat, held=[centre])


def test_regions_that_no_border_joins_are_not_merged() -> None:
    mesh = grid(6, 6)
    column = np.floor(mesh.positions[mesh.quads].mean(axis=1)[:, 0] / 1.5).astype(np.int32)
    names = tuple(Region(name, (9 * k, 80, 200)) for k, name in enumerate("abcd"))
    striped = replace(mesh, quad_region=column, regions=names)  # a touches b, b touches c, c touches d
    with pytest.raises(InfeasibleError, match=r"edit 1 \(merge_regions\): The regions a and d do not touch") as caught:
        apply_edits(striped, [{"op": "merge_regions", "regions": ["a", "b", "d"]}])
    assert caught.value.places == ("a", "d") and "d touches c." in str(caught.value)
    merged, _ = apply_edits(striped, [{"op": "merge_regions", "regions": ["a", "d", "c", "b"]}])
    assert [region.name for region in merged.regions] == ["a"]


def test_a_corner_in_common_is_no_border() -> None:
    mesh = grid(4, 4)
    middle = mesh.positions[mesh.quads].mean(axis=1)
    quarter = (2 * (middle[:, 0] > 2) + (middle[:, 1] > 2)).astype(np.int32)
    names = tuple(Region(name, (9 * k, 80, 200)) for k, name in enumerate("abcd"))
    quarters = replace(mesh, quad_region=quarter, regions=names)
    with pytest.raises(InfeasibleError, match="The regions a and d do not touch.*d touches b, c"):
        apply_edits(quarters, [{"op": "merge_regions", "regions": ["a", "d"]}])


def test_sides_that_are_not_linked_alike_are_refused() -> None:
    mesh = cubed_sphere(6, mirror=True)
    free = replace(mesh, mirror=None)
    uneven, _ = apply_edits(free, [{"op": "turn", "near": [0.4, 0.3, -0.8]}])
    with pytest.raises(MarksError, match="not linked alike"):
        apply_edits(replace(uneven, mirror=PLANE), ON_SPHERE[:1])


def test_characteristic_of_a_torus_is_kept() -> None:
    mesh = torus(12, 7)
    edits: list[Edit] = [
        {"op": "insert_loop", "near": [2.7, 0, 0], "along": [0, 1, 0]},
        {"op": "turn", "near": [0, 2.7, 0]},
        {"op": "remove_loop", "near": [-2.7, 0, 0], "along": [0, 0, 1]},
    ]
    edited, _ = apply_edits(mesh, edits)
    assert characteristic(mesh) == 0
    assert_sound(edited, 0)


def test_neighbours_are_not_put_on_one_point() -> None:
    # The middle of an edge from a fixed end to a vertex far beyond the curve's end: both would land on that end.
    mesh = grid(4, 3)
    row = np.arange(5) * 4
    flat = SurfaceProjector(
        np.array([[-9.0, -9, 0], [9, -9, 0], [9, 9, 0], [-9, 9, 0]]), np.array([[0, 1, 2], [0, 2, 3]])
    )
    curve = Curve(np.array([[3.6, 0.0, 0.0], [4.0, 0.0, 0.0]]), False)
    bound = replace(
        mesh,
        vertex_curve=np.where(np.isin(np.arange(20), row), 0, -1).astype(np.int32),
        curves=(curve,),
        is_fixed=np.isin(np.arange(20), row[[0, -1]]),
    )
    edit: Edit = {"op": "change_count", "near": [1.5, 0, 0], "across": [1, 0, 0], "by": 2}
    edited, _ = apply_edits(bound, [edit], flat)
    assert_sound(edited, 1)


def test_a_moved_pole_that_leaves_poorer_quads_is_told_with_both_figures() -> None:
    raw = poled_grid()
    mesh = relax(raw, SurfaceProjector(raw.positions, np.concatenate([raw.quads[:, :3], raw.quads[:, [0, 2, 3]]])))
    least = float(measure_quality(mesh.positions, mesh.quads).scaled_jacobian.min())
    assert least > 0.7
    told = []
    for pole in find_poles(mesh).tolist():
        for toward in ([1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]):
            edit: Edit = {"op": "move_pole", "near": mesh.positions[pole].tolist(), "toward": toward, "how": "rows"}
            moved, findings = apply_edits(mesh, [edit])
            quality = measure_quality(moved.positions, moved.quads).scaled_jacobian
            poorer = [finding for finding in findings if finding.kind == "edited_poor"]
            told.append(bool(poorer))
            assert told[-1] == (quality.min() < 0.5)  # below that of a rhombus with angles of 30 degrees
            for finding in poorer:
                figures = f"the least scaled Jacobian of the quads from {least:.2f} to {quality.min():.2f}, near "
                assert finding.text.startswith(f"Edit 1 (move_pole) takes {figures}")
                assert finding.data == {"before": least, "after": float(quality.min())}
                assert quality[finding.elements[0]] == quality.min()
    assert any(told) and not all(told)
    assert "edited_poor" not in {f.kind for f in apply_edits(mesh, [{"op": "insert_loop", "near": [0, 0, 0]}])[1]}
