"""A region surface that lines are cut into, edge by edge."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from loopwright.surface.edges import cross_rows
from loopwright.surface.half_edges import surface_edges, surface_twins
from loopwright.surface.project import closest_barycentric
from loopwright.types import FloatArray, IntArray, RegionSurface

SNAP = 0.2  # a crossing nearer than this share of an edge to its end runs through the end


class SurfaceCutter:
    """Triangles that split where a line crosses them; borders, rims and lines stay chains of edges.

    Attributes
    ----------
    points : positions, growing.
    faces : corner ids and region by face id.
    face_of : face id by directed edge.
    around : face ids at each vertex.
    lines : undirected edges (smaller id first) that lines run along.
    line_of : the number of the line of each such edge; ``current`` is that of the one being drawn.
    borders : undirected edges between regions, and boundary edges.
    middle : the vertex at which each edge was split that is no more.
    """

    def __init__(self, surface: RegionSurface) -> None:
        self.surface = surface
        self.points: list[FloatArray] = list(surface.positions)
        self.faces: list[tuple[int, int, int]] = [(a, b, c) for a, b, c in surface.triangles.tolist()]
        self.region: list[int] = surface.triangle_region.tolist()
        self.on_mirror: list[bool] = surface.on_mirror.tolist()
        ends = surface_edges(surface).tolist()
        self.face_of: dict[tuple[int, int], int] = {(a, b): k // 3 for k, (a, b) in enumerate(ends)}
        around: list[list[int]] = [[] for _ in self.points]
        for k, (a, _) in enumerate(ends):
            around[a].append(k // 3)
        self.around: list[frozenset[int]] = [frozenset(faces) for faces in around]
        self.lines = {_key(a, b) for a, b in surface.flow_edges.tolist()}
        self.guides = {_key(a, b) for a, b in surface.guide_edges.tolist()}
        self.borders = {_key(a, b) for a, b in find_borders(surface).tolist()}
        self.line_of = dict.fromkeys(self.lines, 0)
        self.current = 0
        self.middle: dict[tuple[int, int], int] = {}
        self.held = {v for edge in self.borders | self.lines for v in edge}

    def copy(self) -> SurfaceCutter:
        """Return a cutter that can be cut without changing this one."""
        new = copy(self)
        new.points, new.faces = list(self.points), list(self.faces)
        new.region, new.on_mirror = list(self.region), list(self.on_mirror)
        new.face_of, new.around = dict(self.face_of), list(self.around)
        new.lines, new.guides, new.borders = set(self.lines), set(self.guides), set(self.borders)
        new.line_of, new.middle, new.held = dict(self.line_of), dict(self.middle), set(self.held)
        return new

    def _enter(self, i: int, face: tuple[int, int, int]) -> None:
        a, b, c = face
        self.face_of[a, b] = self.face_of[b, c] = self.face_of[c, a] = i
        for v in face:
            self.around[v] |= {i}

    def _drop(self, i: int) -> tuple[int, int, int]:
        a, b, c = face = self.faces[i]
        del self.face_of[a, b], self.face_of[b, c], self.face_of[c, a]
        for v in face:
            self.around[v] -= {i}
        return face

    def _add_point(self, point: FloatArray, on_mirror: bool) -> int:
        self.points.append(point)
        self.on_mirror.append(on_mirror)
        self.around.append(frozenset())
        return len(self.points) - 1

    def split_edge(self, a: int, b: int, share: float) -> int:
        """Split the edge a-b at a share of its length; return the new vertex."""
        sides = [(t, h) for t, h in ((a, b), (b, a)) if (t, h) in self.face_of]
        new = self._add_point(
            (1 - share) * self.points[a] + share * self.points[b],
            len(sides) == 1 and self.on_mirror[a] and self.on_mirror[b],
        )
        for tail, head in sides:
            i = self.face_of[tail, head]
            apex = next(v for v in self._drop(i) if v not in (tail, head))
            self.faces[i] = (tail, new, apex)
            self._enter(i, self.faces[i])
            self.faces.append((new, head, apex))
            self.region.append(self.region[i])
            self._enter(len(self.faces) - 1, self.faces[-1])
        self.middle[_key(a, b)] = new
        if _key(a, b) in self.line_of:
            number = self.line_of.pop(_key(a, b))
            self.line_of[_key(a, new)] = self.line_of[_key(b, new)] = number
        for edges in (self.lines, self.guides, self.borders):
            if _key(a, b) in edges:
                edges.remove(_key(a, b))
                edges.update((_key(a, new), _key(b, new)))
                if edges is not self.guides:
                    self.held.add(new)
        return new

    def split_face(self, i: int, point: FloatArray) -> int:
        """Put a vertex into a face."""
        a, b, c = self._drop(i)
        new = self._add_point(point, False)
        self.faces[i] = (a, b, new)
        self.faces += [(b, c, new), (c, a, new)]
        self.region += [self.region[i]] * 2
        for k in (i, len(self.faces) - 2, len(self.faces) - 1):
            self._enter(k, self.faces[k])
        return new

    def put_vertex(self, point: FloatArray) -> int:
        """Return a vertex at a point of the surface, or very near it: one that was there, or a new one."""
        face, weights = self.locate(point)
        corners = self.faces[face]
        if weights.max() > 1.0 - 1.5 * SNAP:
            return corners[int(weights.argmax())]
        least = int(weights.argmin())
        if weights[least] < SNAP:
            a, b = corners[(least + 1) % 3], corners[(least + 2) % 3]
            share = float(weights[(least + 2) % 3] / (1.0 - weights[least]))
            return self.split_edge(a, b, share)
        return self.split_face(face, weights @ np.array([self.points[v] for v in corners]))

    def locate(self, point: FloatArray) -> tuple[int, FloatArray]:
        """Return the face nearest to a point and the barycentric weights there."""
        positions = np.array(self.points)
        near = np.argsort(((positions - point) ** 2).sum(axis=1), kind="stable")[:12]
        faces = sorted({i for v in near.tolist() for i in self.around[v]})
        corners = positions[np.array([self.faces[i] for i in faces])]
        weights = closest_barycentric(np.tile(point, (len(faces), 1)), corners[:, 0], corners[:, 1], corners[:, 2])
        gap = np.einsum("ij,ijk->ik", weights, corners) - point
        best = int((gap**2).sum(axis=1).argmin())
        return faces[best], weights[best]

    def tree_of(self, vertices: NDArray[np.integer]) -> cKDTree:
        """Return a tree of the places of vertices.

        It is unbalanced: a balanced one does not end on denormal coordinates where the processor flushes those.
        """
        return cKDTree(np.array([self.points[v] for v in vertices.tolist()]), balanced_tree=False)

    def neighbours(self, v: int) -> set[int]:
        """Return the vertices that share an edge with ``v``."""
        return {w for i in self.around[v] for w in self.faces[i]} - {v}

    def is_held_edge(self, a: int, b: int) -> bool:
        """Tell whether an edge is part of a border, a rim or a line."""
        return _key(a, b) in self.borders or _key(a, b) in self.lines

    def mark_line(self, a: int, b: int) -> None:
        """Note an edge that a line runs along, or the edges that are left of it where something crossed it."""
        middle = self.middle.get(_key(a, b))
        if middle is not None:
            self.mark_line(a, middle)
            self.mark_line(middle, b)
            return
        if _key(a, b) not in self.borders:
            self.lines.add(_key(a, b))
            self.line_of.setdefault(_key(a, b), self.current)
            self.guides.discard(_key(a, b))
        self.held.update((a, b))

    def is_at_rim(self, v: int) -> bool:
        """Tell whether a vertex lies on the boundary of the surface."""
        return any((b, v) not in self.face_of or (v, b) not in self.face_of for b in self.neighbours(v))

    def normal(self, v: int) -> FloatArray:
        """Return the unit normal at a vertex, from its faces."""
        corners = np.array([[self.points[w] for w in self.faces[i]] for i in sorted(self.around[v])])
        total = cross_rows(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).sum(axis=0)
        normal: FloatArray = total / max(float(np.linalg.norm(total)), 1e-300)
        return normal

    def finish(self) -> RegionSurface:
        """Return the surface with all its lines."""
        return replace(
            self.surface,
            positions=np.ascontiguousarray(np.array(self.points)),
            triangles=np.array(self.faces, np.int32),
            triangle_region=np.array(self.region, np.int32),
            on_mirror=np.array(self.on_mirror, bool),
            flow_edges=_edge_array(self.lines),
            guide_edges=_edge_array(self.guides),
        )


def find_borders(surface: RegionSurface) -> IntArray:
    """Return the (k, 2) edges between regions and the boundary edges."""
    edges = surface_edges(surface)
    twin = surface_twins(surface)
    region = np.repeat(surface.triangle_region, 3)
    found = (twin < 0) | (region != region[np.maximum(twin, 0)])
    out: IntArray = edges[found]
    return out


def _key(a: int, b: int) -> tuple[int, int]:
    return (a, b) if a < b else (b, a)


def _edge_array(edges: set[tuple[int, int]]) -> IntArray:
    return np.array(sorted(edges), np.int32).reshape(-1, 2)
