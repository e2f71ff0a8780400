"""A mesh whose sides are linked alike but have shapes of their own is edited on both, and each keeps its shape."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.edit.conftest import assert_sound, canonical, cubed_sphere, grid, shuffled, torus

from loopwright.edit.apply_edits import apply_edits
from loopwright.edit.edit_file_mesh import edit_file_mesh, ready_file_mesh
from loopwright.edit.lighten import lighten
from loopwright.edit.mirror_by_links import mirror_by_links
from loopwright.edit.mirror_halves import cut_in_half
from loopwright.errors import InfeasibleError
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
    bare = replace(mesh, on_mirror=np.zeros(len(mesh.positions), bool), mirror=None)
    found = mirror_by_links(bare, (0,))
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
    edited, told = edit_file_mesh(mesh, edits)
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
    edited, _ = edit_file_mesh(own_sides(), [{**LOOP, "near": [0.0, 0.1, 1.0]}], sculpt)
    assert len(edited.positions) > len(own_sides().positions)
    gap = np.linalg.norm(sculpt.project(edited.positions).points - edited.positions, axis=1)
    assert gap.max() < 0.01
    fitted, told = edit_file_mesh(own_sides(), [LOOP], sculpt, fit=True)
    assert_sound(fitted, 2)
    assert fitted.mirror is not None and cut_in_half(fitted).has_own_sides
    assert "own_sides" in [finding.kind for finding in told]


def test_lighter_versions_keep_their_vertices() -> None:
    mesh = ready_file_mesh(own_sides())
    light, origin = lighten(mesh, ratio=0.6)
    np.testing.assert_array_equal(light.positions, mesh.positions[origin])
    assert len(light.quads) < len(mesh.quads)


def test_sides_that_are_linked_otherwise_have_no_mirror() -> None:
    mesh = own_sides()
    ready = ready_file_mesh(mesh, "none")
    assert ready.mirror is None
    one_side, _ = apply_edits(ready, [{"op": "turn", "what": "pole", "near": [0.6, 0.6, 0.6]}])
    assert mirror_by_links(one_side, (0,)) is None
    with pytest.raises(InfeasibleError, match="not mirrored across x"):
        ready_file_mesh(one_side, "x")


@pytest.mark.parametrize("mesh", [grid(5, 4), torus(12, 6)], ids=["rows across the middle", "torus"])
def test_images_that_lie_elsewhere_are_none(mesh: QuadMesh) -> None:
    """The grid has no edges along its middle; the torus is linked alike about any of its loops, but lies off most."""
    far = replace(mesh, positions=mesh.positions + [0.0, 0.0, 2.0 * mesh.positions[:, 0].max()] * mesh.positions[:, :1])
    assert mirror_by_links(far, (0,)) is None
