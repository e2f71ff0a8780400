"""From the few points that somebody drew to a smooth, dense line on the surface."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

import numpy as np
from potpourri3d import EdgeFlipGeodesicSolver
from scipy.sparse import csc_matrix, diags, eye
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu
from scipy.spatial import cKDTree

from loopwright.errors import MarksError
from loopwright.marks.whole_surface import whole_surface
from loopwright.numerics.norms import norms
from loopwright.shelf import Shelf
from loopwright.surface.edges import triangle_normals
from loopwright.surface.half_edges import arc_length, directed_edges, surface_edges
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, RegionSurface

_FAR_POINTS = 2.5  # edges between two points from which on the line between them is looked for on the surface
_SPACING = 0.7  # of a dense line's points, in edges
_ROUNDS = 3
_HOLD = 10.0  # of a point drawn far from the others, times the width
_TIGHTER = 8  # times that a line is held tighter where smoothing takes it too far off
_WIDEST = 7.0  # widest smoothing, in points of the dense line


class LineDrawer:
    """Draws lines on one surface.

    Attributes
    ----------
    surface : what is drawn on.
    projector : finds its nearest points.
    edge : its median edge length.
    """

    def __init__(self, surface: RegionSurface) -> None:
        self.surface = surface
        self.projector = SurfaceProjector(surface.positions, surface.triangles)
        edges = surface_edges(surface)
        length = norms(surface.positions[edges[:, 0]] - surface.positions[edges[:, 1]])
        self.edge = float(np.median(length))

    @cached_property
    def _solver(self) -> EdgeFlipGeodesicSolver:
        return EdgeFlipGeodesicSolver(self.surface.positions, self.surface.triangles)

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.surface.positions, balanced_tree=False)

    @cached_property
    def _part(self) -> np.ndarray:
        edges = directed_edges(self.surface.triangles)
        count = len(self.surface.positions)
        graph = csc_matrix((np.ones(len(edges), np.int8), (edges[:, 0], edges[:, 1])), shape=(count, count))
        label: np.ndarray = connected_components(graph, directed=False)[1]
        return label

    def ready(self) -> None:
        """Grow now what else the first line would wait for."""
        _ = self._solver, self._tree, self._part

    def on_surface(self, points: FloatArray) -> FloatArray:
        """Return the nearest points of the surface."""
        return self.projector.project(points).points

    def normals(self, points: FloatArray) -> FloatArray:
        """Return the unit normals of the faces nearest to the points."""
        found = self.projector.project(points).triangles
        normal = triangle_normals(self.surface.positions, self.surface.triangles[found])
        out: FloatArray = normal / np.maximum(norms(normal)[..., None], 1e-300)
        return out

    def trace(self, points: FloatArray, closed: bool) -> FloatArray:
        """Return a dense line through dense points, hardly smoothed; a closed one repeats its first at the end."""
        line = np.concatenate([points, points[:1]]) if closed else points
        line = smooth_line(line, closed, 2.0) if len(line) > 4 else line
        return resample(line, _SPACING * self.edge)

    def join(self, points: FloatArray, closed: bool) -> FloatArray:
        """Return dense, smooth points evenly spaced on the surface; a closed line repeats its first at the end."""
        line = np.concatenate([points, points[:1]]) if closed else points
        return resample(self.on_surface(line), _SPACING * self.edge)

    def draw(
        self,
        points: FloatArray,
        closed: bool,
        name: str,
        near: Callable[[FloatArray], FloatArray] | None = None,
    ) -> FloatArray:
        """Return a smooth line on the surface through or near the points, its own about 0.7 edges apart.

        A closed one repeats its first point at the end.  ``near`` says how
        far smoothing may take it off what was drawn at (k, 3) places.

        Raises
        ------
        MarksError : two points that follow one another lie on parts of the surface that do not hang together.
        """
        line, at = self.connect(points, closed, name)
        if len(line) < 4:
            return line
        gap = float(np.median(np.diff(at))) / (_SPACING * self.edge)
        width = float(np.clip(0.5 * gap, 3.0, _WIDEST))
        weight = _holds(at, len(line), width)
        soft = self.smooth(line, closed, width, weight)
        for _ in range(_TIGHTER if near is not None else 0):
            off = _distance(line, soft, self.edge) > near(line) if near is not None else np.zeros(len(line), bool)
            if not off.any():
                break
            weight = np.where(_widen(off, round(0.5 * width), closed), 8.0 * weight, weight)
            soft = self.smooth(line, closed, width, weight)
        return soft

    def connect(self, points: FloatArray, closed: bool, name: str) -> tuple[FloatArray, FloatArray]:
        """Return dense points along what was drawn, put on the surface, joined the shortest way and not smoothed.

        Beside them, how far along the line each of the points given lies.
        """
        wished = self.on_surface(points)
        if closed:
            wished = np.concatenate([wished, wished[:1]])
        pieces = [wished[:1]]
        at = [0.0]
        for a, b in zip(wished[:-1], wished[1:], strict=True):
            pieces.append(self.between(a, b, name))
            at.append(at[-1] + float(arc_length(np.concatenate([a[None], pieces[-1]]))[-1]))
        return resample(np.concatenate(pieces), _SPACING * self.edge), np.array(at)

    def smooth(self, line: FloatArray, closed: bool, width: float, weight: FloatArray | None = None) -> FloatArray:
        """Return a dense line smoothed on the surface over ``width`` of its points; open ends stay.

        ``weight`` says how much each point of an open line, or of a closed one without its last, is held.
        """
        for _ in range(_ROUNDS):
            line = self.on_surface(smooth_line(line, closed, width, weight))
        return resample(line, _SPACING * self.edge)

    def between(self, a: FloatArray, b: FloatArray, name: str) -> FloatArray:
        """Return points after ``a`` up to ``b``: straight where they are near, else the shortest way on the surface."""
        if float(np.linalg.norm(b - a)) < _FAR_POINTS * self.edge:
            return b[None]
        first, last = (int(v) for v in self._tree.query(np.stack([a, b]))[1])
        if self._part[first] != self._part[last]:
            at = "({:g}, {:g}, {:g})".format(*b)
            raise MarksError(
                f"{name}: its point {at} lies on another part of the sculpt than the one before; "
                "draw one line on each part",
                places=[name],
                in_marks=True,
            )
        if first == last:
            return b[None]
        way = np.asarray(self._solver.find_geodesic_path(first, last), np.float64)
        # the way runs from vertex to vertex: its ends are shifted to the points, what is between them by a share
        along = arc_length(way)
        share = (along / max(float(along[-1]), 1e-300))[:, None]
        shifted = way + (1.0 - share) * (a - way[0]) + share * (b - way[-1])
        return np.concatenate([self.on_surface(shifted[1:-1]), b[None]]) if len(way) > 2 else b[None]


def resample(line: FloatArray, spacing: float) -> FloatArray:
    """Return points evenly spaced along a polyline, its ends kept."""
    length = arc_length(line)
    keep = np.append(True, np.diff(length) > 0.0)
    line, length = line[keep], length[keep]
    if len(line) < 2:
        return line
    count = max(int(np.ceil(length[-1] / spacing)), 1)
    at = np.linspace(0.0, float(length[-1]), count + 1)
    return np.stack([np.interp(at, length, line[:, k]) for k in range(3)], axis=1)


def _distance(points: FloatArray, line: FloatArray, edge: float) -> FloatArray:
    gap: FloatArray = cKDTree(resample(line, 0.1 * edge), balanced_tree=False).query(points)[0]
    return gap


def _widen(marked: BoolArray, by: int, closed: bool) -> BoolArray:
    """Mark what lies within so many points of a marked one; a closed line repeats its first point."""
    out = marked.copy()
    for k in np.flatnonzero(marked).tolist():
        around = np.arange(k - by, k + by + 1)
        out[around % (len(marked) - 1) if closed else np.clip(around, 0, len(marked) - 1)] = True
    if closed:
        out[[0, -1]] = out[0] | out[-1]
    return out


def _holds(at: FloatArray, count: int, width: float) -> FloatArray:
    """Return (count,) how much to hold each point of a dense line whose drawn points lie at lengths ``at`` along it.

    Points drawn far apart are held, so that the line bends near them and
    still runs by them; of many near one another none is.
    """
    spot = np.rint(at / max(float(at[-1]), 1e-300) * (count - 1)).astype(np.int64)
    apart = np.minimum(np.diff(spot, prepend=-count), np.diff(spot, append=2 * count))
    weight = np.ones(count)
    np.maximum.at(weight, spot, _HOLD * width * np.clip(apart / (2.0 * width) - 0.5, 0.0, 1.0))
    return weight


def smooth_line(line: FloatArray, closed: bool, width: float, hold: FloatArray | None = None) -> FloatArray:
    """Smooth a polyline over ``width`` points; open ends stay.

    Minimises hold |p - line|^2 + width^4 |second differences|^2 and then smooths
    and adds what the first pass lost (Tukey's twicing), so that rings do not
    shrink.  A closed line repeats its first point at the end.
    """
    points = line[:-1] if closed else line
    n = len(points)
    strength = min(width, n / 6.0) ** 4
    if closed:
        shift = _shift(n)
        bend = shift + shift.T - 2.0 * eye(n, format="csc")
        weight = np.ones(n) if hold is None else np.maximum(hold[:n], 1.0)
        weight[0] = max(weight[0], 1.0 if hold is None else hold[-1])
    else:
        bend = diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(n - 2, n)).tocsc()
        weight = np.ones(n) if hold is None else hold.copy()
        weight[[0, -1]] = 1e8
    factor = splu((diags(weight) + strength * (bend.T @ bend)).tocsc())
    first = factor.solve(np.ascontiguousarray(points * weight[:, None]))
    second = factor.solve(np.ascontiguousarray((points - first) * weight[:, None]))
    out: FloatArray = first + second
    return np.concatenate([out, out[:1]]) if closed else out


def _shift(n: int) -> csc_matrix:
    rows = np.arange(n)
    return csc_matrix((np.ones(n), (rows, (rows + 1) % n)), shape=(n, n))


def line_drawer(surface: RegionSurface, shelf: Shelf) -> LineDrawer:
    """Return what draws on a surface, kept on its sculpt's shelf."""
    return shelf.keep("line drawer", (surface,), lambda: LineDrawer(surface), depth=1)


def whole_drawer(surface: RegionSurface, shelf: Shelf) -> LineDrawer:
    """Return what draws on both halves of a surface, kept on its sculpt's shelf."""
    if surface.mirror is None:
        return line_drawer(surface, shelf)
    return shelf.keep("whole line drawer", (surface,), lambda: LineDrawer(whole_surface(surface)), depth=1)
