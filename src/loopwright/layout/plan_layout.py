"""The layout stage: from a surface with regions to patches of three to five sides."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from loopwright.errors import InternalError
from loopwright.layout.add_guides import add_guides, halve_parts
from loopwright.layout.assemble_layout import assemble_layout
from loopwright.layout.border_graph import (
    ConstrainedEdges,
    constrained_edges,
    trace_chains,
)
from loopwright.layout.cut_piece import CutOptions, cut_piece
from loopwright.layout.find_bends import find_bends
from loopwright.layout.find_tips import find_tips, with_tips
from loopwright.layout.judge_cuts import SplitOptions
from loopwright.layout.make_cut import Growing
from loopwright.layout.measure_uneven import UnevenOptions
from loopwright.layout.piece import Piece
from loopwright.layout.plan_pieces import node_vertices, plan_pieces
from loopwright.layout.plan_turns import TurnOptions
from loopwright.layout.refine_narrow import refine_narrow
from loopwright.layout.size_steps import round_scale, size_steps, surface_extent
from loopwright.layout.slit_ends import corner_bends, straight_bends
from loopwright.layout.types import Layout
from loopwright.progress import Progress, silent
from loopwright.shelf import Shelf
from loopwright.types import FloatArray, RegionSurface

_HALVINGS = 3  # of parts that no cut makes fit for a grid, one after the other


@dataclass(frozen=True)
class LayoutOptions:
    """Options of the layout stage: the weights of the turn plan and of the cuts, and which patches are cut further.

    ``region_uneven`` says the last for regions, by index, for which it is another than ``uneven``.
    """

    turns: TurnOptions = field(default_factory=TurnOptions)
    splits: SplitOptions = field(default_factory=SplitOptions)
    uneven: UnevenOptions = field(default_factory=UnevenOptions)
    region_uneven: Mapping[int, UnevenOptions] = field(default_factory=dict)


def plan_layout(
    surface: RegionSurface,
    vertex_size: FloatArray,
    *,
    options: LayoutOptions | None = None,
    extent: float | None = None,
    shelf: Shelf | None = None,
    progress: Progress = silent,
) -> Layout:
    """Plan corners and poles, then cut every region into patches.

    Parameters
    ----------
    surface : any; parts that need one get a guide of the program's own (see :func:`add_guides`).
    vertex_size : (n,) wished edge length at each vertex.
    extent : of the surface before lines were drawn on it; None for its own. Sizes are rounded to shares of it, so
        that a piece which a line does not touch is found again.
    shelf : of the surface's sculpt: keeps what is found in one piece alone.
    """
    opt, shelf = options or LayoutOptions(), shelf or Shelf(depth=0)
    rounded = size_steps(surface_extent(surface) if extent is None else extent)
    surface, vertex_size = add_guides(*refine_narrow(surface, vertex_size), rounded=rounded, shelf=shelf)
    cut = partial(_cut_all, rounded=rounded, opt=opt, shelf=shelf)
    best = cut(surface, vertex_size, progress=progress)
    for _ in range(_HALVINGS):
        if not best.stuck:
            break
        try:
            halved = cut(*refine_narrow(*halve_parts(best.surface, best.vertex_size, best.stuck)), progress=progress)
        except InternalError:
            break  # some part was left without a cut: as it was
        if halved.uneven >= best.uneven:
            break
        best = halved
    progress("layout", 1.0)
    return assemble_layout(best.surface, best.vertex_size, best.growing, best.constrained, best.parts)


@dataclass(frozen=True)
class _Cuts:
    """All patches of a surface; ``stuck`` are the parts (see :func:`halve_parts`) that no cut makes fit for a grid."""

    surface: RegionSurface
    vertex_size: FloatArray
    growing: Growing
    constrained: ConstrainedEdges
    parts: list[Piece]
    stuck: list[int]
    uneven: float


def _cut_all(
    surface: RegionSurface,
    vertex_size: FloatArray,
    *,
    rounded: Callable[[float], float],
    opt: LayoutOptions,
    shelf: Shelf,
    progress: Progress,
) -> _Cuts:
    """Plan corners and poles, and cut every part into patches."""
    constrained = constrained_edges(surface)
    chains = trace_chains(constrained, set(), len(surface.positions))
    tips = find_tips(surface, vertex_size)
    bends = with_tips(find_bends(surface, chains, vertex_size), tips)
    bends = sorted({*corner_bends(surface, constrained, bends), *tips.corners})
    if bends:
        chains = trace_chains(constrained, set(bends), len(surface.positions))
    pieces = plan_pieces(surface, constrained, chains, vertex_size, opt.turns, bends=bends, tips=tips.angles)
    nodes = set(node_vertices(constrained, chains, len(surface.positions))) - straight_bends(bends, constrained, pieces)
    growing = Growing(surface.positions, nodes)
    parts: list[Piece] = []
    stuck: list[int] = []
    uneven = total = 0.0
    for i, piece in enumerate(pieces):
        progress("layout", i / len(pieces))
        cuts = CutOptions(opt.splits, opt.region_uneven.get(piece.region, opt.uneven))
        middle = float(np.median(vertex_size[piece.origin]))
        scale = round_scale(middle / vertex_size[piece.origin])
        for part, weight in cut_piece(piece, growing, rounded(middle), scale, options=cuts, shelf=shelf):
            parts.append(part)
            uneven, total = uneven + weight.faces * weight.uneven**2, total + weight.faces
            if weight.is_stuck:
                stuck.append(i)
    return _Cuts(surface, vertex_size, growing, constrained, parts, stuck, uneven / max(total, 1e-300))
