"""The simple faults: triangles that are none, rims that belong together, triangles that are there twice."""

from __future__ import annotations

import numpy as np

from loopwright.surface.glue import half_edge_ends
from loopwright.surface.repair_work import RepairWork, plural
from loopwright.surface.weld import weld_exact
from loopwright.types import BoolArray


def drop_broken(work: RepairWork) -> None:
    """Drop triangles with positions that are no numbers, and those that use a vertex twice."""
    is_finite: BoolArray = np.logical_and.reduce(np.isfinite(work.sculpt.positions), axis=1)
    if not is_finite.all():
        bad = np.flatnonzero(~is_finite)
        text = f"{plural(len(bad), 'vertex has', 'vertices have')} positions that are no finite numbers"
        work.tell("not_finite", text, "dropped with their triangles", len(bad), bad)
        has_finite_corners: BoolArray = np.logical_and.reduce(is_finite[work.triangles], axis=1)
        work.keep(has_finite_corners)
    a, b, c = work.triangles.T
    is_broken = (a == b) | (b == c) | (c == a)
    faces = work.face[is_broken]
    text = f"{plural(len(faces), 'triangle uses', 'triangles use')} a vertex twice"
    work.tell("degenerate_face", text, "dropped", len(faces), faces)
    work.keep(~is_broken)


def weld_rims(work: RepairWork) -> None:
    """Join rim vertices that lie exactly on one another; vertices inside a surface need no joining."""
    count = len(work.sculpt.positions)
    start, end = half_edge_ends(work.triangles)
    at_rim = work.gluing.twin < 0
    rim = np.unique(np.concatenate([start[at_rim], end[at_rim]]))
    kept, group = weld_exact(work.sculpt.positions[rim])
    if len(kept) == len(rim):
        return
    leader = np.arange(count, dtype=np.int32)
    leader[rim] = rim[kept[group]]
    welded = leader[work.triangles]
    a, b, c = welded.T
    collapsed = (a == b) | (b == c) | (c == a)
    faces = work.face[collapsed]
    text = f"{plural(len(faces), 'triangle has', 'triangles have')} two corners in one place"
    work.tell("degenerate_face", text, "dropped", len(faces), faces)
    work.triangles = welded
    work.keep(~collapsed)


def drop_doubles(work: RepairWork) -> None:
    """Of triangles with the same three corners keep the first."""
    gluing = work.gluing
    neighbours = (gluing.twin // 3).reshape(-1, 3)
    suspects = (neighbours[:, 0] == neighbours[:, 1]) & (neighbours[:, 1] == neighbours[:, 2]) & (neighbours[:, 0] >= 0)
    is_crowded = np.zeros(3 * len(suspects), np.bool_)
    is_crowded[gluing.crowded] = True
    suspects |= is_crowded.reshape(-1, 3).all(axis=1)
    faces_in_doubt = np.flatnonzero(suspects)
    kept, _ = weld_exact(np.sort(work.triangles[faces_in_doubt], axis=1).astype(np.float64))
    if len(kept) == len(faces_in_doubt):
        return
    is_kept = ~suspects
    is_kept[faces_in_doubt[kept]] = True
    faces = work.face[~is_kept]
    text = f"{plural(len(faces), 'triangle lies', 'triangles lie')} exactly on another"
    work.tell("duplicate_face", text, "dropped", len(faces), faces)
    work.keep(is_kept)
