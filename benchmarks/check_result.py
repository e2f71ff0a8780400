"""Check a finished mesh against the surface it was planned on, without the pipeline's own helpers."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.pipeline import BuildResult
from loopwright.types import BoolArray, FloatArray, QuadMesh, RegionSurface

IntArray: TypeAlias = NDArray[np.integer[Any]]


def check_result(result: BuildResult) -> list[str]:
    """Return what is wrong with a build, one short phrase each; an empty list for a valid mesh.

    Valid: all quads, every vertex used, an oriented manifold with inner
    valence three to five, corners that are not folded, and as many
    components, rims, handles and pieces of regions as the kept part of the sculpt.
    """
    mesh, surface = result.mesh, result.surface
    faults = check_quads(mesh.positions, mesh.quads)
    if faults:
        return faults
    faces: IntArray = surface.triangles
    labels: IntArray = surface.triangle_region
    if surface.mirror is not None:
        faces, labels = _double(surface.triangles, surface.on_mirror), np.tile(labels, 2)
    wanted, got = topology(faces), topology(mesh.quads)
    for name in wanted:
        if wanted[name] != got[name]:
            faults.append(f"{name} {got[name]} instead of {wanted[name]}")
    if set(mesh.quad_region.tolist()) != set(labels.tolist()):
        faults.append("a region is missing")
    elif piece_counts(faces, labels) != piece_counts(mesh.quads, mesh.quad_region):
        faults.append("pieces of regions differ")
    folded = int((corner_sines(mesh.positions, mesh.quads).min(axis=1) <= 0).sum())
    if folded:
        faults.append(f"folded quads {folded}")
    return faults


def check_half(mesh: QuadMesh, surface: RegionSurface) -> list[str]:
    """Return what is wrong with the links of a mesh of the kept part of a surface, before it is mirrored."""
    faults = check_quads(mesh.positions, mesh.quads)
    wanted, got = topology(surface.triangles), topology(mesh.quads)
    faults += [f"{name} {got[name]} instead of {wanted[name]}" for name in wanted if wanted[name] != got[name]]
    if piece_counts(surface.triangles, surface.triangle_region) != piece_counts(mesh.quads, mesh.quad_region):
        faults.append("pieces of regions differ")
    return faults


def check_quads(positions: FloatArray, quads: IntArray) -> list[str]:
    """Return faults of the connectivity."""
    if quads.ndim != 2 or quads.shape[1] != 4 or len(quads) == 0:
        return ["not all quads"]
    faults = []
    if not np.isfinite(positions).all():
        faults.append("positions not finite")
    if not np.array_equal(np.unique(quads), np.arange(len(positions))):
        faults.append("vertices unused")
    if any((quads[:, i] == quads[:, j]).any() for i in range(4) for j in range(i)):
        faults.append("degenerate quads")
    if len(np.unique(np.sort(quads, axis=1), axis=0)) != len(quads):
        faults.append("double quads")
    edges = directed(quads)
    if len(np.unique(edges, axis=0)) != len(edges):
        return [*faults, "not an oriented manifold"]
    n = len(positions)
    valence = np.bincount(quads.ravel(), minlength=n)
    rim = rim_edges(quads)
    at_rim = np.bincount(rim.ravel(), minlength=n) if len(rim) else np.zeros(n, int)
    if (at_rim > 2).any() or fans(quads, n).max() > 1:
        faults.append("pinched vertices")
    inner = at_rim == 0
    if (valence[inner] < 3).any() or (valence[inner] > 5).any():
        faults.append(f"valence {int(valence[inner].min())} to {int(valence[inner].max())}")
    return faults


def directed(faces: IntArray) -> IntArray:
    """Return the directed edges of (m, k) faces."""
    out: IntArray = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)
    return out


def rim_edges(faces: IntArray) -> IntArray:
    """Return the directed edges without an opposite one."""
    edges = directed(faces).astype(np.int64)
    n = int(faces.max()) + 1
    rim: IntArray = edges[~np.isin(edges[:, 0] * n + edges[:, 1], edges[:, 1] * n + edges[:, 0])]
    return rim


def fans(faces: IntArray, n: int) -> IntArray:
    """Return (n,) the number of fans of faces round each vertex; one in a manifold."""
    m, k = faces.shape
    corner = np.arange(m * k).reshape(m, k)
    tail, head = directed(faces).astype(np.int64).T
    at_tail, at_head = corner.ravel(), np.roll(corner, -1, axis=1).ravel()
    order = np.argsort(tail * n + head)
    keys = (tail * n + head)[order]
    place = np.minimum(np.searchsorted(keys, head * n + tail), len(keys) - 1)
    met = keys[place] == head * n + tail
    other = order[place][met]
    # corners of two faces that share an edge and a vertex belong to one fan
    rows = np.concatenate([at_tail[met], at_head[met]])
    cols = np.concatenate([at_head[other], at_tail[other]])
    count, label = connected_components(coo_matrix((np.ones(len(rows)), (rows, cols)), shape=(m * k, m * k)), False)
    vertex = np.zeros(count, np.int64)
    vertex[label] = faces.ravel()
    out: IntArray = np.bincount(vertex, minlength=n)
    return out


def topology(faces: IntArray) -> dict[str, int]:
    """Return components, rims and Euler number of (m, k) faces."""
    used, local = np.unique(faces, return_inverse=True)
    local = local.reshape(faces.shape)
    edges = np.unique(np.sort(directed(local), axis=1), axis=0)
    whole = connected_components(coo_matrix((np.ones(len(edges)), edges.T), shape=(len(used),) * 2), False)[0]
    rim = rim_edges(local)
    ends, place = np.unique(rim, return_inverse=True)
    place = place.reshape(-1, 2)
    graph = coo_matrix((np.ones(len(place)), place.T), shape=(len(ends),) * 2)
    rims = connected_components(graph, False)[0] if len(ends) else 0
    return {"components": whole, "rims": rims, "euler": len(used) - len(edges) + len(faces)}


def piece_counts(faces: IntArray, labels: IntArray) -> dict[int, int]:
    """Return the number of connected pieces per region; pieces hang together along edges."""
    edges = directed(faces).astype(np.int64)
    n = int(faces.max()) + 1
    order = np.argsort(edges[:, 0] * n + edges[:, 1])
    keys = (edges[:, 0] * n + edges[:, 1])[order]
    back = edges[:, 1] * n + edges[:, 0]
    place = np.minimum(np.searchsorted(keys, back), len(keys) - 1)
    met = np.flatnonzero(keys[place] == back)
    here, there = met // faces.shape[1], order[place[met]] // faces.shape[1]
    same: BoolArray = labels[here] == labels[there]
    graph = coo_matrix((np.ones(int(same.sum())), (here[same], there[same])), shape=(len(faces),) * 2)
    count, piece = connected_components(graph, False)
    of_piece = np.zeros(count, np.int64)
    of_piece[piece] = labels
    names, many = np.unique(of_piece, return_counts=True)
    return dict(zip(names.tolist(), many.tolist(), strict=True))


def corner_sines(positions: FloatArray, quads: IntArray) -> FloatArray:
    """Return (m, 4) sines of the corners against the quad's own normal.

    References
    ----------
    C. J. Stimpson et al., "The Verdict Geometric Quality Library", SAND2007-1751, 2007: scaled Jacobian of a quad.
    """
    p = positions[quads]
    ahead, behind = np.roll(p, -1, axis=1) - p, np.roll(p, 1, axis=1) - p
    normal = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])
    area = np.einsum("nkj,nj->nk", np.cross(ahead, behind), normal)
    scale = np.linalg.norm(ahead, axis=2) * np.linalg.norm(behind, axis=2) * np.linalg.norm(normal, axis=1)[:, None]
    sines: FloatArray = area / np.maximum(scale, 1e-300)
    return sines


def _double(triangles: IntArray, on_mirror: BoolArray) -> IntArray:
    """Return the triangles of a half and of its mirror image, joined along the rim in the plane."""
    shared = np.zeros(len(on_mirror), bool)
    shared[np.unique(rim_edges(triangles))] = True
    shared &= on_mirror
    image = np.where(shared, np.arange(len(shared)), np.arange(len(shared)) + len(shared))
    doubled: IntArray = np.concatenate([triangles, image[triangles][:, ::-1]])
    return doubled
