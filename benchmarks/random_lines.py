"""Random flow lines on a sculpt: the kinds that people draw, and those that nobody should."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.random import Generator

from loopwright.layout.border_graph import Chain, constrained_edges, trace_chains
from loopwright.surface.half_edges import arc_length
from loopwright.surface.project import SurfaceProjector, smooth_vertex_normals
from loopwright.types import FloatArray, IntArray, RegionSurface
from loopwright.wishes import FlowLine


@dataclass(frozen=True)
class Canvas:
    """What lines are drawn on: a surface with its regions, and about the edge length of the mesh to come."""

    surface: RegionSurface
    reach: float

    @cached_property
    def whole(self) -> tuple[FloatArray, IntArray]:
        """Positions and triangles of both halves."""
        p, t, mirror = self.surface.positions, self.surface.triangles, self.surface.mirror
        if mirror is None:
            return p, t
        return np.concatenate([p, mirror.reflect(p)]), np.concatenate([t, t[:, ::-1] + len(p)]).astype(np.int32)

    @cached_property
    def projector(self) -> SurfaceProjector:
        """Finds the nearest points of both halves."""
        return SurfaceProjector(*self.whole)

    @cached_property
    def vertex_normals(self) -> FloatArray:
        """(n, 3) unit normals of both halves."""
        return smooth_vertex_normals(*self.whole, rounds=2)

    @cached_property
    def chains(self) -> list[Chain]:
        """Borders, rims and the mirror plane, in pieces between junctions."""
        return trace_chains(constrained_edges(self.surface), set(), len(self.surface.positions))

    def place(self, rng: Generator) -> FloatArray:
        """Return a random vertex."""
        place: FloatArray = self.surface.positions[rng.integers(len(self.surface.positions))]
        return place

    def put(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return (k, 3) nearest points and the normals there."""
        found = self.projector.project(points)
        normal = self.vertex_normals[self.whole[1][found.triangles]].mean(axis=1)
        return found.points, normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)


def wander(
    canvas: Canvas, rng: Generator, start: FloatArray, count: int, step: float, *, curl: float = 0.3
) -> FloatArray:
    """Return a walk of ``count`` points from a place; it bends by ``curl`` radians at random at each step."""
    heading = rng.normal(size=3)
    points = [start]
    turn = rng.normal() * curl
    for _ in range(count - 1):
        at, up = canvas.put(points[-1][None])
        heading = heading - (heading @ up[0]) * up[0]
        heading = heading / max(float(np.linalg.norm(heading)), 1e-12)
        turn = 0.6 * turn + 0.4 * rng.normal() * curl
        heading = np.cos(turn) * heading + np.sin(turn) * np.cross(up[0], heading)
        points.append(canvas.put((at[0] + step * heading)[None])[0][0])
    return np.array(points)


def loop(
    canvas: Canvas, rng: Generator, centre: FloatArray, radius: float, count: int, *, twist: int = 1
) -> FloatArray:
    """Return a wavy closed line about a place; with ``twist`` 2 a figure of eight."""
    _, up = canvas.put(centre[None])
    a = np.cross(up[0], rng.normal(size=3))
    a /= np.linalg.norm(a)
    b = np.cross(up[0], a)
    t = 2 * np.pi * np.arange(count) / count
    wave = radius * (1 + 0.25 * rng.random() * np.sin(3 * t + rng.uniform(0, 6)))
    points = centre + (wave * np.cos(t))[:, None] * a + (wave * np.sin(twist * t))[:, None] * b
    return canvas.put(points)[0]


Drawn = list[tuple[FloatArray, bool]]
Kind = Callable[[Canvas, Generator], Drawn]


def short(canvas: Canvas, rng: Generator) -> Drawn:
    """A stroke of two to four points."""
    step = rng.uniform(0.8, 4) * canvas.reach
    return [(wander(canvas, rng, canvas.place(rng), int(rng.integers(2, 5)), step), False)]


def long(canvas: Canvas, rng: Generator) -> Drawn:
    """A stroke of up to forty points."""
    step = rng.uniform(0.5, 2) * canvas.reach
    return [(wander(canvas, rng, canvas.place(rng), int(rng.integers(8, 41)), step), False)]


def jagged(canvas: Canvas, rng: Generator) -> Drawn:
    """A stroke that turns sharply."""
    step = rng.uniform(0.7, 3) * canvas.reach
    return [(wander(canvas, rng, canvas.place(rng), int(rng.integers(4, 14)), step, curl=1.6), False)]


def ends_far_apart(canvas: Canvas, rng: Generator) -> Drawn:
    """Two or three points anywhere."""
    return [(np.array([canvas.place(rng) for _ in range(int(rng.integers(2, 4)))]), False)]


def closed(canvas: Canvas, rng: Generator) -> Drawn:
    """A ring of middling size."""
    radius = rng.uniform(2, 9) * canvas.reach
    return [(loop(canvas, rng, canvas.place(rng), radius, int(rng.integers(5, 41))), True)]


def tiny(canvas: Canvas, rng: Generator) -> Drawn:
    """A ring of about an edge."""
    radius = rng.uniform(0.1, 1.6) * canvas.reach
    return [(loop(canvas, rng, canvas.place(rng), radius, int(rng.integers(3, 12))), True)]


def eight(canvas: Canvas, rng: Generator) -> Drawn:
    """A figure of eight, which crosses itself."""
    radius = rng.uniform(2, 8) * canvas.reach
    return [
        (loop(canvas, rng, canvas.place(rng), radius, int(rng.integers(16, 41)), twist=2), bool(rng.random() < 0.8))
    ]


def crossing(canvas: Canvas, rng: Generator) -> Drawn:
    """Two or three strokes that cross near a place."""
    place = canvas.place(rng)
    out: Drawn = []
    for _ in range(int(rng.integers(2, 4))):
        walk = wander(canvas, rng, place, int(rng.integers(3, 9)), rng.uniform(0.7, 2) * canvas.reach)
        back = wander(canvas, rng, place, int(rng.integers(3, 9)), rng.uniform(0.7, 2) * canvas.reach)
        if (walk[1] - place) @ (back[1] - place) < 0:
            walk = np.concatenate([back[:0:-1], walk])
        out.append((walk, False))
    return out


def coincident(canvas: Canvas, rng: Generator) -> Drawn:
    """A stroke drawn twice, the second time a little beside."""
    line = wander(canvas, rng, canvas.place(rng), int(rng.integers(4, 15)), rng.uniform(0.7, 2) * canvas.reach)
    shake = rng.uniform(0, 0.5) * canvas.reach * rng.normal(size=line.shape) * rng.integers(0, 2)
    return [(line, False), (canvas.put(line + shake)[0], False)]


def beside_border(canvas: Canvas, rng: Generator) -> Drawn:
    """A stroke along a border, a fraction of an edge or more beside it."""
    if not canvas.chains:
        return long(canvas, rng)
    chain = canvas.chains[rng.integers(len(canvas.chains))]
    points = canvas.surface.positions[chain.vertices]
    first = int(rng.integers(0, max(len(points) - 4, 1)))
    points = points[first : first + int(rng.integers(4, 80)) : int(rng.integers(1, 6))]
    if len(points) < 2:
        return short(canvas, rng)
    points = points + 1e-3 * canvas.reach * rng.normal(size=points.shape)
    along = np.gradient(points, axis=0)
    across = np.cross(canvas.put(points)[1], along)
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-12)
    aside = np.linspace(*rng.uniform(-1.3, 1.3, 2), len(points)) if rng.random() < 0.5 else rng.uniform(-1.3, 1.3)
    return [(canvas.put(points + canvas.reach * np.reshape(aside, (-1, 1)) * across)[0], False)]


def at_junction(canvas: Canvas, rng: Generator) -> Drawn:
    """A stroke that starts at a junction or near it."""
    if not canvas.chains:
        return short(canvas, rng)
    place = canvas.surface.positions[canvas.chains[rng.integers(len(canvas.chains))].vertices[0]]
    start = canvas.put(place[None] + rng.uniform(0, 1.5) * canvas.reach * rng.normal(size=3))[0][0]
    walk = wander(canvas, rng, start, int(rng.integers(2, 12)), rng.uniform(0.7, 2.5) * canvas.reach)
    return [(walk[:: int(rng.choice([1, -1]))], False)]


def into_opening(canvas: Canvas, rng: Generator) -> Drawn:
    """A stroke that ends at a rim or beyond it."""
    rims = [c for c in canvas.chains if c.kind == "rim"]
    if not rims:
        return short(canvas, rng)
    path = canvas.surface.positions[rims[rng.integers(len(rims))].vertices]
    place = path[rng.integers(len(path))]
    walk = wander(canvas, rng, place, int(rng.integers(3, 10)), rng.uniform(0.7, 2) * canvas.reach)
    beyond = place - rng.uniform(0, 1.5) * (walk[1] - place)
    return [(np.concatenate([beyond[None], walk[int(rng.integers(0, 2)) :]]), False)]


def over_mirror(canvas: Canvas, rng: Generator) -> Drawn:
    """A line across the mirror plane."""
    if canvas.surface.mirror is None:
        return long(canvas, rng)
    places = canvas.surface.positions[canvas.surface.on_mirror]
    place = places[rng.integers(len(places))]
    step = rng.uniform(0.5, 2) * canvas.reach
    one, two = (wander(canvas, rng, place, int(rng.integers(2, 10)), step) for _ in range(2))
    two = canvas.surface.mirror.reflect(two)
    return [(np.concatenate([one[:0:-1], two[int(rng.integers(0, 2)) :]]), bool(rng.random() < 0.25))]


def off_surface(canvas: Canvas, rng: Generator) -> Drawn:
    """A stroke whose points lie a little above and below the surface."""
    line, is_closed = (long if rng.random() < 0.5 else closed)(canvas, rng)[0]
    height = 0.5 * canvas.reach * rng.normal(size=(len(line), 1))
    return [(line + height * canvas.put(line)[1], is_closed)]


KINDS: tuple[Kind, ...] = (
    short,
    long,
    long,
    jagged,
    ends_far_apart,
    closed,
    closed,
    tiny,
    eight,
    crossing,
    coincident,
    beside_border,
    at_junction,
    into_opening,
    over_mirror,
    off_surface,
)


def random_lines(canvas: Canvas, rng: Generator) -> tuple[tuple[FlowLine, ...], str]:
    """Return the lines of one case and its story: one to four kinds, some of them drawn on the far half."""
    lines: list[FlowLine] = []
    story = []
    for _ in range(int(rng.choice([1, 1, 1, 2, 2, 3, 4]))):
        kind = KINDS[rng.integers(len(KINDS))]
        story.append(kind.__name__)
        for points, is_closed in kind(canvas, rng):
            if canvas.surface.mirror is not None and rng.random() < 0.3:
                points = canvas.surface.mirror.reflect(points)
            if is_closed and len(points) < 3:
                is_closed = False
            name = f"{kind.__name__} {len(lines) + 1}"
            if len(points) >= 2 and arc_length(points)[-1] > 0:
                listed = tuple((float(x), float(y), float(z)) for x, y, z in points)
                lines.append(FlowLine(listed, is_closed, name))
    return tuple(lines), "+".join(story)
