"""The layout: nodes, arcs and patches on the surface that plans them."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.layout.border_graph import ArcKind
from loopwright.types import BoolArray, FloatArray, IntArray, RegionSurface


@dataclass(frozen=True)
class Arc:
    """A chain between two nodes.

    Attributes
    ----------
    vertices : (k,) int32 ids into ``Layout.positions``; a closed arc repeats its first.
    points : (k, 3) float64.
    kind : border, rim, mirror or cut.
    sides : the regions on both sides, the larger index first; -1 for none.
    length : its length in the sculpt's unit.
    """

    vertices: IntArray
    points: FloatArray
    kind: ArcKind
    sides: tuple[int, int]
    length: float


@dataclass(frozen=True)
class Patch:
    """A disc with three to five corners.

    Attributes
    ----------
    triangles : (m, 3) int32, ids into ``origin``.
    origin : (n,) int32, the layout vertex of each local vertex.
    boundary : (b,) int32 local ids, counter-clockwise, from corner 0.
    corners : places of the corners in ``boundary``.
    sides : per side its arcs in order, each (arc, runs forward).
    region : index of the region.
    is_ring : whether it is part of a ring, which wants closed loops without poles.
    is_sector : whether it is part of a ring that was cut across, in which rows may end.
    """

    triangles: IntArray
    origin: IntArray
    boundary: IntArray
    corners: tuple[int, ...]
    sides: tuple[tuple[tuple[int, bool], ...], ...]
    region: int
    is_ring: bool = False
    is_sector: bool = False


@dataclass(frozen=True)
class Layout:
    """Nodes, arcs and patches; ``positions`` are the region surface's, with the vertices that cuts added behind them.

    ``node_quads`` is the planned number of quads at each node in the mesh of
    this surface (a half, where there is a mirror plane).
    """

    surface: RegionSurface
    vertex_size: FloatArray
    positions: FloatArray
    on_mirror: BoolArray
    nodes: IntArray
    node_quads: IntArray
    arcs: tuple[Arc, ...]
    patches: tuple[Patch, ...]
