"""Take a mirrored mesh apart into its half and the image of each vertex, and put it together again."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from loopwright.edit.quad_links import Ids, link_quads
from loopwright.errors import MarksError
from loopwright.fit.fold_mirror import is_half
from loopwright.fit.reflect import put_in_plane
from loopwright.types import BoolArray, Curve, FloatArray, IntArray, MirrorPlane, QuadMesh

_SAME_PLACE = 1e-9  # of the extent: vertices this near to each other's image are mirrored exactly
_OWN = 1e-5  # of the extent: images further off have places of their own
_IN_PLANE = 1e-6  # of the extent: what the halves meet in is in the plane; files round
_MATCH = 0.03  # of the extent: how near the middles of parts that do not touch the plane must come to their images


@dataclass(frozen=True)
class Halves:
    """A whole mesh as a half and its image.

    Attributes
    ----------
    half : the half on the plane's positive side, ending at the plane; its curves are those of the whole.
    kept, image : (h,) ids in the whole of the half's vertices and of their images, the same in the plane.
    curve_image : (c,) the curve on the other side that answers to each.
    image_positions : (h, 3) where the images are.
    is_exact : whether the positions mirror each other, and shall do so again.
    is_flat : whether the vertices in which the halves meet lie in the plane, and shall do so again.
    apart : the most that images are off, as a length.
    has_own_sides : whether that is more than files round.
    """

    half: QuadMesh
    kept: Ids
    image: Ids
    curve_image: Ids
    image_positions: FloatArray
    is_exact: bool
    is_flat: bool = True
    apart: float = 0.0
    has_own_sides: bool = False


def is_whole_mirrored(mesh: QuadMesh) -> bool:
    """Return whether a mesh has both halves of a mirrored one."""
    return mesh.mirror is not None and len(mesh.quads) > 0 and not is_half(mesh)


def cut_in_half(mesh: QuadMesh) -> Halves:
    """Cut a whole mesh along its mirror plane; the halves are matched by their links, not by their positions.

    Raises
    ------
    MarksError
        If the two sides are not linked alike, or no edges run along the plane.
    """
    plane = mesh.mirror
    if plane is None:
        raise MarksError("This mesh has no mirror plane to be cut along.")
    is_kept, image = _match_halves(mesh, plane)
    quads = mesh.quads[is_kept]
    kept = np.unique(quads).astype(np.int64)
    row = np.full(len(mesh.positions), -1, np.int64)
    row[kept] = np.arange(len(kept))
    half = QuadMesh(
        mesh.positions[kept],
        row[quads].astype(np.int32),
        mesh.quad_region[is_kept],
        mesh.regions,
        mesh.vertex_curve[kept],
        mesh.curves,
        mesh.is_fixed[kept],
        mesh.on_mirror[kept],
        mesh.mirror,
    )
    there = mesh.positions[image[kept]]
    extent = float(np.ptp(mesh.positions, axis=0).max())
    apart = float(np.linalg.norm(plane.reflect(half.positions) - there, axis=1).max())
    is_exact = bool(np.abs(plane.reflect(half.positions) - there).max() <= _SAME_PLACE * extent)
    middle = np.abs(plane.signed_distance(half.positions[half.on_mirror]))
    is_flat = bool(middle.max(initial=0.0) <= _IN_PLANE * extent)
    curve_image = np.arange(len(mesh.curves))
    here = mesh.vertex_curve[kept]
    free = (here >= 0) & ~mesh.is_fixed[kept] & (mesh.vertex_curve[image[kept]] >= 0)
    curve_image[here[free]] = mesh.vertex_curve[image[kept]][free]
    return Halves(half, kept, image[kept], curve_image, there, is_exact, is_flat, apart, apart > _OWN * extent)


def join_halves(halves: Halves, half: QuadMesh, other: FloatArray | None) -> QuadMesh:
    """Return the whole mesh of an edited half: the half first, then the images.

    Vertices in which the halves meet are put in the plane, unless those of the whole were not.

    Parameters
    ----------
    other : (h, 3) positions of the images of all vertices of the half, or None to mirror them.
    """
    mirror = half.mirror
    if mirror is None:
        raise MarksError("This half has no mirror plane to be joined at.")
    count = len(half.positions)
    source = np.flatnonzero(~half.on_mirror)
    image = np.arange(count)
    image[source] = count + np.arange(len(source))
    positions = put_in_plane(half.positions, half.on_mirror, mirror) if halves.is_flat else half.positions
    there = mirror.reflect(positions[source]) if other is None else other[source]
    fresh = half.curves[len(halves.curve_image) :]
    copies = tuple(Curve(np.ascontiguousarray(mirror.reflect(curve.points)), curve.closed) for curve in fresh)
    curve_image = np.concatenate(
        [halves.curve_image, len(half.curves) + np.arange(len(fresh)), [-1]]  # the last entry serves index -1
    )
    return replace(
        half,
        positions=np.ascontiguousarray(np.vstack([positions, there])),
        quads=np.ascontiguousarray(np.vstack([half.quads, image[half.quads][:, [0, 3, 2, 1]]]), np.int32),
        quad_region=np.tile(half.quad_region, 2).astype(np.int32),
        vertex_curve=np.concatenate([half.vertex_curve, curve_image[half.vertex_curve[source]]]).astype(np.int32),
        curves=half.curves + copies,
        is_fixed=np.concatenate([half.is_fixed, half.is_fixed[source]]),
        on_mirror=np.concatenate([half.on_mirror, np.zeros(len(source), bool)]),
    )


def other_side(halves: Halves, half: QuadMesh, positions: FloatArray) -> QuadMesh:
    """Return an edited half at the positions of its images, on the curves of that side, and facing as it does."""
    curve_image = np.concatenate([halves.curve_image, np.arange(len(halves.curve_image), len(half.curves)), [-1]])
    quads = np.ascontiguousarray(half.quads[:, [0, 3, 2, 1]])
    return replace(half, positions=positions, quads=quads, vertex_curve=curve_image[half.vertex_curve].astype(np.int32))


def _match_halves(mesh: QuadMesh, mirror: MirrorPlane) -> tuple[BoolArray, Ids]:
    """Return which quads are the kept half's, and the image of every vertex of the whole."""
    links = link_quads(mesh.quads, len(mesh.positions))
    in_plane = mesh.on_mirror[links.edges].all(axis=1)
    inner = ~links.is_boundary_edge & ~in_plane
    pairs = links.edge_half_edges[inner] // 4
    size = len(mesh.quads)
    _, part = connected_components(coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(size, size)))
    height = mirror.signed_distance(mesh.positions[mesh.quads].mean(axis=1))
    is_kept = (np.bincount(part, height) >= 0.0)[part]
    seeds = links.edge_half_edges[~links.is_boundary_edge & in_plane]
    seeds = np.where(is_kept[seeds[:, :1] // 4], seeds, seeds[:, ::-1])
    if (is_kept[seeds[:, 0] // 4] == is_kept[seeds[:, 1] // 4]).any():
        raise MarksError("The mesh crosses its mirror plane where no edge runs along it; it cannot be edited mirrored.")
    twin_of = flood(links.twin, seeds)
    image = np.arange(len(mesh.positions))
    matched = np.flatnonzero(twin_of >= 0)
    image[links.start[matched]] = links.end[twin_of[matched]]
    image[links.end[twin_of[matched]]] = links.start[matched]
    rest = np.flatnonzero(is_kept & (twin_of.reshape(-1, 4)[:, 0] < 0))
    _match_by_place(mesh, mirror, mesh.quads[rest], mesh.quads[~is_kept], image)
    _check_match(mesh, is_kept, image)
    return is_kept, image


def flood(twin: Ids, seeds: Ids, *, levels: int | None = None) -> Ids:
    """Spread (k, 2) pairs of a half-edge and its image, running the other way, over neighbours; return images or -1.

    Parameters
    ----------
    levels : how far; None for all that is reached.
    """
    image = np.full(len(twin), -1, np.int64)
    front = seeds
    while len(front) and levels != 0:
        levels = None if levels is None else levels - 1
        front = front[image[front[:, 0]] < 0]
        _, first = np.unique(front[:, 0] // 4, return_index=True)
        front = front[np.sort(first)]
        base, corner = front // 4 * 4, front % 4
        reached = []
        for step in range(4):
            here = base[:, 0] + (corner[:, 0] + step) % 4
            there = base[:, 1] + (corner[:, 1] - step) % 4
            image[here] = there
            reached.append(np.stack([twin[here], twin[there]], axis=1))
        front = np.vstack(reached)
        front = front[(front >= 0).all(axis=1)]
    return image


def _match_by_place(mesh: QuadMesh, mirror: MirrorPlane, rest: IntArray, others: IntArray, image: Ids) -> None:
    """Match parts that touch the plane nowhere by the positions of their images, moved middle on middle."""
    ids, candidates = np.unique(rest), np.unique(others)
    taken: list[Ids] = []
    all_pieces = _part_vertices(others, candidates) if len(rest) else []
    for part in _part_vertices(rest, ids):
        pieces = [piece for piece in all_pieces if len(piece) == len(part)]
        there = mirror.reflect(mesh.positions[part])
        gaps = [float(np.linalg.norm(mesh.positions[each].mean(axis=0) - there.mean(axis=0))) for each in pieces]
        if not pieces or min(gaps) > _MATCH * float(np.ptp(mesh.positions, axis=0).max()):
            at = "({:.4g}, {:.4g}, {:.4g})".format(*mesh.positions[part].mean(axis=0))
            raise MarksError(f"The part of the mesh round {at} has no image on the other side of the mirror plane.")
        piece = pieces[int(np.argmin(gaps))]
        there = there + mesh.positions[piece].mean(axis=0) - there.mean(axis=0)
        nearest = piece[cKDTree(mesh.positions[piece], balanced_tree=False, compact_nodes=False).query(there)[1]]
        image[part], image[nearest] = nearest, part
        taken.append(nearest)
    if taken and len(np.unique(np.concatenate(taken))) < sum(map(len, taken)):
        raise MarksError("Two parts of the mesh have one image on the other side of the mirror plane.")


def _part_vertices(quads: IntArray, ids: IntArray) -> list[Ids]:
    """Return the vertices of each connected part of some quads."""
    if len(quads) == 0:
        return []
    row = np.searchsorted(ids, quads)
    pairs = (np.ones(3 * len(quads)), (np.repeat(row[:, 0], 3), row[:, 1:].ravel()))
    count, part = connected_components(coo_matrix(pairs, shape=(len(ids), len(ids))), directed=False)
    return [ids[part == k].astype(np.int64) for k in range(count)]


def _check_match(mesh: QuadMesh, is_kept: BoolArray, image: Ids) -> None:
    mapped = np.sort(image[mesh.quads[is_kept]], axis=1)
    there = np.sort(mesh.quads[~is_kept], axis=1)
    same = len(mapped) == len(there)
    if not same or not np.array_equal(mapped[np.lexsort(mapped.T)], there[np.lexsort(there.T)]):
        raise MarksError("The two sides of the mesh are not linked alike, so that edits cannot be mirrored.")
