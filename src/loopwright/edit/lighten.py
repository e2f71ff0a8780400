"""Lighter versions of a mesh: whole loops are taken out where they are missed least."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from loopwright.edit.collapse_strip import collapse_strip
from loopwright.edit.count_poor import count_poor
from loopwright.edit.mirror_halves import cut_in_half, is_whole_mirrored, join_halves
from loopwright.edit.place_vertices import vertex_normals
from loopwright.edit.quad_links import Ids, link_quads
from loopwright.edit.rate_strips import StripRating, irregular, rate_strips
from loopwright.errors import InfeasibleError, MarksError
from loopwright.progress import Progress, silent
from loopwright.surface.repair_work import plural
from loopwright.types import FloatArray, IntArray, QuadMesh

__all__ = ["LightMesh", "lighten", "lighten_chain"]

_FLOORS = (0.35, 0.2, 0.05)  # scaled Jacobians under which no further quad may fall, the strictest tried first
MERGE_POLES = "keep_poles=False"
"""How errors call the option that lets pairs of poles cancel out."""

_SAME = 1e-9  # relative: harms that differ by less are ties, broken by position


@dataclass(frozen=True)
class LightMesh:
    """One version of a chain.

    Attributes
    ----------
    mesh : the lighter mesh; each vertex stands where its vertex of the heavy mesh stands.
    vertex_map : (n,) int32, the vertex of the version before that each vertex is.
    first_map : (n,) int32, the vertex of the heaviest mesh that each vertex is.
    """

    mesh: QuadMesh
    vertex_map: IntArray
    first_map: IntArray


def lighten(
    mesh: QuadMesh,
    target_faces: int | None = None,
    *,
    ratio: float | None = None,
    keep_poles: bool = True,
    progress: Progress = silent,
) -> tuple[QuadMesh, IntArray]:
    """Return a lighter mesh with about as many faces as asked for, and the heavy vertex of each of its vertices.

    Whole strips are taken out, one after another: always the one that leaves
    the least sag and the most even spacing. Borders, rims, lines and fixed
    vertices stay; of the vertices on a border some go. Vertices keep their
    places exactly. A whole mesh with a mirror plane is lightened on both sides alike.

    Parameters
    ----------
    target_faces, ratio : give one of them: faces of the outcome, or its share of the faces there are.
    keep_poles : every pole stays, with its valence; else a pair of poles may cancel out.

    Returns
    -------
    The mesh; its face count is as near to the target as whole strips allow. And (n,) int32 ids of heavy vertices.

    Raises
    ------
    MarksError
        If not just one goal is given, or it makes no sense.
    InfeasibleError
        If no further strip can go before the target is met; the message tells the least number of faces.
    """
    target = _target(mesh, target_faces, ratio)
    if target >= len(mesh.quads):
        return mesh, np.arange(len(mesh.positions), dtype=np.int32)
    if not is_whole_mirrored(mesh):
        return _lighten_half(mesh, target, keep_poles, progress)
    halves = cut_in_half(mesh)
    half, keep = _lighten_half(halves.half, target / 2, keep_poles, progress, factor=2)
    half = half if halves.is_flat else replace(half, positions=halves.half.positions[keep])
    whole = join_halves(halves, half, None if halves.is_exact else halves.image_positions[keep])
    return whole, np.concatenate([halves.kept[keep], halves.image[keep[~half.on_mirror]]]).astype(np.int32)


def lighten_chain(
    mesh: QuadMesh, ratios: Sequence[float], *, keep_poles: bool = True, progress: Progress = silent
) -> tuple[LightMesh, ...]:
    """Return lighter and lighter versions, each made from the one before.

    Parameters
    ----------
    ratios : falling shares of the face count of ``mesh``.

    Raises
    ------
    MarksError, InfeasibleError : see :func:`lighten`.
    """
    if any(b >= a for a, b in zip(ratios[:-1], ratios[1:], strict=True)):
        raise MarksError("The ratios of a chain of lighter meshes must fall from each to the next.")
    out: list[LightMesh] = []
    current, first = mesh, np.arange(len(mesh.positions), dtype=np.int32)
    for ratio in ratios:
        goal = _target(mesh, None, ratio)
        current, vertex_map = lighten(current, goal, keep_poles=keep_poles, progress=progress)
        first = first[vertex_map]
        out.append(LightMesh(current, vertex_map, first))
    return tuple(out)


def _target(mesh: QuadMesh, target_faces: int | None, ratio: float | None) -> int:
    if (target_faces is None) == (ratio is None):
        raise MarksError("Give either the number of faces or the ratio of the lighter mesh.")
    if ratio is not None and not 0.0 < ratio <= 1.0:
        raise MarksError(f"The ratio is {ratio}; it must be above 0 and at most 1.")
    target = int(round((ratio or 0.0) * len(mesh.quads))) if target_faces is None else target_faces
    if target < 1:
        raise MarksError(f"The lighter mesh cannot have {target} faces; ask for at least one.")
    return target


def _lighten_half(
    mesh: QuadMesh, target: float, keep_poles: bool, progress: Progress, factor: int = 1
) -> tuple[QuadMesh, IntArray]:
    wished = wished_sizes(mesh) * np.sqrt(len(mesh.quads) / target)
    normals = vertex_normals(mesh)
    keep = np.arange(len(mesh.positions))
    start, level, barred = len(mesh.quads), 0, set[tuple[int, int]]()
    while len(mesh.quads) > target:
        progress("lighten", (start - len(mesh.quads)) / (start - target))
        step = _take_best(mesh, keep, wished, normals, target, keep_poles, _FLOORS[level], barred)
        if step is None and level + 1 < len(_FLOORS):
            level, barred = level + 1, set()
            continue
        if step is None:
            least = factor * len(mesh.quads)
            advice = f"let pairs of poles cancel out ({MERGE_POLES})" if keep_poles else "ask for more faces"
            asked = f"where {factor * target:.0f} were asked for"
            message = f"No further loop can go at {plural(least, 'face')}, {asked}: {advice}."
            raise InfeasibleError(message, places=[least])
        if len(step[0].quads) < target and target - len(step[0].quads) > len(mesh.quads) - target:
            break
        mesh, keep = step
    progress("lighten", 1.0)
    return mesh, keep.astype(np.int32)


def wished_sizes(mesh: QuadMesh) -> FloatArray:
    """Return (n,) the edge length at each vertex: the root of the mean area of the quads there."""
    corners = mesh.positions[mesh.quads]
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]), axis=1)
    count = len(mesh.positions)
    total = np.bincount(mesh.quads.ravel(), np.repeat(area, 4), count)
    uses = np.bincount(mesh.quads.ravel(), minlength=count)
    return np.sqrt(np.maximum(total / np.maximum(uses, 1), np.finfo(float).tiny))


def _take_best(
    mesh: QuadMesh,
    keep: Ids,
    wished: FloatArray,
    normals: FloatArray,
    target: float,
    keep_poles: bool,
    floor: float,
    barred: set[tuple[int, int]],
) -> tuple[QuadMesh, Ids] | None:
    """Take out the least missed strip that leaves a good mesh; strips that do not are remembered in ``barred``."""
    links = link_quads(mesh.quads, len(mesh.positions))
    rating = rate_strips(mesh, links, wished[keep], keep_poles=keep_poles)
    pole = irregular(links)
    before = count_poor(mesh, normals[keep], floor)
    for strip in _in_order(rating, len(mesh.quads) - target):
        rungs = np.flatnonzero(links.strips.of_edge == strip)
        name = int(keep[links.edges[rungs]].min()), len(rungs)
        if name in barred:
            continue
        way = links.strips.side[rungs] ^ rating.give_way[strip]
        rank = np.where(pole, 0, 1)
        rank[links.edges[rungs, way]] += 1  # a pole that should go by its side stays before a regular one
        try:
            change = collapse_strip(mesh, strip, give_way=rank, links=links)
        except InfeasibleError:
            barred.add(name)
            continue
        kept = keep[change.blend.indices]  # the ranks let one vertex of each pair stay, so rows have one entry
        if count_poor(change.mesh, normals[kept], floor) <= before:
            return change.mesh, kept
        barred.add(name)
    return None


def _in_order(rating: StripRating, surplus: float) -> list[int]:
    """Return the strips that may go, least harm first; those that would go far past the target come last."""
    finite = np.flatnonzero(np.isfinite(rating.harm))
    if len(finite) == 0:
        return []
    harm = np.round(rating.harm[finite] / (_SAME * max(float(rating.harm[finite].max()), 1e-300)))
    unit = _SAME * max(float(np.ptp(rating.middle, axis=0).max()), 1e-300)
    place = np.round(rating.middle[finite] / unit)
    too_long = rating.size[finite] - surplus > surplus
    order: list[int] = finite[np.lexsort((place[:, 2], place[:, 1], place[:, 0], harm, too_long))].tolist()
    return order
