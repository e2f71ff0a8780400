"""Find the mirror of a mesh whose two sides are linked alike but have shapes of their own: by its links."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.edit.mirror_halves import cut_in_half, flood
from loopwright.edit.quad_links import Ids, QuadLinks, link_quads
from loopwright.errors import MarksError
from loopwright.types import BoolArray, MirrorPlane, QuadMesh

_NEAR = 0.06  # of the diagonal: so near to the middle the sides meet
_SQUARE = 0.5  # sine of the angle between the axis and an edge on which they meet, at least
_APART = 0.06  # of the diagonal, in the median: vertices further from their image are no images
_MOST_APART = 0.25  # the same, of every one
_SEEDS = 24  # edges of a part that are tried


def mirror_by_links(mesh: QuadMesh, axes: Sequence[int]) -> QuadMesh | None:
    """Return the mesh with a mirror plane across the first of these axes to which it is linked alike on both sides.

    The sides meet in edges near the middle. From one of those on, neighbours are matched with neighbours; the mesh has
    a mirror if that matches all quads of its part with quads, and no vertex with one that lies elsewhere.

    Parameters
    ----------
    mesh : whole.
    axes : 0, 1 or 2, in the order in which they are tried.
    """
    if len(mesh.quads) == 0:
        return None
    links = link_quads(mesh.quads, mesh.positions.shape[0])
    part = _parts(links)
    for axis in axes:
        for offset in _middles(mesh, axis):
            plane = MirrorPlane(np.eye(3)[axis], offset)
            in_plane = np.zeros(len(mesh.positions), np.bool_)
            for index in range(int(part.max()) + 1):
                own = _own_images(mesh, links, plane, part == index)
                if own is not None:
                    in_plane |= own
            if not in_plane.any():
                continue
            found = replace(mesh, on_mirror=in_plane, mirror=replace(plane, offset=_seam(mesh, in_plane, axis)))
            try:
                cut_in_half(found)
            except MarksError:
                continue
            return found
    return None


def _middles(mesh: QuadMesh, axis: int) -> list[float]:
    low, high = float(mesh.positions[:, axis].min()), float(mesh.positions[:, axis].max())
    return [0.0, 0.5 * (low + high)] if low < 0.0 < high else [0.5 * (low + high)]


def _seam(mesh: QuadMesh, in_plane: BoolArray, axis: int) -> float:
    """Return where the plane lies: through the origin where the sides meet about there."""
    middle = float(np.median(mesh.positions[in_plane, axis]))
    return 0.0 if abs(middle) <= 0.5 * _NEAR * _diagonal(mesh) else middle


def _diagonal(mesh: QuadMesh) -> float:
    return float(np.linalg.norm(np.ptp(mesh.positions, axis=0)))


def _parts(links: QuadLinks) -> Ids:
    """Return (m,) the number of the connected part that each quad belongs to."""
    inner = links.edge_half_edges[~links.is_boundary_edge] // 4
    size = len(links.quads)
    pairs = (np.ones(len(inner)), (inner[:, 0], inner[:, 1]))
    number: Ids = connected_components(coo_matrix(pairs, shape=(size, size)), directed=False)[1].astype(np.int64)
    return number


def _own_images(mesh: QuadMesh, links: QuadLinks, plane: MirrorPlane, of_part: BoolArray) -> BoolArray | None:
    """Return which vertices of a part are their own images, or None where its sides are not linked alike."""
    halves = links.edge_half_edges
    ends = mesh.positions[links.edges]
    way = ends[:, 1] - ends[:, 0]
    off = np.abs(plane.signed_distance(ends.reshape(-1, 3))).reshape(-1, 2).max(axis=1)
    length = np.linalg.norm(way, axis=1)
    across = np.abs(way @ plane.normal) <= np.sqrt(1.0 - _SQUARE**2) * length
    is_seed = ~links.is_boundary_edge & of_part[halves[:, 0] // 4] & across & (off <= _NEAR * _diagonal(mesh))
    seeds = np.flatnonzero(is_seed)
    for edge in seeds[np.argsort(off[seeds], kind="stable")][:_SEEDS].tolist():
        image = _match(mesh, links, halves[edge], plane, of_part)
        if image is not None:
            return np.asarray((image == np.arange(len(image))) & np.isin(np.arange(len(image)), mesh.quads[of_part]))
    return None


def _match(mesh: QuadMesh, links: QuadLinks, seed: Ids, plane: MirrorPlane, of_part: BoolArray) -> Ids | None:
    """Return (n,) the image of each vertex if matching from an edge on matches the whole part with itself."""
    there = flood(links.twin, seed[None])
    mine = np.flatnonzero(np.repeat(of_part, 4))
    back = flood(links.twin, seed[None, ::-1])
    there = np.where(there >= 0, there, back)
    if (there[mine] < 0).any():
        return None
    image = np.arange(len(mesh.positions))
    image[links.start[mine]] = links.end[there[mine]]
    if not np.array_equal(image[links.start[mine]], links.end[there[mine]]):
        return None
    if not np.array_equal(links.twin[mine] < 0, links.twin[there[mine]] < 0):
        return None
    own = np.unique(links.start[mine])
    if not np.array_equal(image[image[own]], own):
        return None
    gap = np.linalg.norm(plane.reflect(mesh.positions[own]) - mesh.positions[image[own]], axis=1) / _diagonal(mesh)
    return image if np.median(gap) <= _APART and gap.max() <= _MOST_APART else None
