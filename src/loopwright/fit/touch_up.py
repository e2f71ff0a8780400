"""The last touch: quads that another colour outweighs are won back, and poor shapes are mended."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from loopwright.fit.find_crossings import CrossingFinder
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.fit.link_edges import groups_apart, on_rim, vertices_around
from loopwright.fit.mend_worst import edge_ratios, face_quality
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.part_crossings import StrayFinder
from loopwright.fit.search_places import LONG, MOST_LONG, TOO_LONG, PlaceSearch
from loopwright.progress import Progress, silent
from loopwright.surface.edges import cross_rows, row_lengths
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import BoolArray, FloatArray, QuadMesh

_SQUARE = 0.93  # the vertices of a quad whose quality is below this, or which is long, look for better places
_ROWS = 2  # of vertices round a lost quad that do, in ...
_WINNING = 27  # ... at most so many rounds; ...
_WINNING_PRICES = 9.0, 60.0  # ... by what they lack of their own paint, the latter where the former does not do
_WINNING_GAIN = 2e-3  # least gain of a move, where only those are won
_IMPURE = 0.012  # share of the area under quads of other regions from which ...
_PURE, _WEAK = 0.97, 0.8  # ... quads cost by such leads, and those that lead by less than the second are won too, ...
_QUICK_PURE, _QUICK_WEAK = 0.6, 0.3  # ... or these, for a quick look
_NEARLY_LOST, _WON = 0.1, 0.2  # lead of its own paint below which a quad is won, and from which it surely is
_LEAST, _LEAST_MENDED = 0.3, 0.5  # quality below which no quad gets for its paint, and for others' shape
_BAD = 0.5  # quality below which corners of quads leave their curves for better ones
_TURN = 0.6  # cosine of the angle between a vertex's normal and a quad's: less is a tip or an edge
_NO_LOSS = 1e-6  # of quality


def touch_up(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    sampler: PaintSampler | None = None,
    held: BoolArray | None = None,
    progress: Progress = silent,
    *,
    is_quick: bool = False,
) -> QuadMesh:
    """Return the mesh with quads won for their own paint, as far as can be, and with poor shapes mended.

    Where another colour outweighs a quad's own, or all but does, the vertices round it leave their curves and junctions
    their places, whatever that costs in shape; where no quad is won by that, they stay. Where much of the mesh lies
    under quads of other regions, all quads near other paint are won. Round quads that are not all but square vertices
    move within their regions and along their curves; junctions, and what lies on curves in the mirror plane, stay. Only
    round quads that are bad even then they leave them, if there is paint, and lose none by it. Shapes are mended on the
    whole: for many better quads a few get less good, though no sound one gets poor. Where many quads are long, at the
    start or after winning, that counts for more. Tips and sharp edges stay.

    Parameters
    ----------
    mesh : on the sculpt, or near to it: vertices keep their distance from it.
    sampler : of this mesh and the sculpt's paint; None where there is no paint.
    held : (n,) bool, vertices that stay where they are whatever the paint.
    is_quick : where much of the mesh lies under other paint, win only the quads with much of it: all take several times
        as long.
    """
    if len(mesh.quads) == 0:
        return mesh
    progress("touch up", 0.0)
    search = PlaceSearch(mesh, projector, sampler)
    pure, weak = (_QUICK_PURE, _QUICK_WEAK) if is_quick else (_PURE, _WEAK)
    search.pure = pure if _impurity(search) > _IMPURE else 0.0
    search.shuns_long = _are_many_long(search)
    stays = _apexes(mesh) if held is None else _apexes(mesh) | held
    start = search.normals.copy()
    _win(search, stays, weak, lambda done: progress("touch up", 0.4 * done))
    _mend(search, stays, lambda done: progress("touch up", 0.4 + 0.4 * done))
    _rescue(search, stays, lambda done: progress("touch up", 0.8 + 0.1 * done))
    positions = undo_crossings(mesh, search.positions, start, projector)
    progress("touch up", 1.0)
    return replace(mesh, positions=positions)


def undo_crossings(
    mesh: QuadMesh, positions: FloatArray, normals: FloatArray, projector: SurfaceProjector
) -> FloatArray:
    """Return the (n, 3) positions, but the mesh's own where quads cross others by them or are nearer to another part.

    Where going back to those would spoil a quad between, that one's vertices go back too.

    Parameters
    ----------
    normals : (n, 3), the sculpt's at the mesh's vertices.
    """
    fold = fold_mirror(mesh)
    crossings, strays = CrossingFinder(fold), StrayFinder(mesh.quads, projector)
    had = np.minimum(face_quality(mesh.positions, mesh.quads, normals), _LEAST)

    def are_touching(at: FloatArray) -> BoolArray:
        touching: BoolArray = strays.find(at).copy()
        touching[crossings.find(at)] = True
        return touching

    before, out, rows = are_touching(mesh.positions), positions, 0
    while True:  # all are back in the end, if it has to be
        spoilt = are_touching(out) & ~before
        if rows:
            spoilt |= face_quality(out, mesh.quads, normals) < had - _NO_LOSS
        if not spoilt.any() or np.array_equal(out, mesh.positions):
            return out
        rows += 1
        back = vertices_around(mesh.quads, spoilt, rows, count=len(out))
        out = np.where(back[:, None], mesh.positions, out)


def _are_many_long(search: PlaceSearch) -> bool:
    """Say whether many quads are long."""
    return float((edge_ratios(search.positions, search.mesh.quads) < 1.0 / TOO_LONG).mean()) > MOST_LONG


def _impurity(search: PlaceSearch) -> float:
    """Return about which share of the area lies under quads of other regions."""
    corners = search.positions[search.mesh.quads]
    area = row_lengths(cross_rows(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]))
    return float(0.5 * ((1.0 - search.lead()) * area).sum() / max(float(area.sum()), 1e-300))


def _win(search: PlaceSearch, stays: BoolArray, weak: float, progress: Callable[[float], None]) -> None:
    """Win quads that other paint outweighs or, where much of the mesh is under it, that lead by less than ``weak``."""
    usual, gain = search.lead_price, search.gain
    if not search.pure:
        search.gain = _WINNING_GAIN
    search.least_lead = _WON  # from now on, so that what is won stays so
    for step, price in enumerate(_WINNING_PRICES):
        search.lead_price = price
        least = weak if search.pure and step == 0 else _NEARLY_LOST
        _win_for(search, stays, least, _part_of(progress, step, len(_WINNING_PRICES)))
    search.lead_price, search.gain = usual, gain


def _part_of(progress: Callable[[float], None], step: int, count: int) -> Callable[[float], None]:
    return lambda done: progress((step + done) / count)


def _win_for(search: PlaceSearch, stays: BoolArray, least: float, progress: Callable[[float], None]) -> None:
    """Win quads whose own paint leads by less than ``least``.

    Rim vertices leave the rim only where their quad lies over the opening.  Vertices that belong together go back to
    where they were if no more of their quads are won by that.
    """
    mesh = search.mesh
    weak = search.lead() < least
    if not weak.any():
        return
    near, rim, slides = (
        vertices_around(mesh.quads, weak, _ROWS, count=len(mesh.positions)),
        _on_rim(mesh),
        _slides(mesh),
    )
    positions, normals = search.positions.copy(), search.normals.copy()
    free = near & ~stays & ~(rim & ~slides)
    along = slides & rim
    if search.sampler is not None:
        along[mesh.quads[search.sampler.are_over_openings(positions)].ravel()] = False
    search.improve(np.flatnonzero(free), along, least=_LEAST, rounds=_WINNING, progress=progress)
    still = search.lead() < least
    for group in groups_apart(mesh.quads, np.flatnonzero(near[mesh.quads].any(axis=1))):
        if still[group].sum() >= weak[group].sum():
            search.put_back(np.unique(mesh.quads[group]).astype(np.int64), positions, normals)


def _mend(search: PlaceSearch, stays: BoolArray, progress: Callable[[float], None]) -> None:
    """Mend quads that are not all but square, and long ones."""
    mesh, on_curve, rim = search.mesh, search.mesh.vertex_curve >= 0, _on_rim(search.mesh)
    search.shuns_long |= _are_many_long(search)
    poor = (search.quality() < _SQUARE) | (edge_ratios(search.positions, mesh.quads) < 1.0 / LONG)
    free = vertices_around(mesh.quads, poor, 0, count=len(mesh.positions)) & ~stays & ~mesh.is_fixed
    free &= ~(on_curve & mesh.on_mirror) & ~(rim & ~on_curve)
    search.improve(np.flatnonzero(free), _slides(mesh), least=_LEAST_MENDED, progress=progress)


def _rescue(search: PlaceSearch, stays: BoolArray, progress: Callable[[float], None]) -> None:
    """Mend quads that are still bad: their corners leave their curves and junctions for it, but no quad is lost.

    Where there is no paint, which would tell if one is, they stay: then curves are ridges and lines.
    """
    mesh, bad = search.mesh, search.quality() < _BAD
    if search.sampler is None or not bad.any():
        return
    free = vertices_around(mesh.quads, bad, 0, count=len(mesh.positions)) & ~stays & ~_on_rim(mesh)
    search.improve(np.flatnonzero(free), np.zeros(len(free), np.bool_), least=_LEAST_MENDED, progress=progress)


def _apexes(mesh: QuadMesh) -> BoolArray:
    """Return (n,) which vertices quads turn sharply round: moved, they would cut off tips and edges."""
    corners = mesh.positions[mesh.quads]
    facing = unit(cross_rows(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]))
    total = np.zeros_like(mesh.positions)
    np.add.at(total, mesh.quads.ravel(), np.repeat(facing, 4, axis=0))
    mean, least = unit(total), np.ones(len(total))
    np.minimum.at(least, mesh.quads.ravel(), (mean[mesh.quads] * facing[:, None]).sum(axis=2).ravel())
    return np.asarray(least < _TURN, np.bool_)


def _slides(mesh: QuadMesh) -> BoolArray:
    """Return (n,) which vertices may slide along their curves."""
    return np.asarray((mesh.vertex_curve >= 0) & ~mesh.is_fixed & ~mesh.on_mirror, np.bool_)


def _on_rim(mesh: QuadMesh) -> BoolArray:
    """Return (n,) which vertices lie at the end of the whole mesh."""
    fold = fold_mirror(mesh)
    return on_rim(fold.quads, fold.whole_count)[: fold.count]
