"""Walk along a drawn line and cut the surface where it goes."""

from __future__ import annotations

import heapq
import math

import numpy as np
from scipy.spatial import cKDTree

from loopwright.marks.surface_cutter import SNAP, SurfaceCutter
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import arc_length
from loopwright.types import FloatArray

_PATIENCE = 8  # steps without getting on after which a walk ends: where the line leaves a sharp fold it would curl
_THROUGH = 3.0  # how much longer a step counts that ends on a border or a line


def walk_line(
    cutter: SurfaceCutter, start: int, line: FloatArray, end: int | None, *, stops_at_lines: bool = False
) -> list[int]:
    """Cut the surface along a line and return the vertices of the chain from ``start`` on.

    From each vertex the walk makes for the point of the line one edge ahead,
    through the triangle there; it ends at ``end``, or where it gets no
    further, or, with ``stops_at_lines``, at the first border or line.

    Parameters
    ----------
    line : (k, 3) points on the surface, about one triangle edge apart, from the start to the end.
    end : the vertex where the line ends; ``start`` itself closes the line.
    """
    track = _Track(line)
    furthest, on_way = 0.0, 1  # how far along the line the walk came, and the length of its path there
    path = [start]
    seen = {start}
    at = start
    for _ in range(50 * len(line) + 1000):
        edge = _edge_length(cutter, at)
        track.advance(cutter.points[at], 4.0 * edge)
        if track.at > furthest:
            furthest, on_way = track.at, len(path)
        elif len(path) > on_way + _PATIENCE:
            return path[:on_way]
        left = track.left()
        if end is not None and left < 1.6 * edge and end in cutter.neighbours(at) and (len(path) > 2 or end != start):
            path.append(end)
            return path
        aim = track.ahead(1.2 * edge)
        if end is not None and left < 1.2 * edge:
            aim = cutter.points[end]
        elif left < 0.3 * edge:
            return path
        following = _step(cutter, at, aim, seen - {end} if end is not None and left < 3 * edge else seen)
        if following is None:
            return path
        path.append(following)
        seen.add(following)
        at = following
        if at == end and end != start or (stops_at_lines and at in cutter.held):
            return path
    return path


class _Track:
    """A polyline and how far along it the walk is."""

    def __init__(self, line: FloatArray) -> None:
        self.line = line
        self.length = arc_length(line)
        self.at = 0.0

    def advance(self, point: FloatArray, window: float) -> None:
        """Move on to the place nearest to the point, at most a window further."""
        first = max(int(np.searchsorted(self.length, self.at, side="right")) - 1, 0)
        last = min(int(np.searchsorted(self.length, self.at + window)) + 1, len(self.line) - 1)
        a, b = self.line[first:last], self.line[first + 1 : last + 1]
        if len(a) == 0:
            return
        along = b - a
        square = np.maximum((along**2).sum(axis=1), 1e-300)
        t = np.clip(((point - a) * along).sum(axis=1) / square, 0.0, 1.0)
        k = int(((a + t[:, None] * along - point) ** 2).sum(axis=1).argmin())
        self.at = max(self.at, float(self.length[first + k] + t[k] * np.sqrt(square[k])))

    def left(self) -> float:
        return float(self.length[-1] - self.at)

    def ahead(self, distance: float) -> FloatArray:
        place = min(self.at + distance, float(self.length[-1]))
        return np.array([np.interp(place, self.length, self.line[:, k]) for k in range(3)])


def finish_walk(cutter: SurfaceCutter, path: list[int], end: int, line: FloatArray) -> list[int]:
    """Lead a walk that stopped short to its end along edges that are there, near the line that it follows.

    It may run through single vertices of borders and lines, at a price, but not along them.  Returns the
    whole path; as it was where there is no such way.
    """
    if path[-1] == end and len(path) > 1:
        return path
    tree = cKDTree(line, balanced_tree=False)
    kept = len(path)
    while kept > 0:
        way = _lead(cutter, path[:kept], end, tree)
        if way is not None:
            return path[:kept] + way
        kept = (3 * kept) // 4  # the walk shut itself in: from further back
    return path


def _lead(cutter: SurfaceCutter, path: list[int], end: int, tree: cKDTree) -> list[int] | None:
    """Return the vertices after the path's last up to the end, along edges near the tree of the line."""
    start = path[-1]
    taken = set(path[1:-1] if end == path[0] else path[:-1])
    edge = _edge_length(cutter, start)
    best: dict[int, float] = {start: 0.0}
    came: dict[int, int] = {}
    queue = [(0.0, start)]
    while queue:
        length, at = heapq.heappop(queue)
        if at == end and at != start:
            break
        if length > best[at]:
            continue
        for v in sorted(cutter.neighbours(at)):
            blocked = (
                v in taken or cutter.is_held_edge(at, v) or (v in cutter.held and v != end and cutter.is_at_rim(v))
            )
            if blocked or (at == start and v == end and len(path) == 2):
                continue
            step = float(np.linalg.norm(cutter.points[v] - cutter.points[at]))
            off = float(tree.query(cutter.points[v])[0]) / edge
            way = length + step * (1.0 + off * off) * (_THROUGH if v in cutter.held and v != end else 1.0)
            if way < best.get(v, np.inf):
                best[v], came[v] = way, at
                heapq.heappush(queue, (way, v))
    if end not in came:
        return None
    back = [end]
    while back[-1] != start:
        back.append(came[back[-1]])
    return back[-2::-1]


def _edge_length(cutter: SurfaceCutter, v: int) -> float:
    around = np.array([cutter.points[w] for w in sorted(cutter.neighbours(v))])
    return float(np.median(norms(around - cutter.points[v])))


def _step(cutter: SurfaceCutter, v: int, aim: FloatArray, taken: set[int]) -> int | None:
    """Cross the face that the aim lies behind; return the vertex on its far edge, None where there is no way on."""
    origin, up = cutter.points[v], cutter.normal(v)
    direction = aim - origin
    direction = direction - (direction @ up) * up
    if float(np.linalg.norm(direction)) < 1e-12 * (1.0 + float(np.abs(origin).max())):
        return None
    best: tuple[float, int, int, float] | None = None
    for i in sorted(cutter.around[v]):
        face = cutter.faces[i]
        k = face.index(v)
        a, b = face[(k + 1) % 3], face[(k + 2) % 3]
        share, off = _crossing(cutter.points[a] - origin, cutter.points[b] - origin, direction, up)
        if best is None or off < best[0]:
            best = (off, a, b, share)
    if best is None or best[0] > 0.9:
        return None
    _, a, b, share = best
    # a line that crosses another must not run along it, or the two would part again an edge further on
    if share < SNAP and a not in taken and not cutter.is_held_edge(v, a):
        return a
    if share > 1.0 - SNAP and b not in taken and not cutter.is_held_edge(v, b):
        return b
    if a in taken and b in taken and cutter.is_held_edge(a, b):
        return None
    return cutter.split_edge(a, b, float(np.clip(share, SNAP, 1.0 - SNAP)))


def _crossing(a: FloatArray, b: FloatArray, direction: FloatArray, up: FloatArray) -> tuple[float, float]:
    """Return where a direction crosses the edge from a to b (0 to 1), and how far it points past it (radians)."""
    sides = [side - (side @ up) * up for side in (a, b)]
    left, right = _turn(sides[0], direction, up), _turn(direction, sides[1], up)
    if left >= 0.0 and right >= 0.0 and float((sides[0] + sides[1]) @ direction) > 0.0:
        return left / max(left + right, 1e-300), 0.0
    angles = []
    for side in sides:
        length = math.sqrt(float(side @ side) * float(direction @ direction))
        angles.append(math.acos(min(1.0, max(-1.0, float(side @ direction) / max(length, 1e-300)))))
    return (0.0, angles[0]) if angles[0] <= angles[1] else (1.0, angles[1])


def _turn(a: FloatArray, b: FloatArray, up: FloatArray) -> float:
    """Return (a x b) . up."""
    (ax, ay, az), (bx, by, bz), (x, y, z) = a.tolist(), b.tolist(), up.tolist()
    return float((ay * bz - az * by) * x + (az * bx - ax * bz) * y + (ax * by - ay * bx) * z)
