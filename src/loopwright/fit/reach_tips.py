"""Bring a mesh out to the tips of the sculpt that it ends short of: ears, horns, fingers that nothing drew it along."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from loopwright.errors import InfeasibleError
from loopwright.fit.cut_part import cut_part
from loopwright.fit.hold_points import hold_points
from loopwright.fit.link_edges import mean_edges, vertices_around
from loopwright.fit.measure_quality import corner_sines
from loopwright.fit.relax import RelaxOptions, relax
from loopwright.numerics.norms import norms
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Finding, FloatArray, QuadMesh
from loopwright.wishes import FixedPoint

_SHORT = 1.0  # edges of the mesh: what is further from it than that is not reached
_APART = 4.0  # edges between two tips; twice what is lacking, where that is more
_MOST = 24  # tips
_BRIEFLY = RelaxOptions(rounds=20, first_fairness=0.6, retries=0)  # how the faces round a tip are evened out
_ROWS = 12  # of faces round it that give way
_TURNS = 3


@dataclass(frozen=True)
class Tip:
    """A place of the sculpt that the mesh ends short of: by how much, and by how many edges."""

    place: FloatArray
    gap: float
    edges: float


def find_tips(mesh: QuadMesh, points: FloatArray) -> list[Tip]:
    """Return the places among (k, 3) points further than an edge from the mesh, the furthest of those near together.

    Parameters
    ----------
    points : on the part of the sculpt that gets faces; of a half mesh, on its half.
    """
    quads = mesh.quads
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    landed = SurfaceProjector(mesh.positions, triangles).project(points, np.zeros_like(points)).points
    gap = norms(landed - points)
    edge = mean_edges(mesh.positions, quads)[cKDTree(mesh.positions, balanced_tree=False).query(landed)[1]]
    share = gap / np.maximum(edge, 1e-300)
    left = np.flatnonzero(share > _SHORT)
    left = left[np.argsort(-share[left], kind="stable")]
    tips: list[Tip] = []
    while len(left) and len(tips) < _MOST:
        k = left[0]
        tips.append(Tip(points[k], float(gap[k]), float(share[k])))
        left = left[norms(points[left] - points[k]) > max(_APART * edge[k], 2.0 * gap[k])]
    return tips


def reach_tips(
    mesh: QuadMesh, points: FloatArray, projector: SurfaceProjector, *, progress: Progress = silent
) -> QuadMesh:
    """Return the mesh with a vertex on each tip that it ended short of, evened out round it; see :func:`find_tips`.

    Evening out slides vertices along the sculpt, and nothing in it draws them to the end of a form. What does not
    come nearer to the tips, or folds quads, is left as it was.
    """
    best, tips = mesh, find_tips(mesh, points)
    for _ in range(_TURNS):
        if not tips:
            break
        tried = _put_on(best, tips, projector, progress)
        if tried is None or _folded(tried) > _folded(best):
            break
        left = find_tips(tried, points)
        if sum(tip.gap for tip in left) >= sum(tip.gap for tip in tips):
            break
        best, tips = tried, left
    return best


def tell_tips(mesh: QuadMesh, points: FloatArray) -> list[Finding]:
    """Return a finding that says where the mesh ends short of the sculpt, if it does."""
    tips = find_tips(mesh, points)
    if not tips:
        return []
    worst = tips[0]
    at = "({:.4g}, {:.4g}, {:.4g})".format(*worst.place)
    places = "in one place" if len(tips) == 1 else f"in {len(tips)} places"
    number = f"{worst.edges:.2g}"
    edges = f"{number} edge{'' if number == '1' else 's'}"
    text = (
        f"The mesh ends short of the sculpt {places}, by {worst.gap:.3g} ({edges}) near {at}: "
        "ask for smaller edges there, or for more faces."
    )
    return [Finding("short", text, len(tips))]


def _put_on(mesh: QuadMesh, tips: list[Tip], projector: SurfaceProjector, progress: Progress) -> QuadMesh | None:
    places = [FixedPoint((float(t.place[0]), float(t.place[1]), float(t.place[2]))) for t in tips]
    try:
        held, vertices = hold_points(mesh, places, projector)
    except InfeasibleError:
        return None  # two tips so near together that one vertex would have to be on both
    if mesh.is_fixed[list(vertices)].any():
        return None  # what holds a vertex already goes first
    held_there = np.asarray(np.isin(mesh.quads, vertices).any(axis=1), np.bool_)
    near = vertices_around(mesh.quads, held_there, _ROWS)
    part, whole = cut_part(held, np.flatnonzero(near[mesh.quads].all(axis=1)))
    even = relax(part, projector, options=_BRIEFLY, progress=progress)
    positions, curve, fixed = held.positions.copy(), held.vertex_curve.copy(), mesh.is_fixed.copy()
    positions[whole], curve[whole] = even.positions, even.vertex_curve
    fixed[whole] |= even.is_fixed & ~part.is_fixed  # let off its curve
    return replace(held, positions=positions, vertex_curve=curve, is_fixed=fixed)


def _folded(mesh: QuadMesh) -> int:
    return int((corner_sines(mesh.positions, mesh.quads).min(axis=1) <= 0.0).sum())
