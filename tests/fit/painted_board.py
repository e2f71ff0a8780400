"""A flat board painted in two colours, with strokes that went astray, and a grid with a border between them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, Curve, FloatArray, Paint, QuadMesh, Region

Maker = Callable[..., QuadMesh]
LEFT, RIGHT, STRAY = (200, 60, 60), (60, 60, 200), (60, 200, 60)
PALETTE = np.array([LEFT, RIGHT, STRAY], np.uint8)


def two_regions(make_square: Maker, n: int) -> QuadMesh:
    """A grid with a border along x = 0 on which its vertices slide."""
    mesh = make_square(n, n)
    on_border = (np.abs(mesh.positions[:, 0]) < 1e-9) & (np.abs(mesh.positions[:, 1]) < 1 - 1e-9)
    curve = np.where(on_border, len(mesh.curves), mesh.vertex_curve).astype(np.int32)
    line = Curve(np.array([[0.0, -1, 0], [0, 1, 0]]), False)
    ends = (np.abs(mesh.positions[:, 0]) < 1e-9) & ~on_border
    return replace(
        mesh,
        quad_region=(mesh.positions[mesh.quads].mean(axis=1)[:, 0] > 0).astype(np.int32),
        regions=(Region("left", LEFT), Region("right", RIGHT)),
        vertex_curve=curve,
        curves=(*mesh.curves, line),
        is_fixed=mesh.is_fixed | ends,
    )


def painted(board: SurfaceProjector, stray: Callable[[FloatArray], BoolArray], color: int) -> Paint:
    labels = (board.positions[:, 0] > 0).astype(np.int32)
    labels[stray(board.positions)] = color
    return Paint(PALETTE, labels)


def slip(p: FloatArray) -> BoolArray:
    inside: BoolArray = (p[:, 0] / 0.11) ** 2 + ((p[:, 1] - 0.05) / 0.11) ** 2 < 1
    return inside


def bulge(p: FloatArray) -> BoolArray:
    inside: BoolArray = (p[:, 0] > 0) & (p[:, 0] < 0.07) & (np.abs(p[:, 1]) < 0.25)
    return inside
