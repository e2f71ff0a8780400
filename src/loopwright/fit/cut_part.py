"""A part of a mesh as a mesh of its own, fixed where it was cut from the rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from loopwright.types import IntArray, QuadMesh


def close_fans(quads: IntArray, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return these quads, and all round vertices at which they would hang together by that vertex alone, ascending.

    Parameters
    ----------
    quads : (m, 4) of a manifold. faces : (k,) ids of some of them.
    """
    inside = np.zeros(len(quads), np.bool_)
    inside[faces] = True
    while True:
        chosen = quads[inside]
        sides = np.sort(np.stack([chosen, np.roll(chosen, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
        edges, uses = np.unique(sides, axis=0, return_counts=True)
        rims = np.bincount(edges[uses == 1].ravel(), minlength=int(quads.max(initial=-1)) + 1)
        more = (rims > 2)[quads].any(axis=1) & ~inside
        if not more.any():
            return np.flatnonzero(inside)
        inside |= more


def cut_part(mesh: QuadMesh, faces: NDArray[np.int64]) -> tuple[QuadMesh, NDArray[np.int64]]:
    """Return these quads as a mesh whose vertices are fixed where it is cut from the rest, and which of the whole's.

    Parameters
    ----------
    faces : (k,) ids of quads.

    Returns
    -------
    part, vertices : vertex i of the part is vertex ``vertices[i]`` of the mesh, ascending.
    """
    vertices, local = np.unique(mesh.quads[faces], return_inverse=True)
    inside = np.zeros(len(mesh.quads), bool)
    inside[faces] = True
    cut = np.zeros(len(mesh.positions), bool)
    cut[mesh.quads[~inside]] = True
    part = replace(
        mesh,
        positions=mesh.positions[vertices],
        quads=local.reshape(-1, 4).astype(np.int32),
        quad_region=mesh.quad_region[faces],
        vertex_curve=mesh.vertex_curve[vertices],
        is_fixed=mesh.is_fixed[vertices] | cut[vertices],
        on_mirror=mesh.on_mirror[vertices],
    )
    return part, vertices.astype(np.int64)
