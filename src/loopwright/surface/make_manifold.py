"""Cut, drop and turn until the triangles' own indices describe an oriented manifold."""

from __future__ import annotations

import numpy as np

from loopwright.errors import InputError
from loopwright.surface.fans import split_by_fans
from loopwright.surface.glue import Gluing, glue_crowded, half_edge_ends
from loopwright.surface.orient import flip_gluing, flips_to_agree, pieces_facing_inward
from loopwright.surface.repair_work import RepairOptions, RepairWork, plural
from loopwright.types import BoolArray, FloatArray, IntArray

_GENTLE_ROUNDS = 8
"""Rounds that drop one triangle a crowded edge; later ones drop all of them, so that there is an end."""


def make_manifold(work: RepairWork, options: RepairOptions) -> None:
    """Turn ``work`` into an oriented edge- and vertex-manifold.

    Raises
    ------
    InputError
        If a piece that is no stray bit is one-sided.
    """
    turn = 0
    gluing = work.gluing
    _tell_crowded_edges(work, gluing)
    while True:
        twin = _cut_crowded_edges(work, gluing, options)
        twin = _drop_strays(work, twin, options)
        twin = _orient(work, twin)
        work.triangles, copied = split_by_fans(work.triangles, twin, len(work.vertex))
        if not copied.size and not gluing.crowded.size:
            break
        work.vertex = np.concatenate([work.vertex, work.vertex[copied]])
        gluing = work.gluing
        surplus = _surplus(work, gluing, is_gentle=turn < _GENTLE_ROUNDS)
        if not surplus.any():
            break
        faces = work.face[surplus]
        text = f"{plural(len(faces), 'triangle crowds', 'triangles crowd')} an edge that cannot be cut apart"
        work.tell("non_manifold_edge", text, "dropped", len(faces), faces)
        work.keep(~surplus)
        gluing = work.gluing
        turn += 1
    _tell_vertices(work)


def _tell_crowded_edges(work: RepairWork, gluing: Gluing) -> None:
    if gluing.crowded.size:
        number = int(gluing.crowd[-1]) + 1
        start, end = half_edge_ends(work.corners)
        ends = np.unique(np.concatenate([start[gluing.crowded], end[gluing.crowded]]))
        text = f"{plural(number, 'edge has', 'edges have')} more than two triangles"
        work.tell("non_manifold_edge", text, "cut apart", number, ends)


def _cut_crowded_edges(work: RepairWork, gluing: Gluing, options: RepairOptions) -> IntArray:
    """Glue edges two by two and drop the fins that are left hanging."""
    if not gluing.crowded.size:
        return gluing.twin
    twin = glue_crowded(gluing, work.positions, work.triangles)
    areas = work.areas
    if flips_to_agree(work.triangles, twin, areas)[1].any():
        twin = gluing.twin
    count, piece = work.pieces(twin)
    share = _shares(piece, areas, count)
    is_fin = np.zeros(count, np.bool_)
    is_fin[piece[gluing.crowded[twin[gluing.crowded] < 0] // 3]] = True
    is_fin &= share < options.fin_share
    is_fin[np.argmax(share)] = False
    gone = is_fin[piece]
    if not gone.any():
        return twin
    number, faces = int(is_fin.sum()), work.face[gone]
    text = f"{plural(number, 'fin hangs', 'fins hang')} on the surface by an edge"
    work.tell("fin", text, f"dropped with {plural(len(faces), 'triangle')}", number, faces)
    return _keep_glued(work, twin, ~gone)


def _drop_strays(work: RepairWork, twin: IntArray, options: RepairOptions) -> IntArray:
    count, piece = work.pieces(twin)
    if count == 1:
        return twin
    share = _shares(piece, work.areas, count)
    is_stray = share < options.stray_share
    is_stray[np.argmax(share)] = False
    gone = is_stray[piece]
    if not gone.any():
        return twin
    number, faces = int(is_stray.sum()), work.face[gone]
    text = f"{plural(number, 'stray bit')} with {100.0 * share[is_stray].sum():.2g} % of the area"
    work.tell("stray_piece", text, f"dropped with {plural(len(faces), 'triangle')}", number, faces)
    return _keep_glued(work, twin, ~gone)


def _shares(piece: IntArray, areas: FloatArray, count: int) -> FloatArray:
    """Return each piece's share of the whole area."""
    shares: FloatArray = np.bincount(piece, areas, minlength=count) / max(float(areas.sum()), np.finfo(float).tiny)
    return shares


def _keep_glued(work: RepairWork, twin: IntArray, is_kept: BoolArray) -> IntArray:
    """Drop triangles and carry the gluing of the others along."""
    halves = np.repeat(is_kept, 3)
    new_name = np.where(halves, np.cumsum(halves) - 1, -1).astype(np.int32)
    carried = twin[halves]
    work.keep(is_kept)
    return np.where(carried >= 0, new_name[carried], -1).astype(np.int32)


def _orient(work: RepairWork, twin: IntArray) -> IntArray:
    """Make neighbours agree, then turn what faces inward; return the gluing under the new names."""
    positions = work.positions
    flip, one_sided = flips_to_agree(work.triangles, twin, work.areas)
    if one_sided.any():
        face = int(np.argmax(one_sided))
        spot = positions[work.triangles[face]].mean(axis=0)
        where = ", ".join(f"{value:.4g}" for value in spot)
        raise InputError(
            f"{work.sculpt.name}: the surface is one-sided like a Moebius band, near ({where}); "
            "it has no outside, so cut it there or export the sculpt again.",
            places=tuple(work.face[one_sided][:16].tolist()),
        )
    if flip.any():
        faces = work.face[flip]
        text = f"{plural(len(faces), 'triangle faces', 'triangles face')} against the neighbours"
        work.tell("mixed_orientation", text, "turned", len(faces), faces)
        work.flip(flip)
        twin = flip_gluing(twin, flip)
    _, piece = work.pieces(twin)
    inward = pieces_facing_inward(positions, work.triangles, twin, piece)
    if inward.any():
        turned = inward[piece]
        text = f"{plural(int(inward.sum()), 'piece is', 'pieces are')} inside out"
        work.tell("inward_orientation", text, "turned", int(inward.sum()), work.face[turned])
        work.flip(turned)
        twin = flip_gluing(twin, turned)
    return twin


def _surplus(work: RepairWork, gluing: Gluing, *, is_gentle: bool) -> BoolArray:
    """Mark triangles at edges that are still crowded, or whose two triangles disagree."""
    start = work.triangles.ravel()
    same = np.flatnonzero((gluing.twin >= 0) & (start[gluing.twin] == start))
    surplus = np.zeros(len(work.triangles), np.bool_)
    if not is_gentle:
        surplus[gluing.crowded // 3] = True
        surplus[same // 3] = True
        return surplus
    areas = work.areas
    order = np.lexsort((gluing.crowded, areas[gluing.crowded // 3], gluing.crowd))
    is_first = np.diff(gluing.crowd[order], prepend=-1) > 0
    surplus[gluing.crowded[order][is_first] // 3] = True
    pairs = np.stack([same // 3, gluing.twin[same] // 3], axis=1)
    surplus[np.take_along_axis(pairs, np.argmin(areas[pairs], axis=1)[:, None], axis=1)] = True
    return surplus


def _tell_vertices(work: RepairWork) -> None:
    """Tell which of the sculpt's vertices were joined and which were split, as it turned out."""
    before, after = work.corners.ravel(), work.triangles.ravel()
    some_after = np.full(len(work.sculpt.positions), -1, np.int32)
    some_after[before] = after
    split = np.unique(before[some_after[before] != after])
    text = f"the surface only touches itself in {plural(len(split), 'vertex', 'vertices')}"
    work.tell("non_manifold_vertex", text, "split", len(split), split)
    some_before = np.full(len(work.vertex), -1, np.int32)
    some_before[after] = before
    is_joined = np.zeros(len(work.vertex), np.bool_)
    is_joined[after[some_before[after] != before]] = True
    if is_joined.any():
        here = is_joined[after]
        pairs = np.unique(np.stack([after[here], before[here]]), axis=1)
        joined = pairs[1][1:][pairs[0][1:] == pairs[0][:-1]]
        text = f"{plural(len(joined), 'vertex lies', 'vertices lie')} exactly on another where the surface has a seam"
        work.tell("duplicate_vertex", text, "welded", len(joined), joined)
