"""Surfaces with exact borders, and the laws that meshes of any kind have to hold; shared by all folders."""

from __future__ import annotations

import signal
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.counts.solve_counts import arc_targets, solve_for_budget
from loopwright.layout.plan_layout import plan_layout
from loopwright.layout.types import Layout
from loopwright.quads.build_mesh import build_mesh
from loopwright.types import FloatArray, IntArray, MirrorPlane, QuadMesh, Region, RegionSurface

Profile = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
X_PLANE = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)


def pytest_configure() -> None:
    """Let interrupts through that a shell tells its background jobs to ignore: tests send them to their children."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def polar_net(rows: int) -> tuple[IntArray, FloatArray, IntArray]:
    """Return row and angle of each vertex of a disc of triangles: row r has 4 r vertices; and the triangles.

    Rows, and the rays at quarter turns, are chains of edges.
    """
    row, angle, first = [0], [0.0], [0]
    for r in range(1, rows + 1):
        first.append(len(row))
        row += [r] * (4 * r)
        angle += [0.5 * np.pi * k / r for k in range(4 * r)]
    faces = []
    for r in range(1, rows + 1):
        for quarter in range(4):
            for k in range(r):
                outer = first[r] + quarter * r + k
                after = first[r] + (quarter * r + k + 1) % (4 * r)
                inner = first[r - 1] + (quarter * (r - 1) + k) % max(4 * (r - 1), 1)
                faces.append((inner, outer, after))
                if k < r - 1:
                    faces.append((inner, after, first[r - 1] + (quarter * (r - 1) + k + 1) % (4 * (r - 1))))
    return np.array(row, np.int32), np.array(angle), np.array(faces, np.int32)


def turned(rows: int, profile: Profile) -> tuple[FloatArray, IntArray]:
    """Return a disc-like surface of revolution; ``profile`` gives radius and height for t from 0 (tip) to 1 (rim)."""
    row, angle, faces = polar_net(rows)
    radius, height = profile(row / rows)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=1), faces


def flat_disc(rows: int) -> tuple[FloatArray, IntArray]:
    return turned(rows, lambda t: (t, 0 * t))


def hemisphere(rows: int) -> tuple[FloatArray, IntArray]:
    return turned(rows, lambda t: (np.sin(t * np.pi / 2), np.cos(t * np.pi / 2)))


def horn(rows: int, length: float) -> tuple[FloatArray, IntArray]:
    """A tube of radius 1 and this length, closed above by a hemisphere; its rim is at height 0."""
    whole = np.pi / 2 + length

    def profile(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        s = t * whole
        cap = np.minimum(s, np.pi / 2)
        return np.sin(cap), length + np.cos(cap) - np.maximum(s - np.pi / 2, 0.0)

    return turned(rows, profile)


def globe(rows: int) -> tuple[FloatArray, IntArray]:
    """A unit sphere of 8 rows^2 triangles: circles of latitude and the coordinate planes are chains of edges."""
    row, _, faces = polar_net(rows)
    north, _ = hemisphere(rows)
    south = north * np.array([1.0, 1.0, -1.0])
    below = np.where(row == rows, np.arange(len(row)), len(row) + np.arange(len(row)))
    points = np.concatenate([north, south[row < rows]])
    points[np.abs(points) < 1e-15] = 0.0
    return points, np.concatenate([faces, below[faces][:, ::-1]]).astype(np.int32)


def grid_net(points: FloatArray, *, close_u: bool = False, close_v: bool = False) -> tuple[FloatArray, IntArray]:
    """Triangulate a (u, v, 3) grid; normals along du x dv."""
    u, v = points.shape[:2]
    ids = np.arange(u * v).reshape(u, v)
    ids = np.concatenate([ids, ids[:1]]) if close_u else ids
    ids = np.concatenate([ids, ids[:, :1]], axis=1) if close_v else ids
    a, b, c, d = ids[:-1, :-1].ravel(), ids[1:, :-1].ravel(), ids[1:, 1:].ravel(), ids[:-1, 1:].ravel()
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]).astype(np.int32)
    return np.ascontiguousarray(points.reshape(-1, 3)), faces


def rectangle(columns: int, rows: int, width: float = 2.0, height: float = 1.0) -> tuple[FloatArray, IntArray]:
    u, v = np.meshgrid(np.linspace(0, width, columns + 1), np.linspace(0, height, rows + 1), indexing="ij")
    return grid_net(np.stack([u, v, 0 * u], axis=-1))


def tube(around: int, along: int, length: float = 2.0, *, half: bool = False) -> tuple[FloatArray, IntArray]:
    """A tube of radius 1 round z, or its half x >= 0."""
    turn = np.linspace(-0.5, 0.5, around + 1) * np.pi if half else np.arange(around) * 2 * np.pi / around
    u, v = np.meshgrid(turn, np.linspace(0, length, along + 1), indexing="ij")
    points = np.stack([np.cos(u), np.sin(u), v], axis=-1)
    points[np.abs(points) < 1e-15] = 0.0
    return grid_net(points, close_u=not half)


def ring_torus(around: int, across: int) -> tuple[FloatArray, IntArray]:
    """A torus of radii 1 and 0.4."""
    u, v = np.meshgrid(np.arange(around) * 2 * np.pi / around, np.arange(across) * 2 * np.pi / across, indexing="ij")
    reach = 1 + 0.4 * np.cos(v)
    return grid_net(
        np.stack([reach * np.cos(u), reach * np.sin(u), 0.4 * np.sin(v)], axis=-1), close_u=True, close_v=True
    )


def compact(points: FloatArray, faces: IntArray, keep: NDArray[np.bool_]) -> tuple[FloatArray, IntArray]:
    """Return the kept triangles on the vertices that they use."""
    used, local = np.unique(faces[keep], return_inverse=True)
    return np.ascontiguousarray(points[used]), local.reshape(-1, 3).astype(np.int32)


def middles(points: FloatArray, faces: IntArray) -> FloatArray:
    middle: FloatArray = points[faces].mean(axis=1)
    return middle


def painted(
    net: tuple[FloatArray, IntArray], labels: NDArray[np.integer] | None = None, *, mirror: MirrorPlane | None = None
) -> RegionSurface:
    """A region surface; labels count from 0.  With a mirror plane the vertices in it are noted."""
    points, faces = net
    own = np.zeros(len(faces), np.int32) if labels is None else labels.astype(np.int32)
    regions = tuple(Region(f"area {k}", (k, 0, 0)) for k in range(int(own.max()) + 1))
    on_mirror = np.zeros(len(points), bool) if mirror is None else mirror.signed_distance(points) == 0.0
    return RegionSurface(points, faces, own, regions, mirror, on_mirror)


def moved(surface: RegionSurface, rotation: FloatArray, scale: float, shift: Sequence[float]) -> RegionSurface:
    return replace(surface, positions=scale * surface.positions @ rotation.T + np.array(shift))


def a_rotation(seed: int = 3) -> FloatArray:
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    out: FloatArray = q * np.sign(np.linalg.det(q))
    return out


def zones(net: tuple[FloatArray, IntArray], *colatitudes: float) -> IntArray:
    """Number the zones of a globe between circles of latitude given in degrees; each has to be a row of the globe."""
    heights = np.cos(np.radians(colatitudes))
    return np.digitize(-middles(*net)[:, 2], -heights).astype(np.int32)


def _octants(rows: int) -> RegionSurface:
    net = globe(rows)
    return painted(net, (middles(*net) > 0) @ np.array([1, 2, 4]))


def _cube(rows: int) -> RegionSurface:
    """The six faces of a cube, each painted, blown up to a sphere."""
    line = np.tan(np.linspace(-np.pi / 4, np.pi / 4, rows + 1))
    u, v = np.meshgrid(line, line, indexing="ij")
    nets: list[tuple[FloatArray, IntArray]] = []
    labels: list[int] = []
    for axis in range(3):
        for side in (1.0, -1.0):
            sheet = np.empty((*u.shape, 3))
            sheet[..., axis] = side
            sheet[..., (axis + 1) % 3], sheet[..., (axis + 2) % 3] = (u, v) if side > 0 else (v, u)
            points, faces = grid_net(sheet)
            faces = faces + len(nets) * len(points)
            nets.append((points, faces))
            labels += [len(nets) - 1] * len(faces)
    points = np.concatenate([p for p, _ in nets])
    _, first, place = np.unique(np.round(points, 9), axis=0, return_index=True, return_inverse=True)
    faces = place.reshape(-1)[np.concatenate([f for _, f in nets])].astype(np.int32)
    points = points[first]
    return painted((points / np.linalg.norm(points, axis=1, keepdims=True), faces), np.array(labels))


def _caps(rows: int) -> RegionSurface:
    net = globe(rows)
    return painted(net, zones(net, 45.0, 135.0))


def _rings(rows: int) -> RegionSurface:
    """Bands of latitude round both poles: the caps, two rings, and a ring between."""
    net = globe(rows)
    return painted(net, zones(net, 27.0, 54.0, 126.0, 153.0))


def _holed(rows: int) -> RegionSurface:
    """A painted sphere with four round openings, two of them inside one area."""
    points, faces = globe(rows)
    keep = np.ones(len(faces), bool)
    for centre in ([0, 0, 1], [0.8, 0, -0.6], [-0.8, 0.3, -0.5], [-0.4, -0.9, 0.2]):
        place = np.array(centre) / np.linalg.norm(centre)
        keep &= ~(np.linalg.norm(points - place, axis=1) < 0.3)[faces].any(axis=1)
    net = compact(points, faces, keep)
    return painted(net, zones(net, 45.0))


def _half_globe(rows: int) -> RegionSurface:
    """The half x >= 0 of a sphere with a cap on the plane, a cap beside it, and an opening below."""
    points, faces = globe(rows)
    centre = middles(points, faces)
    net = compact(points, faces, (centre[:, 0] > 0) & (zones((points, faces), 146.25) == 0))
    labels = np.where(zones(net, 45.0) == 0, 1, np.where(middles(*net)[:, 1] > 0, 2, 0))
    return painted(net, labels, mirror=X_PLANE)


def _half_tube(rows: int) -> RegionSurface:
    net = tube(rows, rows, half=True)
    return painted(net, np.digitize(middles(*net)[:, 2], [0.5, 1.3]), mirror=X_PLANE)


def _sectors(rows: int) -> RegionSurface:
    """A torus cut into two bent tubes, one of them with a painted side."""
    net = ring_torus(3 * rows, 2 * rows)
    centre = middles(*net)
    reach = np.hypot(centre[:, 0], centre[:, 1])
    return painted(net, np.where(centre[:, 0] < 0, 0, np.where(reach > 1.0, 1, 2)))


def _quilt(rows: int) -> RegionSurface:
    """A flat sheet in three areas with a T-junction."""
    net = rectangle(2 * rows, rows)
    centre = middles(*net)
    return painted(net, np.where(centre[:, 0] > 1.0, 2, (centre[:, 1] > 0.5).astype(int)))


SURFACES: dict[str, Callable[[], RegionSurface]] = {
    "plain sphere": lambda: painted(globe(12)),
    "sphere with caps": lambda: _caps(16),
    "sphere in rings": lambda: _rings(20),
    "sphere in octants": lambda: _octants(12),
    "cube": lambda: _cube(12),
    "sphere with holes": lambda: _holed(16),
    "plain torus": lambda: painted(ring_torus(48, 24)),
    "torus in sectors": lambda: _sectors(14),
    "half sphere at a mirror": lambda: _half_globe(16),
    "half tube at a mirror": lambda: _half_tube(16),
    "flat disc": lambda: painted(flat_disc(16)),
    "quilt": lambda: _quilt(12),
    "horn": lambda: painted(horn(28, 4.0)),
}
EDGE = 0.3  # wished edge length on these surfaces, all of which are about two units across
FACES = 150  # wished number of quads on them


# ---------------------------------------------------------------------- laws


@dataclass(frozen=True)
class Links:
    """Connectivity of polygons of one size, by counting directed edges (nothing of the program's own)."""

    vertices: int
    edges: int
    faces: int
    components: int
    rims: int
    valence: IntArray
    is_rim: NDArray[np.bool_]

    @property
    def euler(self) -> int:
        return self.vertices - self.edges + self.faces

    @property
    def index_sum(self) -> int:
        """Sum over the interior of (4 - v), and over the boundary of (3 - v)."""
        return int((4 - self.valence[~self.is_rim]).sum() + (3 - self.valence[self.is_rim]).sum())


def link(faces: IntArray, count: int) -> Links:
    """Count; raises where the faces are no oriented manifold on exactly ``count`` vertices."""
    tail, head = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    forward = tail.astype(np.int64) * count + head
    back = head.astype(np.int64) * count + tail
    assert len(np.unique(forward)) == len(forward), "two faces run along an edge the same way"
    assert (tail != head).all(), "a face has an edge without length"
    assert np.array_equal(np.unique(faces), np.arange(count)), "a vertex without face"
    open_edge = ~np.isin(forward, back)
    leaving = np.bincount(tail[open_edge], minlength=count)
    assert leaving.max(initial=0) <= 1, "the boundary passes a vertex twice"
    edges = len(np.unique(np.minimum(forward, back)))
    valence = np.bincount(tail, minlength=count) + leaving
    # a vertex whose faces fall into several closed fans has more faces than one walk round it meets
    assert (_faces_met(faces, tail, head, count) == np.bincount(tail, minlength=count)).all(), "a pinched vertex"
    whole = _parts(tail, head, count)
    rims = _parts(tail[open_edge], head[open_edge], count) - (count - int(leaving.sum()))
    return Links(count, edges, len(faces), whole, rims, valence.astype(np.int32), leaving > 0)


def _parts(tail: NDArray[np.integer], head: NDArray[np.integer], count: int) -> int:
    graph = coo_matrix((np.ones(len(tail)), (tail, head)), shape=(count, count))
    return int(connected_components(graph, directed=False)[0])


def _faces_met(
    faces: IntArray, tail: NDArray[np.integer], head: NDArray[np.integer], count: int
) -> NDArray[np.integer]:
    """Walk round every vertex from corner to corner and count the faces met."""
    size = faces.shape[1]
    place = {key: i for i, key in enumerate(zip(tail.tolist(), head.tolist(), strict=True))}
    twin = [place.get(key, -1) for key in zip(head.tolist(), tail.tolist(), strict=True)]
    start = np.full(count, -1)
    start[tail] = np.arange(len(tail))
    is_open = np.array(twin) < 0
    start[tail[is_open]] = np.flatnonzero(is_open)
    met = np.zeros(count, np.int64)
    for vertex, first in enumerate(start.tolist()):
        at = first
        while at >= 0:
            met[vertex] += 1
            at = twin[at - 1 if at % size else at + size - 1]
            if at == first:
                break
    return met


def double(faces: IntArray, in_plane: NDArray[np.bool_]) -> tuple[IntArray, int]:
    """Return a half and its mirror image, joined at the vertices in the plane, and the number of vertices."""
    fresh = np.cumsum(~in_plane) - 1 + len(in_plane)
    other = np.where(in_plane, np.arange(len(in_plane)), fresh)
    return np.concatenate([faces, other[faces][:, ::-1]]).astype(np.int32), len(in_plane) + int((~in_plane).sum())


# ------------------------------------------------------------ layouts and meshes, made once


@cache
def surface_of(name: str) -> RegionSurface:
    return SURFACES[name]()


@cache
def layout_of(name: str) -> Layout:
    surface = surface_of(name)
    return plan_layout(surface, np.full(len(surface.positions), EDGE))


@cache
def counts_of(name: str) -> tuple[IntArray, float]:
    layout = layout_of(name)
    return solve_for_budget(layout, arc_targets(layout, layout.vertex_size), FACES)


@cache
def mesh_of(name: str) -> QuadMesh:
    layout = layout_of(name)
    return build_mesh(layout, counts_of(name)[0], layout.vertex_size)
