"""The marks stage: from a painted sculpt to a surface whose regions are bordered by chains of edges."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_matrix

from loopwright.errors import MarksError
from loopwright.marks.clean_labels import CleanLabels, clean_labels, edge_graph, local_width, split_components
from loopwright.marks.cluster_colors import ColorClusters, vertex_areas
from loopwright.marks.cut_borders import cut_borders
from loopwright.marks.find_colors import check_painted, find_colors
from loopwright.marks.finish_regions import drop_label, finish_regions, merge_small_pieces
from loopwright.marks.join_parted import join_parted
from loopwright.marks.keep_apart import keep_apart
from loopwright.marks.mirror_votes import mirror_votes
from loopwright.marks.name_regions import choose_open, name_regions, nothing_left, report_regions
from loopwright.marks.options import MarksOptions, MarksReport
from loopwright.marks.paint_apart import paint_apart
from loopwright.marks.painted_pieces import PaintedPieces, most_held, painted_pieces, touching
from loopwright.marks.smooth_labels import nearest_proxy_vertices, smooth_labels
from loopwright.progress import Progress, silent
from loopwright.shelf import Shelf
from loopwright.surface.clip import Half, clip_half
from loopwright.surface.edges import build_edges, drop_unused_vertices, row_lengths, vertex_normals
from loopwright.surface.mirror import MirrorFit, find_mirror, measure_mirror, plane_across, sample_surface
from loopwright.surface.net import Net
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.proxy import (
    Proxy,
    coarsen,
    even_edge,
    grade_sizes,
    make_proxy,
    surface_area,
    turning_rate,
)
from loopwright.types import BoolArray, FloatArray, IntArray, MirrorPlane, Paint, Region, RegionSurface, Sculpt

_FINE = 0.55  # edge of the first, finer net in edges of the proxy
_ACROSS = 6.0  # edges across the narrowest place of a region
_FINEST = 0.25  # smallest edge in a narrow place, in edges of the proxy
_TURN = 0.6  # radians that the normal may turn along an edge before the edge is made shorter
_FINEST_TURN = 0.5  # smallest edge for that reason, in edges of the proxy
_BRIDGE = 6.0  # longest place where a piece may be too thin for a net, and is kept whole, in edges of the proxy
_SLIGHT = 0.03  # share of a vertex with which a piece counts as being there
_RAISED = 0.5  # lead that a piece gets there over what is beside it
_MARGIN = 8.0  # how much of an open area is kept while borders are drawn, in edges of the proxy


def make_region_surface(
    sculpt: Sculpt,
    *,
    options: MarksOptions | None = None,
    projector: SurfaceProjector | None = None,
    shelf: Shelf | None = None,
    progress: Progress = silent,
) -> tuple[RegionSurface, MarksReport]:
    """Find the painted regions of a sculpt and cut a proxy along their borders.

    Parameters
    ----------
    sculpt : an oriented manifold, with or without colours.
    projector : of this sculpt, where there is one already.
    shelf : of this sculpt alone: keeps the steps that other wishes would do again.

    Returns
    -------
    surface : the kept part; only its positive half where there is a mirror plane.
    report : what was found.

    Raises
    ------
    MarksError
        If an open colour is not in the paint, or nothing is left to cover.
    """
    chosen = options or MarksOptions()
    check_painted(sculpt, chosen)
    shelf = shelf or Shelf(depth=0)
    clock = _Clock(progress)
    projector = projector or SurfaceProjector(sculpt.positions, sculpt.triangles)
    clusters = shelf.keep("colours", (chosen.min_share,), lambda: find_colors(sculpt, chosen))
    is_open = choose_open(clusters.palette, chosen)
    clock.lap("colours", 0.2)
    by_mirror = (chosen.min_share, chosen.mirror)
    fit = shelf.keep("mirror plane", by_mirror, lambda: _choose_mirror(projector, clusters, chosen))
    half = shelf.keep("half", by_mirror, lambda: _take_half(sculpt, fit), depth=1)
    clock.lap("mirror", 0.35)
    apart = shelf.keep(
        "paint apart",
        by_mirror,
        lambda: _paint_apart(sculpt, clusters, fit),
    )
    unnamed = replace(chosen, region_names={}, open_colors=())
    net, on_mirror, dropped, edge = shelf.keep(
        "net",
        (unnamed, is_open),
        lambda: _cut_net(sculpt, projector, clusters, fit, half, is_open, chosen, clock),
    )
    plane = fit.plane if fit else None
    surface = _to_surface(net, on_mirror, plane, clusters, chosen)
    area = shelf.keep("areas", (), lambda: vertex_areas(sculpt.positions, sculpt.triangles), depth=1)
    report = MarksReport(
        regions=report_regions(area, clusters, is_open, chosen),
        mirror=plane,
        mirror_rms=fit.rms if fit else 0.0,
        mirror_far=fit.far if fit else 0.0,
        paint_apart=apart,
        dropped_specks=dropped,
        unlabelled_share=float(area[clusters.vertex_color < 0].sum() / max(area.sum(), 1e-300)),
        proxy_edge=edge,
        seconds=clock.seconds,
        paint=Paint(clusters.palette, clusters.vertex_color),
    )
    return surface, report


def _cut_net(
    sculpt: Sculpt,
    projector: SurfaceProjector,
    clusters: ColorClusters,
    fit: MirrorFit | None,
    half: Half,
    is_open: BoolArray,
    options: MarksOptions,
    clock: _Clock,
) -> tuple[Net, BoolArray, int, float]:
    """Return the proxy cut along its borders, its vertices in the mirror plane, the specks dropped, and its edge."""
    fine, labels = _fine_net(half, clusters, is_open, options, fit is not None)
    clock.lap("coarse net", 0.6)
    wished = options.proxy_faces // (2 if fit else 1)
    proxy = _adapted_proxy(fine, labels, projector, is_open, wished)
    clock.lap("proxy", 0.8)
    far = _far_half(sculpt, projector, clusters, fit.plane) if fit else None
    net = _draw_borders(proxy, fine, labels, clusters, is_open, options, far)
    net = merge_small_pieces(net, 0.5 * options.min_share)
    if is_open[net.triangle_label].all():
        raise nothing_left(clusters.vertex_color, is_open, is_half=fit is not None)
    net = drop_label(net, is_open)
    clock.lap("borders", 0.9)
    net, on_mirror = finish_regions(net, fit.plane if fit else None, projector)
    clock.lap("smoothing", 1.0)
    return net, on_mirror, labels.dropped, fine.edge


class _Clock:
    """Times the steps and tells the progress."""

    def __init__(self, progress: Progress) -> None:
        self.seconds: dict[str, float] = {}
        self._progress = progress
        self._last = time.perf_counter()

    def lap(self, name: str, done: float) -> None:
        now = time.perf_counter()
        self.seconds[name] = now - self._last
        self._last = now
        self._progress("marks", done)


@dataclass(frozen=True)
class _Fine:
    """The first, finer net; ``vertex_cluster`` takes each vertex of ``half`` that was kept to its net vertex."""

    half: Half
    proxy: Proxy
    edge: float
    vertex_label: IntArray
    vertex_area: FloatArray


def _choose_mirror(projector: SurfaceProjector, clusters: ColorClusters, options: MarksOptions) -> MirrorFit | None:
    wish = options.mirror
    if wish == "none":
        return None
    if wish == "auto":
        return find_mirror(projector, vertex_label=clusters.vertex_color)
    if isinstance(wish, MirrorPlane):
        plane = wish
    elif wish in ("x", "y", "z"):
        plane = plane_across(wish, projector)
    else:
        raise MarksError(f'"{wish}" is no mirror; use auto, none, x, y, z or a plane', places=[wish])
    samples = sample_surface(projector.positions, projector.triangles, 3000)
    fit = measure_mirror(projector, plane, samples, clusters.vertex_color)
    heights = plane.signed_distance(samples)
    if not (heights > 0).any() or not (heights < 0).any():
        raise MarksError("the mirror plane does not meet the sculpt; give a plane through it, or auto", places=[wish])
    return fit


def _paint_apart(sculpt: Sculpt, clusters: ColorClusters, fit: MirrorFit | None) -> float:
    if fit is None:
        return 0.0
    return paint_apart(sculpt.positions, sculpt.triangles, clusters.vertex_color, fit.plane)


def _take_half(sculpt: Sculpt, fit: MirrorFit | None) -> Half:
    if fit is None:
        n = len(sculpt.positions)
        return Half(sculpt.positions, sculpt.triangles, np.zeros(n, dtype=bool), np.arange(n, dtype=np.int32))
    return clip_half(sculpt.positions, sculpt.triangles, fit.plane)


def _fine_net(
    half: Half, clusters: ColorClusters, is_open: BoolArray, options: MarksOptions, is_half: bool
) -> tuple[_Fine, CleanLabels]:
    """Drop what is far inside open areas, coarsen the rest a first time and clean its labels."""
    label = clusters.vertex_color[half.origin]
    opened = np.append(is_open, False)[label]
    kept = ~opened[half.triangles].all(axis=1)
    if not kept.any():
        raise nothing_left(clusters.vertex_color, is_open, is_half=is_half)
    area = surface_area(half.positions, half.triangles[kept])
    edge = even_edge(area, options.proxy_faces // (2 if is_half else 1))
    half = _drop_far_open(half, opened, _MARGIN * edge)
    label = clusters.vertex_color[half.origin]
    proxy = coarsen(half.positions, half.triangles, _FINE * edge)
    fine = _Fine(half, proxy, edge, label, vertex_areas(half.positions, half.triangles))
    votes = _count_votes(proxy.cluster, label, fine.vertex_area, len(proxy.net.positions), len(is_open))
    majority = np.where(votes.sum(axis=1) > 0, votes.argmax(axis=1), -1).astype(np.int32)
    net_area = vertex_areas(proxy.net.positions, proxy.net.triangles)
    diagonal = float(np.linalg.norm(np.ptp(half.positions, axis=0)))
    min_area = options.min_share * area * (2 if is_half else 1)
    min_width = options.min_width * diagonal
    labels = clean_labels(proxy.net, majority, net_area, min_area=min_area, min_width=min_width)
    return fine, _keep_whole(fine, labels, is_open, min_area)


def _keep_whole(fine: _Fine, labels: CleanLabels, is_open: BoolArray, min_area: float) -> CleanLabels:
    """Let what was one piece on the sculpt be one on the net, and what did not touch there not touch here."""
    net, half = fine.proxy.net, fine.half
    painted, piece = painted_pieces(
        build_edges(half.triangles, len(half.positions)).edges,
        fine.vertex_label,
        fine.vertex_area,
        fine.proxy.cluster,
        labels.label,
        labels.component,
        is_open=is_open,
        min_area=min_area,
    )
    label = _keep_pieces(net, labels.label, piece, painted, _BRIDGE * fine.edge)
    if np.array_equal(label, labels.label):
        return labels
    component, distance = split_components(edge_graph(net), label)
    return replace(labels, label=label, component=component, distance=distance)


def _keep_pieces(net: Net, label: IntArray, piece: IntArray, painted: PaintedPieces, longest: float) -> IntArray:
    """Return (n,) labels by which pieces are off openings that they do not touch, and in one part, as far as may be."""
    edges = build_edges(net.triangles, len(net.positions)).edges
    label = keep_apart(edges, label, piece, painted)
    return join_parted(edge_graph(net), label, painted.weights, painted.colors, longest)


def _drop_far_open(half: Half, opened: BoolArray, margin: float) -> Half:
    """Drop triangles that lie deeper than the margin inside open areas, so that no vertex is pinched."""
    if not opened.any():
        return half
    n = len(half.positions)
    edges = build_edges(half.triangles, n).edges
    length = row_lengths(half.positions[edges[:, 0]] - half.positions[edges[:, 1]])
    step = float(length.mean())
    near = ~opened
    a, b = edges[:, 0], edges[:, 1]
    for _ in range(int(np.ceil(margin / step))):
        at_a, at_b = near[a], near[b]
        waits = ~(at_a & at_b)  # what is near at both ends has nothing more to tell
        a, b, at_a, at_b = a[waits], b[waits], at_a[waits], at_b[waits]
        near[b[at_a]] = True
        near[a[at_b]] = True
    keep = near[half.triangles].all(axis=1)
    for _ in range(20):
        pinched = _pinched_vertices(half.triangles[keep], n)
        if not pinched.any():
            break
        keep |= pinched[half.triangles].any(axis=1)
    triangles, kept = drop_unused_vertices(half.triangles[keep], n)
    return Half(half.positions[kept], triangles, half.on_plane[kept], half.origin[kept])


def _pinched_vertices(triangles: IntArray, n: int) -> BoolArray:
    """Return (n,) vertices with more than two boundary edges."""
    table = build_edges(triangles, n)
    count = np.bincount(table.edges[table.is_boundary()].ravel(), minlength=n)
    pinched: BoolArray = count > 2
    return pinched


def _count_votes(cluster: IntArray, label: IntArray, weight: FloatArray, n_vertices: int, n_labels: int) -> FloatArray:
    """Return (n, c) the weight of fine vertices of each label in each cluster."""
    known = label >= 0
    code = cluster[known].astype(np.int64) * n_labels + label[known]
    votes = np.bincount(code, weight[known], n_vertices * n_labels).astype(np.float64)
    return votes.reshape(n_vertices, n_labels)


def _adapted_proxy(
    fine: _Fine, labels: CleanLabels, projector: SurfaceProjector, is_open: BoolArray, triangles: int
) -> Proxy:
    """Coarsen further, finer where a region is narrow or the surface turns quickly."""
    net = fine.proxy.net
    graph = edge_graph(net)
    opened = is_open[labels.label]
    width = local_width(graph, labels, 0.5 * _ACROSS * fine.edge)
    width[opened] = np.inf
    normals = projector.vertex_normals[fine.half.origin[net.origin]]
    turning = turning_rate(graph, normals)
    area = np.where(opened, 0.0, vertex_areas(net.positions, net.triangles))
    edge = fine.edge
    size = np.full(len(width), edge)
    for _ in range(6):
        by_width = np.clip(width / _ACROSS, _FINEST * edge, edge)
        by_turn = np.clip(_TURN / turning, _FINEST_TURN * edge, edge)
        size = grade_sizes(net, np.minimum(by_width, by_turn))
        count = float((area / size**2).sum()) * 4.0 / np.sqrt(3.0)
        if count < 1.03 * triangles:
            break
        edge *= min(float(np.sqrt(count / triangles)), 1.3)
    return make_proxy(fine.proxy, size, projector)


def _draw_borders(
    proxy: Proxy,
    fine: _Fine,
    pieces: CleanLabels,
    clusters: ColorClusters,
    is_open: BoolArray,
    options: MarksOptions,
    far: _FarHalf | None,
) -> Net:
    """Let the sculpt's vertices vote for the pieces, smooth the votes and cut along the borders."""
    count = int(pieces.component.max()) + 1
    piece_label = np.zeros(count, dtype=np.int32)
    piece_label[pieces.component] = pieces.label
    voter_piece = pieces.component[fine.proxy.cluster]
    # a voter of another colour than its piece votes for the piece of its colour next to it, if there is one
    agrees = fine.vertex_label == piece_label[voter_piece]
    voter_piece = np.where(agrees, voter_piece, _own_piece(fine, pieces)).astype(np.int32)
    at = nearest_proxy_vertices(proxy.net, proxy.cluster, fine.half.positions)
    votes = _count_votes(at, voter_piece, fine.vertex_area, len(proxy.net.positions), count)
    if far is not None:
        normals = vertex_normals(proxy.net.positions, proxy.net.triangles)
        votes = mirror_votes(
            proxy.net, normals, votes, piece_label, far.plane, far.points, far.normals, far.labels, far.weights
        )
    net_area = vertex_areas(fine.proxy.net.positions, fine.proxy.net.triangles)
    piece_area = np.bincount(pieces.component, net_area, count).astype(np.float64)
    smooth = smooth_labels(proxy.net, votes, piece_area, piece_label, len(clusters.palette), scale=options.smoothing)
    edges = build_edges(fine.proxy.net.triangles, len(fine.proxy.net.positions)).edges
    shares = csr_matrix(np.where(smooth.shares > _SLIGHT, smooth.shares, 0.0).T)
    touch = touching(edges, pieces.component, count)
    painted = PaintedPieces(shares, piece_label, touch, is_open[piece_label])
    return cut_borders(proxy.net, _raise_where_lost(proxy.net, smooth.values, painted, _BRIDGE * fine.edge))


def _raise_where_lost(net: Net, values: FloatArray, painted: PaintedPieces, longest: float) -> FloatArray:
    """Return the (n, r) values of the labels, raised where a piece would be parted or touch an opening."""
    label = values.argmax(axis=1).astype(np.int32)
    piece = most_held(painted.weights, painted.colors, label, np.arange(len(label), dtype=np.int32))
    kept = _keep_pieces(net, label, piece, painted, longest)
    changed = np.flatnonzero(kept != label)
    out = values.copy()
    out[changed, kept[changed]] = values[changed].max(axis=1) + _RAISED
    return out


@dataclass(frozen=True)
class _FarHalf:
    """The sculpt's vertices beyond the mirror plane: points, normals, colours and areas."""

    plane: MirrorPlane
    points: FloatArray
    normals: FloatArray
    labels: IntArray
    weights: FloatArray


def _far_half(sculpt: Sculpt, projector: SurfaceProjector, clusters: ColorClusters, plane: MirrorPlane) -> _FarHalf:
    beyond = np.flatnonzero(plane.signed_distance(sculpt.positions) < 0)
    area = vertex_areas(sculpt.positions, sculpt.triangles)
    return _FarHalf(
        plane,
        sculpt.positions[beyond],
        projector.vertex_normals[beyond],
        clusters.vertex_color[beyond],
        area[beyond],
    )


def _own_piece(fine: _Fine, pieces: CleanLabels) -> IntArray:
    """Return (k,) for each fine vertex the piece of its own colour that touches its cluster, or -1."""
    net = fine.proxy.net
    edges = build_edges(net.triangles, len(net.positions)).edges
    n_labels = int(max(fine.vertex_label.max(), pieces.label.max())) + 1
    near = np.full((len(net.positions), n_labels), -1, dtype=np.int32)
    for a, b in ((edges[:, 0], edges[:, 1]), (edges[:, 1], edges[:, 0])):
        near[a, pieces.label[b]] = pieces.component[b]
    out: IntArray = np.where(fine.vertex_label >= 0, near[fine.proxy.cluster, fine.vertex_label], -1)
    return out


def _to_surface(
    net: Net, on_mirror: BoolArray, plane: MirrorPlane | None, clusters: ColorClusters, options: MarksOptions
) -> RegionSurface:
    used, region = np.unique(net.triangle_label, return_inverse=True)
    names = name_regions(clusters.palette, options)
    regions = tuple(
        Region(names[k], (int(clusters.palette[k][0]), int(clusters.palette[k][1]), int(clusters.palette[k][2])))
        for k in used
    )
    return RegionSurface(
        np.ascontiguousarray(net.positions),
        np.ascontiguousarray(net.triangles, dtype=np.int32),
        region.astype(np.int32).ravel(),
        regions,
        plane,
        on_mirror,
    )
