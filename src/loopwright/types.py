"""What flows through the corridor: one frozen value per stage.

Connectivity, geometry and attributes are kept apart.  Positions are float64
of shape (n, 3); indices are int32; every array is C-contiguous and is never
changed in place by the function that receives it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int32]
BoolArray: TypeAlias = NDArray[np.bool_]
ByteArray: TypeAlias = NDArray[np.uint8]


@dataclass(frozen=True)
class Sculpt:
    """A dense triangle mesh as it leaves sculpting.

    Attributes
    ----------
    positions : (n, 3) float64, in the file's own unit.
    triangles : (m, 3) int32, counter-clockwise seen from outside.
    colors : (n, 3) uint8 sRGB per vertex, or None where the file has none.
    name : the file's name without folder, for messages.
    """

    positions: FloatArray
    triangles: IntArray
    colors: ByteArray | None = None
    name: str = "sculpt"


@dataclass(frozen=True)
class MirrorPlane:
    """The plane {p : normal . p = offset}; the kept half has normal . p >= offset."""

    normal: FloatArray
    offset: float

    def signed_distance(self, points: FloatArray) -> FloatArray:
        """Return (n,) signed distances of (n, 3) points, positive on the kept half."""
        return points @ self.normal - self.offset

    def reflect(self, points: FloatArray) -> FloatArray:
        """Return the mirror images of (n, 3) points."""
        return points - 2.0 * self.signed_distance(points)[:, None] * self.normal


@dataclass(frozen=True)
class Region:
    """A painted area.

    Attributes
    ----------
    name : as used in options and files.
    color : sRGB, 0 to 255.
    painted : the colours that the sculpt has there, where edits have merged or split regions; else empty, and it has
        the region's own.
    """

    name: str
    color: tuple[int, int, int]
    painted: tuple[tuple[int, int, int], ...] = ()

    @property
    def paint(self) -> tuple[tuple[int, int, int], ...]:
        """The colours that the sculpt has there."""
        return self.painted or (self.color,)


@dataclass(frozen=True)
class Paint:
    """The colour of each vertex of a sculpt.

    Attributes
    ----------
    palette : (c, 3) uint8, the colours found.
    color : (n,) int32, index into the palette; -1 where the colour is not sure. Areas that stay open have theirs.
    """

    palette: ByteArray
    color: IntArray


@dataclass(frozen=True)
class RegionSurface:
    """The proxy, cut so that every border between regions is a chain of its edges.

    Triangles of areas that stay open are not in it: their rim is plain
    boundary.  With a mirror plane only the half on its positive side is
    here, and the vertices with ``on_mirror`` lie exactly in the plane.

    Attributes
    ----------
    positions : (n, 3) float64, on the sculpt.
    triangles : (m, 3) int32, a manifold with boundary.
    triangle_region : (m,) int32, index into ``regions``.
    regions : the regions that have triangles.
    mirror : the mirror plane, or None.
    on_mirror : (n,) bool.
    flow_edges : (k, 2) int32, further edges that the mesh must follow: flow lines inside regions.
    guide_edges : (k, 2) int32, edges that the layout follows but whose mesh vertices may move off them.
    """

    positions: FloatArray
    triangles: IntArray
    triangle_region: IntArray
    regions: tuple[Region, ...]
    mirror: MirrorPlane | None
    on_mirror: BoolArray
    flow_edges: IntArray = field(default_factory=lambda: np.zeros((0, 2), np.int32))
    guide_edges: IntArray = field(default_factory=lambda: np.zeros((0, 2), np.int32))


@dataclass(frozen=True)
class Curve:
    """A polyline on the sculpt that mesh edges follow: (k, 3) points; a closed one does not repeat its first."""

    points: FloatArray
    closed: bool


@dataclass(frozen=True)
class QuadMesh:
    """An all-quad mesh with what each vertex may do when it is moved.

    Attributes
    ----------
    positions : (n, 3) float64.
    quads : (m, 4) int32, counter-clockwise seen from outside.
    quad_region : (m,) int32, index into ``regions``.
    regions : the regions.
    vertex_curve : (n,) int32, the curve in ``curves`` that the vertex slides on, or -1.
    curves : border, opening and flow curves.
    is_fixed : (n,) bool, vertices that keep their place (junctions, pins).
    on_mirror : (n,) bool, vertices that stay in the mirror plane.
    mirror : the plane if this is a half mesh that ends at it (or a whole one that is symmetric to it), else None.
    """

    positions: FloatArray
    quads: IntArray
    quad_region: IntArray
    regions: tuple[Region, ...]
    vertex_curve: IntArray
    curves: tuple[Curve, ...]
    is_fixed: BoolArray
    on_mirror: BoolArray
    mirror: MirrorPlane | None = None


@dataclass(frozen=True)
class Finding:
    """One thing that a check found or a repair did, with where it is.

    ``kind`` is a short stable key such as ``non_manifold_edge``; ``text`` is
    the sentence for a person; ``elements`` are vertex or triangle ids;
    ``names`` are those of the wishes, or of the regions, that it is about;
    ``data`` holds further figures and places as plain values, for the
    report's JSON.
    """

    kind: str
    text: str
    count: int = 0
    elements: IntArray = field(default_factory=lambda: np.zeros(0, np.int32))
    names: tuple[str, ...] = ()
    data: Mapping[str, object] = field(default_factory=dict)
