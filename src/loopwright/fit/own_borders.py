"""Draw the borders of a whole mesh to the paint of the side that they are on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, diags, vstack
from scipy.spatial import cKDTree

from loopwright.fit.border_sides import NO_QUAD, BorderSides, find_border_sides
from loopwright.fit.curve_shifts import CurveShifts
from loopwright.fit.draw_to_paint import find_paint, stations_on
from loopwright.fit.link_edges import unique_edges
from loopwright.fit.measure_quality import corner_sines
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.fit.slide_curves import CurveSet, lay_curves
from loopwright.numerics.factorize import factorize
from loopwright.surface.edges import cross_rows, row_lengths
from loopwright.surface.project import SurfaceProjector, unit
from loopwright.types import BoolArray, Curve, FloatArray, QuadMesh

_ROUNDS = 4
_FAR = 0.25  # of an edge: in all rounds but the first, borders go up to so near to the paint
_PER_EDGE = 4.0  # stations along a border per edge
_REACH = 1.1  # of the room on that side, and ...
_FARTHEST = 1.2  # ... of the border's mean edge: how far the paint is looked for in a round
_FULL = 0.99  # of that reach: an opening that far off is not seen
_SURE = 0.3  # of an edge: places that lie further off what the others near them say count less, and are ...
_WEIGHINGS = 3  # ... weighed so many times
_LEAST_PULL = 1e-9  # home, of vertices between the curves, against 1 of each spring
_ON_CURVE = 0.05  # of an edge: what lies this near to a curve is on it
_SHORTEST = 0.25  # of what an edge of a border was: where it would be drawn shorter, ...
_LEAST_SINE = 0.35  # ... or a quad's scaled Jacobian would get below this, and ...
_SLACK = 0.01  # ... by more than that, ...
_EASED = 1.0  # ... borders so many edges from it, or nearer, go less far, and count less: ...
_EASE = 0.3  # ... so much, and in each round ...
_EASINGS = 8  # ... so many times at most


def draw_own_borders(
    mesh: QuadMesh, projector: SurfaceProjector, sampler: PaintSampler, is_open: BoolArray, stays: BoolArray
) -> QuadMesh:
    """Return the mesh with its curves moved to where the paint parts the colours beside them.

    Along all borders between two colours, and openings that are painted, the nearest place that parts the paint is
    found, square to the border. The curves are moved there as one net, smoothly, junctions and all, with the
    vertices on them, and those between follow. What lies between a drawn line's ends follows what it is tied to.
    What is then still more than a quarter of an edge from the paint is moved on, in a few rounds. Where a move would
    press the edges of a border together, since it is much shorter on this side, or flatten quads, less of it is done.

    Parameters
    ----------
    mesh : without a mirror; its curves lie on the sculpt.
    sampler : of this mesh.
    is_open : (c,) which colours of the palette are left open.
    stays : (n,) the vertices that keep their places, and what lies on curves there.
    """
    start = mesh
    for number in range(_ROUNDS):
        before, mesh = mesh, _draw(mesh, projector, sampler, is_open, stays, start, _FAR if number else 0.0)
        if mesh is before:
            break
    return mesh


def _draw(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    sampler: PaintSampler,
    is_open: BoolArray,
    stays: BoolArray,
    start: QuadMesh,
    far: float,
) -> QuadMesh:
    curves = lay_curves(mesh.curves)
    edge = _mean_edges(mesh, curves)
    shifts = CurveShifts(curves, edge / _PER_EDGE)
    openings = len(is_open)  # stands for all colours that are left open
    beyond = np.where(sampler.beyond == NO_QUAD, openings, sampler.beyond)
    near = np.ones(len(mesh.positions), np.bool_)
    sides = find_border_sides(mesh, near, sampler.own, beyond, curves, rim=openings)
    station, way, offset = _find_places(sides, projector, sampler, is_open, shifts, edge)
    mean = edge[shifts.curve[station]]
    offset = np.sign(offset) * np.maximum(np.abs(offset) - far * mean, 0.0)
    if not offset.any():
        return mesh
    ends = [curve.points[[0, -1]] for curve in mesh.curves if not curve.closed]
    spots = np.unique(np.vstack([mesh.positions[mesh.is_fixed], *ends]), axis=0)
    reach = _ON_CURVE * edge
    ties = vstack(
        [shifts.tie(spots, reach, to_rest=False), shifts.tie(mesh.positions[stays], reach, to_rest=True)]
    ).tocsr()
    weight, ease = np.ones(len(offset)), np.ones(len(offset))
    for _ in range(_WEIGHINGS):
        moved = shifts.solve(station, way, offset, weight, ties)
        weight = 1.0 / (1.0 + (((moved[station] * way).sum(axis=1) - offset) / (_SURE * mean)) ** 2)
    spot = curves.position(shifts.curve[station], shifts.along[station])
    ways = start.positions[sides.ends]
    least = _SHORTEST * row_lengths(ways[:, 1] - ways[:, 0])
    between = _Between(mesh, stays)
    sines = corner_sines(start.positions, mesh.quads).min(axis=1) - _SLACK
    place = between.place(_on_curves(mesh, shifts, moved, edge), projector)
    for _ in range(_EASINGS):
        drawn_ends = place[sides.ends]
        pressed = row_lengths(drawn_ends[:, 1] - drawn_ends[:, 0]) < least
        now = corner_sines(place, mesh.quads, between.normals).min(axis=1)
        flat = (now < _LEAST_SINE) & (now < sines)
        if not pressed.any() and not flat.any():
            break
        tight = np.vstack(
            [mesh.positions[sides.ends[pressed]].mean(axis=1), mesh.positions[mesh.quads[flat]].mean(axis=1)]
        )
        near_tight = cKDTree(tight, balanced_tree=False).query(spot)[0] < _EASED * mean
        if not near_tight.any():
            break
        ease[near_tight] *= _EASE
        moved = shifts.solve(station, way, offset * ease, weight * ease, ties)
        place = between.place(_on_curves(mesh, shifts, moved, edge), projector)
    drawn = []
    for index, curve in enumerate(mesh.curves):
        along = curves.locate(index, curve.points)[0]
        points = curve.points + shifts.weights(np.full(len(along), index), along) @ moved
        drawn.append(Curve(projector.project(points).points, curve.closed))
    return replace(mesh, positions=place, curves=tuple(drawn))


def _mean_edges(mesh: QuadMesh, curves: CurveSet) -> FloatArray:
    """Return (c,) about how long the edges along each curve are."""
    on = np.bincount(mesh.vertex_curve[mesh.vertex_curve >= 0], minlength=len(curves.length))
    edges: FloatArray = curves.length / (on + 1.0)
    return edges


def _find_places(
    sides: BorderSides,
    projector: SurfaceProjector,
    sampler: PaintSampler,
    is_open: BoolArray,
    shifts: CurveShifts,
    edge: FloatArray,
) -> tuple[NDArray[np.int64], FloatArray, FloatArray]:
    """Return stations, (k,), the way to the left of the curve at each, (k, 3), and how far that way the paint parts."""
    openings = len(is_open)  # stands for all colours that are left open

    def colors(points: FloatArray) -> list[NDArray[np.int32]]:
        return [np.where(np.append(is_open, False)[c], openings, c).astype(np.int32) for c in sampler.colors_at(points)]

    found: list[tuple[NDArray[np.int64], FloatArray, FloatArray]] = []
    for index in np.unique(sides.curve):
        part = sides.take(sides.curve == index)
        first, last = shifts.first[index : index + 2]
        period = float(shifts.curves.length[index]) if shifts.curves.closed[index] else np.inf
        asked, of = stations_on(part, shifts.along[first:last], period)
        asked += first
        if len(asked) == 0:
            continue
        on, along = np.full(len(asked), index), shifts.along[asked]
        points = shifts.curves.position(on, along)
        tangent = shifts.curves.tangent(on, along, np.full(len(asked), 0.3 * edge[index]))
        left = unit(cross_rows(projector.project(points).normals, tangent))
        reach = np.minimum(_REACH * part.rooms[of], _FARTHEST * edge[index])
        offset, is_sure = find_paint(points, left, reach, part.colors[of], colors)
        for side, sign in ((0, 1.0), (1, -1.0)):  # the end of the sculpt looks like an opening that is not seen
            is_unseen = (part.colors[of, side] == openings) & (sign * offset >= _FULL * reach[:, side])
            offset[is_unseen] = 0.0
        found.append((asked[is_sure], left[is_sure], offset[is_sure]))
    if not found:
        return np.zeros(0, np.int64), np.zeros((0, 3)), np.zeros(0)
    return (
        np.concatenate([f[0] for f in found]),
        np.vstack([f[1] for f in found]),
        np.concatenate([f[2] for f in found]),
    )


def _on_curves(mesh: QuadMesh, shifts: CurveShifts, moved: FloatArray, edge: FloatArray) -> FloatArray:
    """Return (n, 3) by how much vertices on curves, or fixed, move."""
    step, best = np.zeros_like(mesh.positions), np.full(len(mesh.positions), np.inf)
    for index in range(len(edge)):
        asked = np.flatnonzero((mesh.vertex_curve == index) | mesh.is_fixed)
        along, off = shifts.curves.locate(index, mesh.positions[asked])
        nearer = (off < best[asked]) & (off < edge[index])
        there = asked[nearer]
        best[there] = off[nearer]
        step[there] = shifts.weights(np.full(len(there), index), along[nearer]) @ moved
    return step


class _Between:
    """Moves the vertices between curves with those on them, as a net of springs has it.

    Parameters
    ----------
    stays : (n,) the vertices that keep their places.

    Attributes
    ----------
    normals : (m, 3) unit normals of the quads before they move.
    """

    def __init__(self, mesh: QuadMesh, stays: BoolArray) -> None:
        edges, count = unique_edges(mesh.quads), len(mesh.positions)
        links = coo_matrix((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(count, count)).tocsr()
        links = links + links.T
        self._mesh, self._stays = mesh, stays
        self._known = (mesh.vertex_curve >= 0) | mesh.is_fixed | stays
        self._free = np.flatnonzero(~self._known)
        # the least pull home is for pieces of the mesh of which none is known
        stiffness = (diags(np.asarray(links.sum(axis=1)).ravel() + _LEAST_PULL) - links).tocsr()[self._free]
        self._pulls = stiffness[:, self._known]
        self._springs = factorize(stiffness[:, self._free]) if len(self._free) and self._known.any() else None
        corners = mesh.positions[mesh.quads]
        self.normals = unit(cross_rows(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]))

    def place(self, step: FloatArray, projector: SurfaceProjector) -> FloatArray:
        """Return (n, 3) places on the sculpt, for (n, 3) steps; those of vertices between curves are not looked at."""
        step = np.where(self._stays[:, None], 0.0, step)
        if self._springs is not None:
            step[self._free] = self._springs.solve(-(self._pulls @ step[self._known]))
        place, moves = self._mesh.positions.copy(), step.any(axis=1)
        place[moves] = projector.project(place[moves] + step[moves]).points
        return place
