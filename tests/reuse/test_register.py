"""Registration with the true places known."""

from __future__ import annotations

import numpy as np
from tests.reuse.conftest import LIGHT, grid_quads, split, warp

from loopwright.numerics.limit_surface import limit_matrix
from loopwright.reuse.register import register
from loopwright.reuse.rim_curves import match_rims
from loopwright.reuse.template import follow_limit, mixtures, template_of_quads, template_of_triangles, trace_rims
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Curve, QuadMesh


def test_a_surface_registers_with_itself_at_once(lump_sculpt: SurfaceProjector) -> None:
    """Zero, in the words of the field: nothing has to move, so nothing does."""
    template = template_of_triangles(lump_sculpt.positions, lump_sculpt.triangles)
    found = register(template, lump_sculpt, options=LIGHT)
    assert np.abs(found.moved - lump_sculpt.positions).max() <= 1e-7 * lump_sculpt.diagonal
    assert found.surface_rms <= 1e-9 * lump_sculpt.diagonal
    assert found.uncovered == 0


def test_the_surface_is_reached_and_places_are_kept(lump_mesh: QuadMesh, warped_sculpt: SurfaceProjector) -> None:
    template = template_of_quads(lump_mesh.positions, lump_mesh.quads)
    truth = warp(template.positions)
    led = np.arange(0, len(truth), 60)
    other = np.setdiff1d(np.arange(len(truth)), led)
    assert np.linalg.norm(truth - template.positions, axis=1).max() > 0.03 * warped_sculpt.diagonal
    found = register(template, warped_sculpt, marks=template.positions[led], goals=truth[led])
    off = np.linalg.norm(found.moved - truth, axis=1) / warped_sculpt.diagonal
    assert found.landmark_distances.max() <= 0.003 * warped_sculpt.diagonal
    assert np.sqrt((off[other] ** 2).mean()) <= 0.006  # most of the lump has no feature to lead
    assert found.surface_rms <= 1.5e-3 * warped_sculpt.diagonal


def test_close_shapes_need_no_landmarks(lump_mesh: QuadMesh, warped_sculpt: SurfaceProjector) -> None:
    template = template_of_quads(lump_mesh.positions, lump_mesh.quads)
    found = register(template, warped_sculpt)
    off = np.linalg.norm(found.moved - warp(template.positions), axis=1) / warped_sculpt.diagonal
    assert np.sqrt((off**2).mean()) <= 0.015  # start: 0.034
    assert found.surface_rms <= 1.5e-3 * warped_sculpt.diagonal


def test_the_unit_of_length_does_not_matter(lump_mesh: QuadMesh, warped_sculpt: SurfaceProjector) -> None:
    # A power of two, so that rounding breaks the ties between the lump's two sides alike.
    template = template_of_quads(lump_mesh.positions, lump_mesh.quads)
    large = template_of_quads(1024.0 * lump_mesh.positions, lump_mesh.quads)
    grown = SurfaceProjector(1024.0 * warped_sculpt.positions, warped_sculpt.triangles)
    one, other = register(template, warped_sculpt, options=LIGHT), register(large, grown, options=LIGHT)
    assert np.abs(other.moved / 1024.0 - one.moved).max() <= 1e-6 * warped_sculpt.diagonal


def test_the_same_input_gives_the_same_bytes(lump_mesh: QuadMesh, warped_sculpt: SurfaceProjector) -> None:
    template = template_of_quads(lump_mesh.positions, lump_mesh.quads)
    one, other = (register(template, warped_sculpt, options=LIGHT) for _ in range(2))
    assert one.moved.tobytes() == other.moved.tobytes()


def test_control_points_follow_their_limit_points(lump_mesh: QuadMesh) -> None:
    template = template_of_quads(lump_mesh.positions, lump_mesh.quads)
    moves = 0.1 * np.sin(2.0 * template.positions)
    followed = follow_limit(lump_mesh.quads, template.edges, moves)
    again = limit_matrix(lump_mesh.quads, len(moves)) @ followed
    assert np.abs(again - moves).max() <= 1e-4


def test_mixtures_give_back_points_on_the_surface(lump_mesh: QuadMesh) -> None:
    template = template_of_quads(lump_mesh.positions, lump_mesh.quads)
    middles = template.positions[template.triangles].mean(axis=1)
    rows, distance = mixtures(template, middles)
    assert np.allclose(rows @ template.positions, middles, atol=1e-9)
    assert distance.max() <= 1e-6


def test_rims_run_once_round() -> None:
    quads = grid_quads(5, 7)
    hole = np.delete(quads, 8, axis=0)
    assert sorted(len(rim) for rim in trace_rims(hole)) == [4, 20]
    for rim in trace_rims(split(hole)):
        assert len(set(rim.tolist())) == len(rim)


def test_each_border_takes_the_rim_that_is_nearest() -> None:
    angle = 2 * np.pi * np.arange(16) / 16
    circle = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    ids = np.arange(16)
    ring = np.stack([ids, np.roll(ids, -1), np.roll(ids, -1) + 16, ids + 16], axis=1).astype(np.int32)
    points = np.vstack([circle, 0.5 * circle])
    template = template_of_quads(points, ring)
    borders = (Curve(0.52 * circle, True), Curve(9.0 + circle, True), Curve(1.02 * circle, True))
    match = match_rims(template, points, borders, 2.0)
    radius = [float(np.linalg.norm(points[rim], axis=1).mean()) for rim in template.rims]
    expected = [2 if r > 0.75 else 0 for r in radius]
    assert list(match.of_rim) == expected
