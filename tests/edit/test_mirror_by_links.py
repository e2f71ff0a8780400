"""A mesh whose sides are linked alike but have shapes of their own is edited on both, and each keeps its shape."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import cKDTree
from tests.edit.conftest import assert_sound, bare, canonical, cubed_sphere, shuffled

from loopwright.edit.apply_edits import apply_edits
from loopwright.edit.edit_file_mesh import edit_file_mesh, ready_file_mesh
from loopwright.edit.mirror_by_links import mirror_by_links
from loopwright.edit.mirror_halves import cut_in_half
from loopwright.edit.quad_links import link_quads
from loopwright.errors import MarksError
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, QuadMesh

NUMBER = 12
TURN = 0.2  # radians that the far side is turned by about the axis: more than a row
LOOP = {"op": "insert_loop", "near": [0.55, 0.1, 0.8], "along": [1, 0, 0]}


def bend(points: FloatArray) -> FloatArray:
    """Turn the side below x = 0 about x, the more the further out, and wave the edges in which the sides meet."""
    x, y, z = points.T
    angle = TURN * np.clip(-x / 0.3, 0.0, 1.0)
    turned = np.stack([x, np.cos(angle) * y - np.sin(angle) * z, np.sin(angle) * y + np.cos(angle) * z], axis=1)
    turned[:, 0] += 0.05 * np.sin(3.0 * y) * (1.0 - np.abs(x))
    return turned


def own_sides() -> QuadMesh:
    even = cubed_sphere(NUMBER)
    return replace(even, positions=bend(even.positions))


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_the_mirror_is_found_in_any_order_of_vertices(seed: int) -> None:
    even = cubed_sphere(NUMBER, mirror=True)
    mesh = shuffled(replace(even, positions=bend(even.positions)), seed)
    unknown = replace(mesh, on_mirror=np.zeros(len(mesh.positions), bool), mirror=None)
    found = mirror_by_links(unknown, (0,))
    assert found is not None and found.mirror is not None
    np.testing.assert_array_equal(found.on_mirror, mesh.on_mirror)  # as it was before it was bent
    assert found.mirror.normal.tolist() == [1.0, 0.0, 0.0] and found.mirror.offset == 0.0
    halves = cut_in_half(found)
    assert halves.has_own_sides and not halves.is_flat


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_both_sides_are_edited_and_keep_their_shapes(side: float) -> None:
    mesh = own_sides()
    near = bend(np.array([[side * 0.55, 0.1, 0.8]]))[0]
    edits = [{**LOOP, "near": near.tolist()}]
    edited, told = edit_file_mesh(mesh, edits, mirror="x")
    even, _ = apply_edits(cubed_sphere(NUMBER, mirror=True), [LOOP])
    assert_sound(edited, 2)
    assert canonical(edited.quads) == canonical(even.quads)  # the row under the place, on either side
    assert [finding.kind for finding in told] == ["own_sides", "edited"]
    kept = {tuple(point) for point in np.round(mesh.positions, 9).tolist()}
    assert kept <= {tuple(point) for point in np.round(edited.positions, 9).tolist()}  # nothing old has moved


def test_new_vertices_lie_on_the_sculpt_between_the_halves_too() -> None:
    fine = cubed_sphere(40)
    triangles = np.vstack([fine.quads[:, [0, 1, 2]], fine.quads[:, [0, 2, 3]]])
    sculpt = SurfaceProjector(bend(fine.positions), np.ascontiguousarray(triangles))
    edited, _ = edit_file_mesh(own_sides(), [{**LOOP, "near": [0.0, 0.1, 1.0]}], sculpt, mirror="x")
    assert len(edited.positions) > len(own_sides().positions)
    gap = np.linalg.norm(sculpt.project(edited.positions).points - edited.positions, axis=1)
    assert gap.max() < 0.01
    fitted, told = edit_file_mesh(own_sides(), [LOOP], sculpt, mirror="x", fit=True)
    assert_sound(fitted, 2)
    assert fitted.mirror is not None and fitted.mirror.normal[0] == 1.0 and cut_in_half(fitted).has_own_sides
    assert "own_sides" in [finding.kind for finding in told]
    unedited, told = edit_file_mesh(own_sides(), [], sculpt, mirror="x", fit=True)
    assert len(unedited.quads) == len(own_sides().quads) and told == []


@pytest.mark.parametrize("thickness", [0.2, 0.05])
def test_new_vertices_of_thin_forms_stay_on_their_face(thickness: float) -> None:
    """A leaf whose far half is lifted by several times its thickness."""

    def leaf(number: int) -> FloatArray:
        points = cubed_sphere(number).positions * [1.0, 1.0, 0.5 * thickness]
        beyond = np.clip(-points[:, 0], 0.0, 1.0)[:, None]
        return points + beyond * [0.0, 0.05, 0.3]

    fine = cubed_sphere(48)
    triangles = np.vstack([fine.quads[:, [0, 1, 2]], fine.quads[:, [0, 2, 3]]])
    sculpt = SurfaceProjector(leaf(48), np.ascontiguousarray(triangles))
    mesh = replace(cubed_sphere(8), positions=leaf(8))
    edits = [{"op": "insert_loop", "near": [0.5, 0.0, 0.45 * thickness], "along": [1, 0, 0]}]
    bare, _ = edit_file_mesh(mesh, edits, mirror="x")
    placed, _ = edit_file_mesh(mesh, edits, sculpt, mirror="x")
    np.testing.assert_array_equal(bare.quads, placed.quads)
    moved = np.linalg.norm(bare.positions - placed.positions, axis=1)
    assert 0.0 < moved.max() < 0.15 * thickness  # the other face is the whole thickness away


@pytest.mark.parametrize("by", [0.02, 0.1])
@pytest.mark.parametrize("number", [8, 40])
def test_the_sides_may_meet_beside_the_middle(number: int, by: float) -> None:
    mesh = cubed_sphere(number)
    x = mesh.positions[:, 0]
    beside = mesh.positions + np.stack([by * (1.0 - np.abs(x)), 0.02 * np.maximum(x, 0.0) ** 2, 0.0 * x], axis=1)
    found = mirror_by_links(replace(mesh, positions=beside), (0,))
    assert found is not None
    np.testing.assert_array_equal(found.on_mirror, np.abs(x) < 1e-9)


@pytest.mark.parametrize("turn", [0.9, 1.5])
def test_a_place_on_the_far_side_means_the_edge_that_is_there(turn: float) -> None:
    """Both ends are drawn out into arms, and the far one is turned by up to a quarter about its own axis."""
    mesh = cubed_sphere(16)
    x, y, z = (mesh.positions * np.where(np.abs(mesh.positions[:, :1]) > 0.5, [3.0, 1.0, 1.0], 1.0)).T
    angle = turn * np.clip((-x - 0.4) / 1.5, 0.0, 1.0)
    y, z = np.cos(angle) * y - np.sin(angle) * z, np.sin(angle) * y + np.cos(angle) * z
    own = replace(mesh, positions=np.stack([x, y, z], axis=1))
    turned = replace(own, positions=own.positions * [-1.0, 1.0, 1.0], quads=own.quads[:, ::-1])
    ready, mirrored = ready_file_mesh(own, "x"), ready_file_mesh(turned, "x")
    links = link_quads(ready.quads, len(ready.positions))
    ends = ready.positions[links.edges]
    asked = np.flatnonzero(ends[:, :, 0].max(axis=1) < -1.8)[::12]
    assert len(asked) > 12
    for edge in asked.tolist():
        near, across = ends[edge].mean(axis=0), ends[edge, 1] - ends[edge, 0]
        for way in (None, across):
            edits = [edit_at(near, way), edit_at(near * [-1.0, 1.0, 1.0], None if way is None else way * [-1, 1, 1])]
            edited, other = apply_edits(ready, edits[:1])[0], apply_edits(mirrored, edits[1:])[0]
            gap = cKDTree(other.positions * [-1.0, 1.0, 1.0]).query(edited.positions)[0]
            assert len(edited.positions) == len(other.positions) and gap.max() < 1e-9  # as if it lay on the first side


def edit_at(near: FloatArray, across: FloatArray | None) -> dict[str, object]:
    way = {} if across is None else {"across": across.tolist()}
    return {"op": "insert_loop", "near": near.tolist(), **way}


def test_eyes_and_the_like_may_be_off_their_images() -> None:
    body = own_sides()
    eye = cubed_sphere(4)
    count, small = len(body.positions), 0.1 * eye.positions
    places = [small + [0.2, 1.2, 0.8], small + [-0.21, 1.22, 0.78], 0.5 * small + [0.06, 1.2, 0.0]]
    places.append(0.5 * small + [-0.06, 1.2, 0.0])  # a pair beside the middle
    quads = [eye.quads + count + k * len(small) for k in range(4)]
    whole = bare(np.vstack([body.positions, *places]), np.vstack([body.quads, *quads]))
    found = mirror_by_links(whole, (0,))
    assert found is not None and not found.on_mirror[count:].any()
    alone = bare(np.vstack([body.positions, places[0]]), np.vstack([body.quads, quads[0]]))
    assert mirror_by_links(alone, (0,)) is None


def test_places_are_told_where_they_are() -> None:
    mesh = ready_file_mesh(own_sides(), "x")
    pole = bend(np.full((1, 3), 3**-0.5) * [-1.0, 1.0, 1.0])[0]
    turned, told = apply_edits(mesh, [{"op": "turn", "what": "pole", "near": pole.tolist()}])
    assert "({:.4g}, {:.4g}, {:.4g})".format(*pole) in told[0].text
    with pytest.raises(MarksError, match=r"its place \(-3, 1, 1\)"):
        apply_edits(mesh, [{"op": "turn", "what": "pole", "near": [-3.0, 1.0, 1.0]}])


def test_a_form_that_leans_has_no_sides() -> None:
    """The rows of a leaning tube are linked alike across any plane along it; it takes more to call those its sides."""
    angle, height = np.meshgrid(np.arange(12) / 12 * 2 * np.pi, np.linspace(-1.0, 1.0, 9), indexing="ij")
    points = np.stack([0.3 * np.cos(angle) + 0.3 * height, height, 0.3 * np.sin(angle)], axis=-1).reshape(-1, 3)
    ids = np.arange(12 * 9).reshape(12, 9)
    after = np.roll(ids, -1, axis=0)
    quads = np.stack([ids[:, :-1], ids[:, 1:], after[:, 1:], after[:, :-1]], axis=-1).reshape(-1, 4)
    tube = bare(points, quads)
    found = ready_file_mesh(tube)
    assert found.mirror is not None and found.mirror.normal[2] == 1.0  # across which it does not lean
    both = replace(tube, positions=points + [[0.0, 0.0, 0.3]] * points[:, 1:2])
    assert ready_file_mesh(both).mirror is None


@pytest.mark.parametrize("wish", ["auto", "y"])
def test_the_plane_across_which_the_sides_are_least_apart_is_taken(wish: str) -> None:
    """A ball is linked alike across all three; a dent makes it differ much across x, less across z, least across y."""
    mesh = cubed_sphere(NUMBER)
    x, y, z = mesh.positions.T
    dent = mesh.positions * (1.0 - 0.2 * np.clip(x, 0, 1) ** 2 - 0.1 * np.clip(z, 0, 1) ** 2)[:, None]
    dent += 0.002 * np.clip(y, 0, 1)[:, None]
    found = ready_file_mesh(replace(mesh, positions=dent), wish)
    assert found.mirror is not None and found.mirror.normal.tolist() == [0.0, 1.0, 0.0]
