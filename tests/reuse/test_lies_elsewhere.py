"""Which sculpt a mesh lies on, by itself or by its limit surface."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.reuse.conftest import cube_sphere, lump, quad_mesh, split

from loopwright.reuse.lies_elsewhere import distance_off, lies_by_limit, tell_elsewhere
from loopwright.reuse.template import template_of_quads
from loopwright.surface.project import SurfaceProjector
from loopwright.types import QuadMesh


@pytest.fixture(scope="module")
def mesh() -> QuadMesh:
    directions, quads = cube_sphere(8)
    return quad_mesh(lump(directions), quads)


@pytest.fixture(scope="module")
def sculpt() -> SurfaceProjector:
    directions, quads = cube_sphere(32)
    return SurfaceProjector(lump(directions), split(quads))


def with_strays(mesh: QuadMesh) -> QuadMesh:
    """The mesh with as many vertices again, far away, that no quad uses."""
    n = len(mesh.positions)
    return replace(
        mesh,
        positions=np.vstack([mesh.positions, np.full((n, 3), 50.0)]),
        vertex_curve=np.append(mesh.vertex_curve, np.full(n, -1, np.int32)),
        is_fixed=np.append(mesh.is_fixed, np.zeros(n, bool)),
        on_mirror=np.append(mesh.on_mirror, np.zeros(n, bool)),
    )


def test_vertices_that_no_quad_uses_do_not_count(mesh: QuadMesh, sculpt: SurfaceProjector) -> None:
    assert distance_off(with_strays(mesh), sculpt) == distance_off(mesh, sculpt) < 0.01
    assert tell_elsewhere(with_strays(mesh), sculpt, "mesh.obj", "sculpt.ply") == []


def test_another_sculpts_mesh_is_told_by_its_vertices(mesh: QuadMesh, sculpt: SurfaceProjector) -> None:
    (finding,) = tell_elsewhere(replace(mesh, positions=1.3 * mesh.positions), sculpt, "mesh.obj", "sculpt.ply")
    assert "a tenth of its vertices lies" in finding.text


def test_the_nearer_of_mesh_and_limit_surface_is_found(mesh: QuadMesh, sculpt: SurfaceProjector) -> None:
    assert not lies_by_limit(mesh, sculpt)
    limit = template_of_quads(mesh.positions, mesh.quads).positions
    cage = mesh.positions + (mesh.positions - limit)  # its limit surface comes to lie near to where the mesh was
    assert lies_by_limit(replace(mesh, positions=cage), sculpt)
