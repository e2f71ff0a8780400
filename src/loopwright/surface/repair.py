"""Mend what is safe to mend in a sculpt, and tell all of it."""

from __future__ import annotations

import numpy as np

from loopwright.errors import InputError
from loopwright.numerics.norms import norms
from loopwright.progress import Progress, silent
from loopwright.surface.check_extent import check_area, check_far_off
from loopwright.surface.clean_faces import drop_broken, drop_doubles, weld_rims
from loopwright.surface.glue import half_edge_ends, label_components
from loopwright.surface.make_manifold import make_manifold
from loopwright.surface.repair_work import Fault, RepairOptions, RepairWork, plural, start_work
from loopwright.surface.slivers import find_slivers, mend_slivers
from loopwright.types import Finding, IntArray, Sculpt

_SHOWN = 4


def repair_sculpt(
    sculpt: Sculpt, options: RepairOptions | None = None, *, progress: Progress = silent
) -> tuple[Sculpt, list[Finding]]:
    """Make a sculpt an oriented manifold, edge and vertex, with nothing left over.

    Rims that lie exactly on one another are welded; broken, double and flat triangles, fins
    and stray bits go; edges of more than two triangles are cut apart; neighbours agree in
    orientation and pieces face outward; every fan of triangles has a vertex of its own.
    Holes stay.  What is kept keeps its order; vertices made by cutting come last.

    Returns
    -------
    The repaired sculpt (the same object if there was nothing to mend), and what was found and done.

    Raises
    ------
    InputError
        If an index points nowhere, a vertex lies far off, nothing sound or without area is left, or the surface is
        one-sided.
    """
    repaired, faults = find_faults(sculpt, options or RepairOptions(), progress)
    return repaired, [fault.finding(is_repaired=True) for fault in faults]


def find_faults(sculpt: Sculpt, options: RepairOptions, progress: Progress) -> tuple[Sculpt, list[Fault]]:
    """Repair and return the faults in words for check and repair alike; see :func:`repair_sculpt`."""
    _check_indices(sculpt)
    check_far_off(sculpt)
    work = start_work(sculpt)
    drop_broken(work)
    weld_rims(work)
    drop_doubles(work)
    progress("repair", 0.4)
    make_manifold(work, options)
    progress("repair", 0.8)
    _mend_slivers(work)
    _tell_pieces(work)
    _tell_holes(work)
    result = _finish(work)
    check_area(result)
    progress("repair", 1.0)
    return result, work.faults


def _check_indices(sculpt: Sculpt) -> None:
    if not len(sculpt.triangles):
        raise InputError(f"{sculpt.name}: there are no faces in it; export it as a triangle mesh.")
    low, high, count = int(sculpt.triangles.min()), int(sculpt.triangles.max()), len(sculpt.positions)
    if low < 0 or high >= count:
        bad = low if low < 0 else high
        raise InputError(f"{sculpt.name}: a triangle uses vertex {bad} of {count}; export it again.", places=(bad,))


def _mend_slivers(work: RepairWork) -> None:
    flat = find_slivers(work.positions, work.triangles)
    if not flat.any():
        return
    faces = work.face[flat]
    work.triangles, is_kept = mend_slivers(work.positions, work.triangles)
    work.keep(is_kept)
    left = int(find_slivers(work.positions, work.triangles).sum())
    rest = f", {left} left as they are" if left else ""
    text = f"{plural(len(faces), 'triangle has', 'triangles have')} no area"
    mended = f"{max(len(faces) - left, 0)} mended without changing the surface{rest}"
    work.tell("sliver_face", text, mended, len(faces), faces)


def _tell_pieces(work: RepairWork) -> None:
    count, piece = work.pieces(work.gluing.twin)
    if count == 1:
        return
    areas = np.bincount(piece, work.areas, minlength=count)
    shares = np.sort(100.0 * areas / areas.sum())[::-1]
    listed = ", ".join(f"{share:.3g} %" for share in shares[:_SHOWN]) + (", ..." if count > _SHOWN else "")
    faces = work.face[piece != np.argmax(areas)]
    work.tell("piece", f"the sculpt has {count} separate pieces, with {listed} of the area", "all kept", count, faces)


def _tell_holes(work: RepairWork) -> None:
    start, end = half_edge_ends(work.triangles)
    at_rim = work.gluing.twin < 0
    if not at_rim.any():
        return
    rim, local = np.unique(np.concatenate([start[at_rim], end[at_rim]]), return_inverse=True)
    left, right = local[: int(at_rim.sum())], local[int(at_rim.sum()) :]
    count, loop = label_components(len(rim), left, right)
    positions = work.positions
    edge_lengths = norms(positions[end[at_rim]] - positions[start[at_rim]])
    lengths = np.bincount(loop[left], edge_lengths, minlength=count)
    edges = np.bincount(loop[left], minlength=count)
    order = np.argsort(-lengths, kind="stable")[:_SHOWN]
    listed = ", ".join(f"{lengths[k]:.4g} ({plural(int(edges[k]), 'edge')})" for k in order)
    more = ", ..." if count > _SHOWN else ""
    rims = "rim length" if count == 1 else "rim lengths"
    work.tell("hole", f"{plural(count, 'hole')} with {rims} {listed}{more}", "left open", count,
              work.vertex[rim])  # fmt: skip


def _finish(work: RepairWork) -> Sculpt:
    """Number the used vertices anew and build the sculpt."""
    sculpt = work.sculpt
    was_used = np.zeros(len(sculpt.positions), np.bool_)
    was_used[sculpt.triangles] = True
    unused = np.flatnonzero(~was_used).astype(np.int32)
    text = f"{plural(len(unused), 'vertex belongs', 'vertices belong')} to no triangle"
    work.tell("unused_vertex", text, "dropped", len(unused), unused)
    is_used = np.zeros(len(work.vertex), np.bool_)
    is_used[work.triangles] = True
    if is_used.all() and len(is_used) == len(sculpt.positions) and np.array_equal(work.triangles, sculpt.triangles):
        return sculpt
    number: IntArray = np.cumsum(is_used, dtype=np.int32) - np.int32(1)
    source = work.vertex[is_used]
    colors = None if sculpt.colors is None else sculpt.colors[source]
    return Sculpt(sculpt.positions[source], number[work.triangles], colors, sculpt.name)
