"""The part of a cage near some of its faces, for what is tried there again and again."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loopwright.detail.types import Creases
from loopwright.fit.fold_mirror import fold_mirror
from loopwright.numerics.catmull_clark import unique_edges
from loopwright.types import BoolArray, QuadMesh

Ids = NDArray[np.int64]


@dataclass(frozen=True)
class NearPart:
    """Some faces of a mesh as a mesh of their own.

    Attributes
    ----------
    mesh : the part; a half stays one.
    vertices, faces : the ids that its vertices and faces have in the whole mesh, ascending.
    place : (n,) the part's vertex for each of the whole's, or -1.
    """

    mesh: QuadMesh
    vertices: Ids
    faces: Ids
    place: Ids

    def creases(self, whole: Creases) -> Creases:
        """Return those of the whole mesh's creases that are edges of the part."""
        edges = self.place[whole.edges]
        count = len(self.vertices)
        known = unique_edges(self.mesh.quads)
        is_here = (edges >= 0).all(axis=1)
        is_here &= np.isin(edges[:, 0] * count + edges[:, 1], known[:, 0] * count + known[:, 1])
        return Creases(edges[is_here].astype(np.int32), whole.sharpness[is_here])

    def find_faces(self, faces: Ids) -> Ids:
        """Return the part's faces for some of the whole's that are in it."""
        return np.searchsorted(self.faces, faces)


def cut_near(mesh: QuadMesh, faces: Ids, rings: int) -> NearPart:
    """Return the faces and those within some rings of them, with no vertex at which the part only touches itself."""
    is_kept = np.zeros(len(mesh.quads), bool)
    is_kept[faces] = True
    for _ in range(rings):
        touched = np.zeros(len(mesh.positions), bool)
        touched[mesh.quads[is_kept].ravel()] = True
        is_kept = np.asarray(touched[mesh.quads].any(axis=1), np.bool_)
    return _take(mesh, np.flatnonzero(_close_pinches(mesh, is_kept)))


def _close_pinches(mesh: QuadMesh, is_kept: BoolArray) -> BoolArray:
    """Return the choice with all faces round each vertex whose chosen ones are not one fan, seen in the whole."""
    fold = fold_mirror(mesh)
    copies = len(fold.quads) // len(mesh.quads)
    while True:
        chosen = np.tile(is_kept, copies)
        edges, uses = _edge_uses(fold.quads[chosen], fold.whole_count)
        inner = np.bincount(edges[uses == 2].ravel(), minlength=fold.whole_count)
        fans = np.bincount(fold.quads[chosen].ravel(), minlength=fold.whole_count) - inner
        grown = is_kept | (fans > 1)[fold.quads].any(axis=1).reshape(copies, -1).any(axis=0)
        if grown.sum() == is_kept.sum():
            return is_kept
        is_kept = grown


def _edge_uses(quads: NDArray[np.integer], count: int) -> tuple[Ids, Ids]:
    """Return (e, 2) edges and how many faces each has."""
    pairs = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2).astype(np.int64), axis=1)
    keys, uses = np.unique(pairs[:, 0] * count + pairs[:, 1], return_counts=True)
    return np.stack([keys // count, keys % count], axis=1), uses


def _take(mesh: QuadMesh, faces: Ids) -> NearPart:
    vertices, inverse = np.unique(mesh.quads[faces], return_inverse=True)
    place = np.full(len(mesh.positions), -1, np.int64)
    place[vertices] = np.arange(len(vertices))
    part = replace(
        mesh,
        positions=np.ascontiguousarray(mesh.positions[vertices]),
        quads=np.ascontiguousarray(inverse.reshape(-1, 4), np.int32),
        quad_region=mesh.quad_region[faces],
        vertex_curve=mesh.vertex_curve[vertices],
        is_fixed=mesh.is_fixed[vertices],
        on_mirror=mesh.on_mirror[vertices],
    )
    return NearPart(part, vertices.astype(np.int64), faces.astype(np.int64), place)
