"""Find the mirror of a mesh whose two sides are linked alike but have shapes of their own: by its links."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.edit.mirror_halves import cut_in_half, flood
from loopwright.edit.quad_links import Ids, QuadLinks, link_quads
from loopwright.errors import MarksError
from loopwright.types import BoolArray, FloatArray, MirrorPlane, QuadMesh

_NEAR = 0.06  # of the diagonal: so near to the middle the sides meet
_SQUARE = 0.5  # sine of the angle between the axis and an edge on which they meet, at least
_SEEDS = 64  # loops of a part that are tried
_LEVELS = 12  # rows round a seed by which most that are none are seen
_MOST_APART = 0.25  # of the diagonal: vertices further from their image are no images
_OFF_MIDDLE = 0.25  # of its extent: a part whose middle is that far from the plane has its image in another part
_AT_ORIGIN = 0.002  # of the diagonal: a plane so near to the origin goes through it


@dataclass(frozen=True)
class _Found:
    mesh: QuadMesh
    gap: float


def mirror_by_links(mesh: QuadMesh, axes: Sequence[int], *, most_apart: float = 0.06) -> QuadMesh | None:
    """Return the mesh with the mirror plane across one of these axes to which it is linked alike on both sides.

    The sides meet in a loop of edges near the middle. From one on, neighbours are matched with neighbours; the mesh has
    a mirror if that matches all quads of its part with quads, and no vertex with one that lies elsewhere. Of several
    planes the one across which the sides are least apart is taken.

    Parameters
    ----------
    mesh : whole.
    axes : 0, 1 or 2.
    most_apart : of the diagonal, how far vertices may be from their images, in the median.
    """
    if len(mesh.quads) == 0:
        return None
    links = link_quads(mesh.quads, len(mesh.positions))
    loops, part = _loops(links), _parts(links)
    tried = (_try_plane(mesh, links, loops, part, axis, at) for axis in axes for at in _middles(mesh, axis))
    found = [each for each in tried if each is not None and each.gap <= most_apart]
    return min(found, key=lambda each: each.gap).mesh if found else None


def _try_plane(mesh: QuadMesh, links: QuadLinks, loops: Ids, part: Ids, axis: int, offset: float) -> _Found | None:
    """Return the mesh with a plane near this one, if it has one there."""
    plane, diagonal = MirrorPlane(np.eye(3)[axis], offset), _diagonal(mesh)
    ends = mesh.positions[links.edges]
    off = np.abs(plane.signed_distance(ends.reshape(-1, 3))).reshape(-1, 2).max(axis=1)
    way = ends[:, 1] - ends[:, 0]
    is_square = np.abs(way @ plane.normal) <= np.sqrt(1.0 - _SQUARE**2) * np.linalg.norm(way, axis=1)
    seeds = np.flatnonzero(~links.is_boundary_edge & is_square & (off <= _NEAR * diagonal))
    seeds = seeds[np.argsort(off[seeds], kind="stable")]
    of_part = part[links.edge_half_edges[seeds, 0] // 4]
    image = np.full(len(mesh.positions), -1, np.int64)
    for index in np.unique(of_part).tolist():
        own = np.unique(mesh.quads[part == index])
        if _is_aside(mesh.positions[own], plane):
            continue
        mine = seeds[of_part == index]
        first = np.sort(np.unique(loops[mine], return_index=True)[1])[:_SEEDS]
        for edge in mine[first].tolist():
            matched = _match(mesh, links, links.edge_half_edges[edge], plane, part == index)
            if matched is not None:
                image[own] = matched[own]
                break
    matched_ids = np.flatnonzero(image >= 0)
    in_plane = image == np.arange(len(image))
    if not in_plane.any():
        return None
    middle = float(np.median(mesh.positions[in_plane, axis]))
    plane = replace(plane, offset=0.0 if abs(middle) <= _AT_ORIGIN * diagonal else middle)
    found = replace(mesh, on_mirror=in_plane, mirror=plane)
    try:
        cut_in_half(found)
    except MarksError:
        return None
    return _Found(found, float(np.median(_gaps(mesh, plane, matched_ids, image[matched_ids]))))


def _middles(mesh: QuadMesh, axis: int) -> list[float]:
    low, high = float(mesh.positions[:, axis].min()), float(mesh.positions[:, axis].max())
    middle = 0.5 * (low + high)
    is_centred = low < 0.0 < high and abs(middle) > 1e-9 * (high - low)
    return [0.0, middle] if is_centred else [middle]


def _diagonal(mesh: QuadMesh) -> float:
    return float(np.linalg.norm(np.ptp(mesh.positions, axis=0)))


def _is_aside(points: FloatArray, plane: MirrorPlane) -> bool:
    """Tell whether a part of the mesh, such as one of two eyes, lies on one side of the plane."""
    height = plane.signed_distance(points)
    return abs(float(height.mean())) > _OFF_MIDDLE * float(np.ptp(height))


def _parts(links: QuadLinks) -> Ids:
    """Return (m,) the number of the connected part that each quad belongs to."""
    inner = links.edge_half_edges[~links.is_boundary_edge] // 4
    size = len(links.quads)
    pairs = (np.ones(len(inner)), (inner[:, 0], inner[:, 1]))
    number: Ids = connected_components(coo_matrix(pairs, shape=(size, size)), directed=False)[1].astype(np.int64)
    return number


def _loops(links: QuadLinks) -> Ids:
    """Return (e,) the number of the loop that each edge belongs to."""
    edge, half = links.quad_edge.ravel(), np.flatnonzero(links.straight >= 0)
    size = len(links.edges)
    pairs = (np.ones(len(half)), (edge[half], edge[links.straight[half]]))
    number: Ids = connected_components(coo_matrix(pairs, shape=(size, size)), directed=False)[1].astype(np.int64)
    return number


def _match(mesh: QuadMesh, links: QuadLinks, seed: Ids, plane: MirrorPlane, of_part: BoolArray) -> Ids | None:
    """Return (n,) the image of each vertex if matching from an edge on matches the whole part with itself."""
    if not _is_alike(links, flood(links.twin, seed[None], levels=_LEVELS)):
        return None
    there = flood(links.twin, seed[None])
    mine = np.flatnonzero(np.repeat(of_part, 4))
    if (there[mine] < 0).any() or not _is_alike(links, there):
        return None
    image = np.arange(len(mesh.positions))
    image[links.start[mine]] = links.end[there[mine]]
    if not np.array_equal(image[links.start[mine]], links.end[there[mine]]):
        return None
    own = np.unique(links.start[mine])
    if not np.array_equal(image[image[own]], own):
        return None
    return image if _gaps(mesh, plane, own, image[own]).max() <= _MOST_APART else None


def _is_alike(links: QuadLinks, there: Ids) -> bool:
    """Tell whether half-edges that are matched so far begin where as many edges meet, and have neighbours alike."""
    here = np.flatnonzero(there >= 0)
    begins = np.array_equal(links.valence[links.start[here]], links.valence[links.end[there[here]]])
    return begins and np.array_equal(links.twin[here] < 0, links.twin[there[here]] < 0)


def _gaps(mesh: QuadMesh, plane: MirrorPlane, own: Ids, image: Ids) -> FloatArray:
    """Return how far images of vertices are from where the plane has them, as shares of the diagonal."""
    gap: FloatArray = np.linalg.norm(plane.reflect(mesh.positions[own]) - mesh.positions[image], axis=1)
    return gap / _diagonal(mesh)
