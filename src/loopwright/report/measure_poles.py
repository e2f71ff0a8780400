"""Which vertices are poles, and in which region or on which border they lie."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from loopwright.types import BoolArray, IntArray, QuadMesh


@dataclass(frozen=True)
class Poles:
    """The vertices of irregular valence.

    Attributes
    ----------
    vertices : (k,) int32, the inner vertices whose valence is not 4.
    valences : (k,) int32, their valence.
    places : k names: a region, or ``A / B`` for a vertex on the border between A and B.
    rim_turns : how many rim vertices have a valence other than 3, by valence.
    """

    vertices: IntArray
    valences: IntArray
    places: tuple[str, ...]
    rim_turns: dict[int, int]

    def count_by_valence(self) -> dict[int, int]:
        """Return the number of inner poles of each valence, in order."""
        return dict(sorted(Counter(self.valences.tolist()).items()))

    def count_by_place(self) -> dict[str, dict[int, int]]:
        """Return the number of inner poles of each valence, by place, places in order of their name."""
        table: dict[str, dict[int, int]] = {}
        for place, valence in sorted(zip(self.places, self.valences.tolist(), strict=True)):
            table.setdefault(place, {}).setdefault(valence, 0)
            table[place][valence] += 1
        return table


def measure_poles(mesh: QuadMesh) -> Poles:
    """Find the poles of a mesh and name where they are."""
    valence, is_rim = measure_valence(mesh.quads, len(mesh.positions))
    is_used = valence > 0
    vertices = np.flatnonzero(is_used & ~is_rim & (valence != 4)).astype(np.int32)
    rim_turns = Counter(valence[is_rim & (valence != 3)].tolist())
    return Poles(
        vertices=vertices,
        valences=valence[vertices],
        places=_name_places(mesh, vertices),
        rim_turns=dict(sorted(rim_turns.items())),
    )


def measure_valence(quads: IntArray, vertex_count: int) -> tuple[IntArray, BoolArray]:
    """Return (n,) the number of edges at each vertex and (n,) whether it lies on the mesh's rim."""
    sides = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    edges, uses = np.unique(sides, axis=0, return_counts=True)
    valence = np.bincount(edges.ravel(), minlength=vertex_count).astype(np.int32)
    is_rim = np.zeros(vertex_count, bool)
    is_rim[edges[uses == 1].ravel()] = True
    return valence, is_rim


def _name_places(mesh: QuadMesh, vertices: IntArray) -> tuple[str, ...]:
    """Name the region or regions round each of the given vertices."""
    regions_at: dict[int, set[int]] = {int(vertex): set() for vertex in vertices}
    is_near = np.isin(mesh.quads, vertices)
    rows, columns = np.nonzero(is_near)
    for vertex, region in zip(mesh.quads[rows, columns].tolist(), mesh.quad_region[rows].tolist(), strict=True):
        regions_at[vertex].add(region)
    return tuple(
        " / ".join(sorted(mesh.regions[region].name for region in regions_at[int(vertex)])) for vertex in vertices
    )
