"""Quads stay in their own paint where a brush slipped or wavered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from tests.fit.painted_board import LEFT, PALETTE, RIGHT, Maker, bulge, painted, slip, two_regions

from loopwright.fit.fit_limit import FitReport, LimitFit
from loopwright.fit.fit_with_paint import fit_with_paint
from loopwright.fit.keep_paint import keep_paint, keep_paint_again, paint_lead
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.paint_index import PaintIndex
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.slide_curves import lay_curves
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, MirrorPlane, Paint, QuadMesh, Region


@pytest.fixture(scope="module")
def board(make_board: Callable[[float, float], SurfaceProjector]) -> SurfaceProjector:
    return make_board(1.2, 1.2)


@pytest.mark.parametrize(("stray", "color"), [(slip, 2), (bulge, 0)])
def test_quads_that_another_colour_outweighs_grow_until_their_own_leads(
    make_square: Maker, board: SurfaceProjector, stray: Callable[[FloatArray], BoolArray], color: int
) -> None:
    mesh, paint = two_regions(make_square, 20), painted(board, stray, color)
    assert (paint_lead(mesh, board, paint) < 0).any()
    kept = keep_paint(mesh, board, paint).mesh
    assert (paint_lead(kept, board, paint) > 0).all()
    assert measure_quality(kept.positions, kept.quads).scaled_jacobian.min() > 0.3
    slides = mesh.vertex_curve == len(mesh.curves) - 1
    _, off = lay_curves(kept.curves).locate(len(mesh.curves) - 1, kept.positions[slides])
    assert off.max() < 1e-9
    # the bulge is 0.07 deep, an edge 0.1 long: a smooth border swings past it by less than a tenth of that
    assert np.abs(kept.positions[slides, 0]).max() < (0.07 + 0.01 if color == 0 else 1e-12)
    assert np.array_equal(kept.positions[mesh.is_fixed], mesh.positions[mesh.is_fixed])
    assert np.array_equal(kept.quads, mesh.quads)


def test_what_is_far_from_such_quads_does_not_move(make_square: Maker, board: SurfaceProjector) -> None:
    mesh, paint = two_regions(make_square, 40), painted(board, slip, 2)
    kept = keep_paint(mesh, board, paint).mesh
    moved = np.abs(kept.positions - mesh.positions).max(axis=1) > 0
    assert moved.any()
    # eight rows of width 1/20 round a spot of radius 0.11
    assert (np.abs(mesh.positions[moved]) < 0.7).all()


def test_a_mesh_in_its_paint_is_left_as_it_is(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 20)
    clean = painted(board, lambda p: np.zeros(len(p), bool), 2)
    assert keep_paint(mesh, board, clean).mesh is mesh
    bare = Paint(PALETTE[:1], np.zeros(len(board.positions), np.int32))
    assert keep_paint(mesh, board, bare).mesh is mesh


def test_a_slip_too_large_for_the_mesh_leaves_it_sound(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 20)
    paint = painted(board, lambda p: np.abs(p[:, :2]).max(axis=1) < 0.5, 2)
    before = paint_lead(mesh, board, paint)
    kept = keep_paint(mesh, board, paint).mesh
    assert (paint_lead(kept, board, paint) < 0).sum() < (before < 0).sum()
    assert measure_quality(kept.positions, kept.quads).scaled_jacobian.min() > 0.3


def test_paint_of_the_image_half_counts_too(make_square: Maker, board: SurfaceProjector) -> None:
    whole = two_regions(make_square, 20)
    mirror = MirrorPlane(np.array([0.0, 1.0, 0.0]), 0.0)
    upper = whole.quads[whole.positions[whole.quads].mean(axis=1)[:, 1] > 0]
    used, local = np.unique(upper, return_inverse=True)
    half = replace(
        whole,
        positions=whole.positions[used],
        quads=local.reshape(-1, 4).astype(np.int32),
        quad_region=(whole.positions[upper].mean(axis=1)[:, 0] > 0).astype(np.int32),
        vertex_curve=whole.vertex_curve[used],
        is_fixed=whole.is_fixed[used],
        on_mirror=np.abs(whole.positions[used, 1]) < 1e-9,
        mirror=mirror,
    )
    below = painted(board, lambda p: slip(p + [0.0, 0.5, 0.0]), 2)
    assert (paint_lead(half, board, below) < 0).any()
    kept = keep_paint(half, board, below).mesh
    assert (paint_lead(kept, board, below) > 0).all()
    assert np.abs(kept.positions[kept.on_mirror, 1]).max() == 0.0


def test_paint_lasts_when_the_mesh_is_fitted(make_square: Maker, board: SurfaceProjector) -> None:
    mesh, paint = two_regions(make_square, 20), painted(board, slip, 2)
    fitted, report = fit_with_paint(mesh, board, paint, LimitFit(board))
    assert (paint_lead(fitted, board, paint) > 0).all()
    assert report.after.rms < 1e-6


def test_quads_that_hardly_lead_keep_their_shapes_in_the_fit(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 20)

    def speckled(p: FloatArray) -> BoolArray:
        return np.asarray((p[:, 0] > 0) & (p[:, 0] < 0.048) & (np.mod(p[:, 1], 0.1) < 0.085), np.bool_)

    paint = painted(board, speckled, 2)
    weak = paint_lead(mesh, board, paint) < 0.3
    assert weak.sum() == 20, "the quads beside the border"
    shaped_quads: list[BoolArray] = []

    class Watched(LimitFit):
        def lay(self, mesh: QuadMesh, shaped: BoolArray | None = None) -> tuple[QuadMesh, FitReport]:
            assert shaped is not None
            shaped_quads.append(shaped)
            return super().lay(mesh, shaped)

    fit_with_paint(mesh, board, paint, Watched(board))
    assert shaped_quads
    for shaped in shaped_quads:
        assert not shaped[weak].any()
        assert shaped.sum() > len(shaped) // 2


def test_a_quad_grows_on_where_more_lead_is_asked_of_it(make_square: Maker, board: SurfaceProjector) -> None:
    mesh, paint = two_regions(make_square, 20), painted(board, bulge, 0)
    sampler = PaintSampler(mesh, paint, PaintIndex(board.positions, paint))
    kept = keep_paint(mesh, board, paint, sampler=sampler)
    lead = sampler.lead(kept.mesh.positions)[0]
    lost = np.arange(len(lead)) == lead.argmin()
    margin = np.where(lost, lead[lost] + 0.02, 0.1)
    more = keep_paint_again(kept, board, sampler, lead, margin, lost)
    assert sampler.lead(more.mesh.positions)[0][lost] >= margin[lost]
    middle = kept.mesh.positions[mesh.quads[lost][0]].mean(axis=0)
    moved = (more.mesh.positions != kept.mesh.positions).any(axis=1)
    assert np.abs(kept.mesh.positions[moved] - middle).max() < 0.8  # five rows of about 1/10, and grown ones
    assert np.array_equal(more.growth[~moved[mesh.quads].any(axis=1)], kept.growth[~moved[mesh.quads].any(axis=1)])


def test_a_merged_region_has_all_its_paints(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 8)
    paint = painted(board, lambda p: np.zeros(len(p), bool), 2)
    merged = replace(
        mesh,
        quad_region=np.zeros(len(mesh.quads), np.int32),
        regions=(Region("both", LEFT, (LEFT, RIGHT)),),
    )
    assert paint_lead(merged, board, paint).min() == 1.0
    assert keep_paint(merged, board, paint).mesh is merged, "nothing is to be mended"
    unaware = replace(merged, regions=(Region("both", LEFT),))
    assert paint_lead(unaware, board, paint).min() == -1.0


def test_paint_of_no_region_counts_against_no_quad(make_square: Maker, board: SurfaceProjector) -> None:
    mesh = two_regions(make_square, 8)
    paint = painted(board, lambda p: np.asarray(p[:, 1] > 0.3), -1)
    assert paint_lead(mesh, board, paint) == pytest.approx(1.0)
    whole = paint_lead(mesh, board, painted(board, lambda p: np.asarray(p[:, 1] > 0.3), 2))
    assert whole.min() == pytest.approx(-1.0)
