"""Search better places for vertices, many at a time: those that share no quad move together."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.mend_worst import edge_ratios, face_quality
from loopwright.fit.near_places import NearPlaces
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.surface.edges import cross_rows, row_lengths
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, FloatArray, QuadMesh

TOO_LONG, MOST_LONG = 2.5, 0.04
"""The longest edge over the shortest of a quad that is too long, and the share of such quads that is many."""

_FAIR, _UNFAIR_PRICE = 0.9, 2.0  # a quad costs the square of what it lacks of 1, and so often of this quality, ...
_BAD, _BAD_PRICE = 0.75, 4.0  # ... and so often again of this one
LONG = 2.2
"""The longest edge over the shortest above which a quad costs."""
_LONG_PRICE = 0.03  # of what is more than that, and ...
_SHUNNED, _SHUNNED_PRICE = 2.35, 0.18  # ... of what is more than this, where many quads are long
LOST = 0.03  # a lead of its own paint below this is as good as lost
_AIM, _LEAD_PRICE = 0.12, 3.0  # lead of its own paint below which a quad costs, and how much
_PURE_PRICE = 0.35  # of what a quad lacks, beside that, of the lead that all quads shall have
_SWEPT = 2.0  # how much of its lead a quad loses at most, per share of its area that a moved corner's sides can sweep
_RADII = (0.35, 0.15, 0.06)  # of the places tried, in edges, one after the other
_ROUNDS = 5
_GAIN = 5e-4  # a move that gains less is not made


class PlaceSearch:
    """The positions of a mesh, and better ones for some of its vertices.

    Vertices keep their distance from the sculpt. Each round looks at places on a circle round each vertex, or to both
    sides along its curve, and takes the one that costs the quads round it least in shape and in paint. Vertices
    that share no quad are looked at together, so the sum over all quads falls with every move.

    Parameters
    ----------
    mesh : on the sculpt or near to it.
    sampler : of this mesh and the sculpt's paint; None where there is no paint.

    Attributes
    ----------
    pure : lead of its own paint below which a quad costs even if it is not nearly lost to other paint; or 0.
    least_lead, lead_price : lead of its own paint below which a quad costs, and how much by what it lacks of that.
    shuns_long : long quads cost more than usual.
    gain : of a move that is made, at least.
    positions, normals : (n, 3) where the vertices are now, and the sculpt's normals there.

    References
    ----------
    L. A. Freitag, C. Ollivier-Gooch, "Tetrahedral mesh improvement using swapping and smoothing", IJNME 40, 1997:
    smoothing of one vertex after the other by what is round it, in independent sets. The costs are our own.
    """

    def __init__(self, mesh: QuadMesh, projector: SurfaceProjector, sampler: PaintSampler | None) -> None:
        self.mesh, self.projector, self.sampler = mesh, projector, sampler
        self.shuns_long, self.pure = False, 0.0
        self.least_lead, self.lead_price, self.gain = _AIM, _LEAD_PRICE, _GAIN
        self.positions: FloatArray = mesh.positions.copy()
        self._places = NearPlaces(mesh, projector)
        self.normals: FloatArray = self._places.normals.copy()
        corners = mesh.positions[mesh.quads]
        across = cross_rows(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
        longest = row_lengths((np.roll(corners, -1, axis=1) - corners).reshape(-1, 3)).reshape(-1, 4).max(axis=1)
        self._swept = _SWEPT * longest / np.maximum(0.5 * row_lengths(across), 1e-300)  # of the lead, per length
        self._lead = np.ones(len(mesh.quads)) if sampler is None else sampler.lead(mesh.positions)[0]
        self._is_exact = np.ones(len(mesh.quads), np.bool_)  # else they lead by at least so much
        self._order = np.argsort(mesh.quads.ravel(), kind="stable")
        self._start = np.searchsorted(mesh.quads.ravel()[self._order], np.arange(len(mesh.positions) + 1))

    def lead(self) -> FloatArray:
        """Return (m,) by which share of its samples each quad's own colour leads, 1 without paint."""
        if self.sampler is None:
            return np.ones(len(self.mesh.quads))
        unsure = np.flatnonzero(~self._is_exact)
        if len(unsure):
            self._lead[unsure] = self.sampler.lead(self.positions, unsure)[0]
            self._is_exact[unsure] = True
        return self._lead.copy()

    def put_back(self, vertices: NDArray[np.int64], positions: FloatArray, normals: FloatArray) -> None:
        """Put these vertices where they are in (n, 3) ``positions``."""
        self.positions[vertices], self.normals[vertices] = positions[vertices], normals[vertices]
        faces = self._faces_of(vertices)[0]
        self._lead[faces], self._is_exact[faces] = -1.0, False

    def quality(self) -> FloatArray:
        """Return (m,) the quality of the quads."""
        return face_quality(self.positions, self.mesh.quads, self.normals)

    def improve(
        self,
        vertices: NDArray[np.int64],
        slides: BoolArray,
        *,
        least: float,
        rounds: int = _ROUNDS,
        progress: Callable[[float], None] = lambda done: None,
    ) -> None:
        """Move these vertices to better places as long as that gains, those of (n,) ``slides`` along their curves.

        Parameters
        ----------
        least : quality below which no quad gets, unless it was there already; then it gets no worse.
        rounds : at most so many.
        progress : told the share that is done before each set of vertices is moved; may raise.
        """
        self._floor = np.minimum(self.quality(), least)
        sets = self._independent(vertices)
        idle: NDArray[np.int64] = np.full(len(self.positions), len(_RADII))
        idle[vertices] = 0
        for step in range(rounds):
            idle[vertices] += 1
            for index, chosen in enumerate(sets):
                progress((step + index / len(sets)) / rounds)
                waiting = chosen[idle[chosen] <= len(_RADII)]
                for part, along in ((waiting[~slides[waiting]], False), (waiting[slides[waiting]], True)):
                    if len(part):
                        moved = part[self._move(part, _RADII[step % len(_RADII)], along=along)]
                        idle[self.mesh.quads[self._faces_of(moved)[0]]] = 0
            if (idle[vertices] >= len(_RADII)).all():
                break

    def _faces_of(self, vertices: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return (f,) the quads round these vertices, those of each together, and (k,) how many each has."""
        count = self._start[vertices + 1] - self._start[vertices]
        first = np.repeat(self._start[vertices] - np.concatenate([[0], np.cumsum(count)[:-1]]), count)
        return self._order[first + np.arange(int(count.sum()))] // 4, count

    def _independent(self, vertices: NDArray[np.int64]) -> list[NDArray[np.int64]]:
        """Return the vertices in sets of which no two share a quad."""
        color: NDArray[np.int64] = np.full(len(self.positions), -1)
        for vertex in vertices.tolist():
            faces = self._order[self._start[vertex] : self._start[vertex + 1]] // 4
            taken = set(color[self.mesh.quads[faces]].ravel().tolist())
            color[vertex] = next(k for k in range(len(taken) + 1) if k not in taken)
        return [vertices[color[vertices] == k] for k in range(int(color[vertices].max(initial=-1)) + 1)]

    def _move(self, vertices: NDArray[np.int64], radius: float, *, along: bool) -> BoolArray:
        """Move each of these vertices, which share no quad, to the best of its places; say which moved."""
        look = self._places.along if along else self._places.around
        points, facing = look(vertices, self.positions[vertices], self.normals[vertices], radius)
        faces, count = self._faces_of(vertices)
        owner = np.repeat(np.arange(len(vertices)), count)
        first = np.concatenate([[0], np.cumsum(count)[:-1]])
        ring = self.mesh.quads[faces]
        is_vertex = (ring == vertices[owner][:, None])[:, None, :, None]
        where = np.where(is_vertex, points[owner][:, :, None], self.positions[ring][:, None])
        aim = np.where(is_vertex, facing[owner][:, :, None], self.normals[ring][:, None])
        total: FloatArray = np.add.reduceat(self._shape_costs(where, aim, self._floor[faces]), first, axis=0)
        best, leads, is_exact = self._choose(total, where, faces, first, radius * self._places.size[vertices[owner]])
        moves: BoolArray = best > 0
        row = np.arange(len(vertices))
        self.positions[vertices[moves]] = points[row, best][moves]
        self.normals[vertices[moves]] = facing[row, best][moves]
        moved = moves[owner]
        self._lead[faces[moved]], self._is_exact[faces[moved]] = leads[moved], is_exact[moved]
        return moves

    def _choose(
        self,
        total: FloatArray,
        where: FloatArray,
        faces: NDArray[np.int64],
        first: NDArray[np.int64],
        reach: FloatArray,
    ) -> tuple[NDArray[np.int64], FloatArray, BoolArray]:
        """Return (v,) each vertex's best place, 0 for the present one, and (f,) by what the quads round it lead there.

        The last array tells for which quads that is exact; the others lead by so much at least.

        Parameters
        ----------
        total : (v, k) what the places cost in shape; changed in place.
        where : (f, k, 4, 3) corners of the quads with the vertex at each of them.
        faces : (f,) the quads. first : (v,) the first one of each vertex.
        reach : (f,) how far the vertex moves.
        """
        row, of = np.arange(len(total)), np.repeat(np.arange(len(total)), np.diff(np.append(first, len(faces))))
        total[:, 0] -= self.gain
        leads = self._lead[faces] - reach * self._swept[faces]
        near = np.flatnonzero(leads < max(self.pure, self.least_lead))  # with other paint so near that it may count
        if self.sampler is None or len(near) == 0:
            return total.argmin(axis=1), leads, np.zeros(len(faces), np.bool_)
        unsure = near[~self._is_exact[faces[near]]]
        self._lead[faces[unsure]] = self.sampler.lead_of(where[unsure, 0], faces[unsure])
        self._is_exact[faces[unsure]] = True
        lead_at = np.repeat(leads[:, None], total.shape[1], axis=1)
        lead_at[:, 0] = self._lead[faces]
        now = self._price(lead_at[:, 0])
        total[:, 0] += np.add.reduceat(now, first)
        known = np.zeros(total.shape, np.bool_)
        known[:, 0] = True
        known[np.setdiff1d(row, of[near])] = True
        while True:  # the cheapest in shape first: mostly it costs nothing in paint
            best = total.argmin(axis=1)
            asked = near[~known[row, best][of[near]]]
            if len(asked) == 0:
                is_exact = np.zeros(len(faces), np.bool_)
                is_exact[near] = True
                return best, lead_at[np.arange(len(faces)), best[of]], is_exact
            place = best[of[asked]]
            lead_at[asked, place] = self.sampler.lead_of(where[asked, place], faces[asked])
            cost = np.zeros(len(faces))
            cost[asked] = self._price(lead_at[asked, place])
            lost = (lead_at[asked, place] < LOST) & (cost[asked] > now[asked])
            cost[asked[lost]] = np.inf  # no quad is lost that is not
            found = np.unique(of[asked])
            total[found, best[found]] += np.add.reduceat(cost, first)[found]
            known[row, best] = True

    def _price(self, lead: FloatArray) -> FloatArray:
        """Return what quads cost that lead by so much."""
        cost: FloatArray = self.lead_price * np.maximum(self.least_lead - lead, 0.0)
        return cost + _PURE_PRICE * np.maximum(self.pure - lead, 0.0)

    def _shape_costs(self, where: FloatArray, aim: FloatArray, floor: FloatArray) -> FloatArray:
        """Return (f, k) what quads with (f, k, 4, 3) corners and normals cost for their shape."""
        flat = where.reshape(-1, 3)
        local = np.arange(len(flat), dtype=np.int32).reshape(-1, 4)
        quality = face_quality(flat, local, aim.reshape(-1, 3)).reshape(where.shape[:2])
        ratio = 1.0 / np.maximum(edge_ratios(flat, local), 1e-9).reshape(where.shape[:2])
        cost = (1.0 - quality) ** 2 + _UNFAIR_PRICE * np.maximum(_FAIR - quality, 0.0) ** 2
        cost += _BAD_PRICE * np.maximum(_BAD - quality, 0.0) ** 2
        cost += _LONG_PRICE * np.maximum(ratio - LONG, 0.0)
        if self.shuns_long:
            cost += _SHUNNED_PRICE * np.maximum(ratio - _SHUNNED, 0.0)
        falls = quality < floor[:, None] - 1e-9
        falls[:, 0] = False
        return np.where(falls, np.inf, cost)
