"""Fill a patch with quads: only its side counts and, for the choice among equals, its side lengths matter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from loopwright.errors import InfeasibleError, InternalError
from loopwright.patterns.cut_patterns import Pattern, build_tree
from loopwright.patterns.embed_fill import score_fill
from loopwright.patterns.one_pole import PatchMesh, build_grid, build_one_pole, solve_spokes
from loopwright.patterns.search_fill import (
    MAX_POLES,
    MAX_STARTS,
    find_start,
    improve,
    patterns_for,
    rank_patterns,
    spokes_of,
)
from loopwright.patterns.tight_corner import SideList, attach_tight_corner, cut_tight_corner, find_tight_corner
from loopwright.types import IntArray

_FINALISTS = 4


@dataclass(frozen=True)
class PatchFill:
    """The quads of a filled patch, without positions.

    Attributes
    ----------
    quads : (m, 4) int32, counter-clockwise.
    vertex_count : number of vertices; the boundary ones come first.
    boundary : (b,) int32, boundary vertices counter-clockwise from corner 0; side 0 runs from corner 0 to corner 1.
    """

    quads: IntArray
    vertex_count: int
    boundary: IntArray


def fill_patch(side_counts: Sequence[int], *, side_lengths: Sequence[float] | None = None) -> PatchFill:
    """Return the quads of a patch with two to six sides and the given numbers of edges.

    Every corner gets one quad, every other boundary vertex two, and interior
    vertices have three, four or five edges.  There are as few poles as a
    pattern of chords allows; among such fills the one with the most even
    edges is taken.  A mirrored or rotated request gives the mirrored or
    rotated fill.

    Parameters
    ----------
    side_counts : edges of each side, at least 1 each, with an even sum.
    side_lengths : lengths of the sides in any unit; one unit per edge if not given.

    Raises
    ------
    InternalError
        Counts that no caller should ask for (number of sides, zero, odd sum).
    InfeasibleError
        No fill with poles of three and five exists or was found.

    References
    ----------
    Tarini, 2021, arXiv 2101.11569 (one pole); Takayama, Panozzo, Sorkine-Hornung, "Pattern-based quadrangulation
    for N-sided patches", CGF 33(5), 2014 (every even set of counts can be filled).

    Examples
    --------
    >>> fill_patch((3, 2, 3, 2)).quads.shape
    (6, 4)
    """
    mesh = _fill_sides(_check(side_counts, side_lengths))
    if mesh is None:
        raise InfeasibleError(
            f"a patch with side counts {tuple(side_counts)} has no fill with poles of three and five edges only;"
            " give its sides more edges",
            places=[tuple(side_counts)],
        )
    return _number_boundary_first(mesh)


def is_fillable(side_counts: Sequence[int]) -> bool:
    """Return whether :func:`fill_patch` has a fill for these counts (False also for an odd sum)."""
    if not 2 <= len(side_counts) <= 6 or min(side_counts) < 1 or sum(side_counts) % 2:
        return False
    return _count_poles(_check(side_counts, None)) is not None


def pole_count(side_counts: Sequence[int]) -> int:
    """Return the number of poles of the fill.

    Raises
    ------
    InfeasibleError
        There is no fill.
    """
    poles = _count_poles(_check(side_counts, None))
    if poles is None:
        raise InfeasibleError(f"a patch with side counts {tuple(side_counts)} has no fill", places=[tuple(side_counts)])
    return poles


def _check(side_counts: Sequence[int], side_lengths: Sequence[float] | None) -> SideList:
    """Return (count, length in 1/100 of the perimeter) of the sides."""
    counts = [int(c) for c in side_counts]
    name = f"patch with side counts {tuple(counts)}"
    if not 2 <= len(counts) <= 6:
        raise InternalError(f"{name}: a patch needs two to six sides", places=[tuple(counts)])
    if min(counts) < 1 or sum(counts) % 2:
        raise InternalError(f"{name}: every side needs an edge, and their sum must be even", places=[tuple(counts)])
    lengths = np.asarray(counts if side_lengths is None else side_lengths, dtype=np.float64)
    if lengths.shape != (len(counts),) or not np.all(np.isfinite(lengths)) or np.any(lengths <= 0.0):
        raise InternalError(f"{name}: every side needs a positive length", places=[tuple(counts)])
    shares = np.maximum(np.rint(100.0 * lengths / lengths.sum()), 1.0).astype(int)
    return tuple((c, int(s)) for c, s in zip(counts, shares, strict=True))


def _canonical(sides: SideList) -> tuple[SideList, int, bool]:
    """Return the least of all turns and mirror images, by counts and only then by lengths, and how it came about."""
    options: list[tuple[SideList, int, bool]] = []
    for is_mirrored in (False, True):
        order = sides[::-1] if is_mirrored else sides
        options += [(order[turn:] + order[:turn], turn, is_mirrored) for turn in range(len(sides))]
    return min(options, key=lambda option: (_counts(option[0]), option))


def _counts(sides: SideList) -> tuple[int, ...]:
    return tuple(count for count, _ in sides)


def _fill_sides(sides: SideList) -> PatchMesh | None:
    least, turn, is_mirrored = _canonical(sides)
    mesh = _fill_canonical(least)
    if mesh is None:
        return None
    back = len(sides) - turn
    order = mesh.sides[back:] + mesh.sides[:back]
    if not is_mirrored:
        return PatchMesh(mesh.quads, mesh.vertex_count, order)
    mirrored = tuple(np.ascontiguousarray(side[::-1]) for side in order[::-1])
    return PatchMesh(np.ascontiguousarray(mesh.quads[:, ::-1]), mesh.vertex_count, mirrored)


def _number_boundary_first(mesh: PatchMesh) -> PatchFill:
    ring = np.concatenate([side[:-1] for side in mesh.sides])
    new_id = np.full(mesh.vertex_count, -1, dtype=np.int32)
    new_id[ring] = np.arange(ring.size, dtype=np.int32)
    inner = new_id < 0
    new_id[inner] = ring.size + np.arange(np.count_nonzero(inner), dtype=np.int32)
    boundary = np.arange(ring.size, dtype=np.int32)
    return PatchFill(np.ascontiguousarray(new_id[mesh.quads]), mesh.vertex_count, boundary)


@lru_cache(maxsize=20000)
def _count_poles(sides: SideList) -> int | None:
    counts = _counts(sides)
    if _fill_simple(counts) is not None:
        return 0 if len(counts) == 4 else 1
    place = find_tight_corner(counts)
    if place is not None:
        rest = cut_tight_corner(sides, place)
        poles = None if rest is None else _count_poles(rest)
        return None if poles is None else poles + 1
    found = _fewest_poles(_counts(_canonical(sides)[0]))
    return None if found is None else found[0]


@lru_cache(maxsize=20000)
def _fill_canonical(sides: SideList) -> PatchMesh | None:
    counts = _counts(sides)
    simple = _fill_simple(counts)
    if simple is not None:
        return simple
    place = find_tight_corner(counts)
    if place is not None:
        rest = cut_tight_corner(sides, place)
        mesh = None if rest is None else _fill_sides(rest)
        return None if mesh is None else attach_tight_corner(mesh, place)
    found = _fewest_poles(counts)
    return None if found is None else _choose_fill(sides, *found)


def _choose_fill(sides: SideList, poles: int, is_tight: bool, starts: _Starts) -> PatchMesh:
    """Return the best of the fills that grow from the starts."""
    counts, lengths = _counts(sides), tuple(float(s) for _, s in sides)
    patterns = patterns_for(counts, poles)
    ranked = []
    for index, start in starts:
        cost, params = improve(patterns[index], counts, lengths, np.asarray(start, dtype=np.int32), is_tight=is_tight)
        ranked.append((round(cost, 9), index, tuple(params.tolist())))
    ranked.sort()
    distinct = [entry for k, entry in enumerate(ranked) if k == 0 or entry[0] > ranked[k - 1][0]]
    meshes = [_build(patterns[index], counts, chosen) for _, index, chosen in distinct[:_FINALISTS]]
    sound = [mesh for mesh in meshes if is_sound(mesh)]
    if not sound:
        sound = [_build(patterns[index], counts, start) for index, start in starts[:_FINALISTS]]
    return max(sound, key=lambda mesh: _score(mesh, counts, lengths))


def _score(mesh: PatchMesh, counts: tuple[int, ...], lengths: tuple[float, ...]) -> float:
    fill = _number_boundary_first(mesh)
    return score_fill(fill.quads, fill.vertex_count, counts, lengths)


def _fill_simple(counts: tuple[int, ...]) -> PatchMesh | None:
    if len(counts) == 4 and counts[0] == counts[2] and counts[1] == counts[3]:
        return build_grid(counts[0], counts[1])
    spokes = solve_spokes(counts)
    return None if spokes is None else build_one_pole(spokes)


_Starts = tuple[tuple[int, tuple[int, ...]], ...]


@lru_cache(maxsize=20000)
def _fewest_poles(counts: tuple[int, ...]) -> tuple[int, bool, _Starts] | None:
    """Return the least number of poles, whether spokes of length 0 are needed, and a start for each pattern.

    A side of one edge has one quad, which takes an edge off both neighbours and leaves a patch of the same kind.
    That ends well only when two such neighbours and the side opposite run out together: in a grid.
    """
    if min(counts) == 1:
        return None
    least = max(abs(4 - len(counts)), 2 if len(counts) % 2 == 0 else 3)
    for poles in range(least, MAX_POLES + 1, 2):
        for is_tight in (False, True):
            starts = _find_starts(counts, poles, is_tight)
            if starts:
                return poles, is_tight, starts
    return None


def _find_starts(counts: tuple[int, ...], poles: int, is_tight: bool) -> _Starts:
    patterns = patterns_for(counts, poles)
    starts: list[tuple[int, tuple[int, ...]]] = []
    for index, _ in rank_patterns(patterns, counts, is_tight=is_tight):
        if len(starts) == MAX_STARTS[poles > 3]:
            break
        pattern = patterns[index]
        params = find_start(pattern, counts, is_tight=is_tight)
        if params is not None and (not is_tight or is_sound(_build(pattern, counts, tuple(params.tolist())))):
            starts.append((index, tuple(params.tolist())))
    return tuple(starts)


def _build(pattern: Pattern, counts: tuple[int, ...], params: tuple[int, ...]) -> PatchMesh:
    doubled = spokes_of(pattern, counts, np.asarray(params, dtype=np.int32))
    return build_tree(pattern.tree, [int(s) for s in doubled // 2], params)


def is_sound(mesh: PatchMesh) -> bool:
    """Return whether corners have one quad, other boundary vertices two, interior ones three to five, no quads twice.

    Two quads share at most one edge, and every edge inside has a quad on either side.
    """
    quads_at = np.bincount(mesh.quads.ravel(), minlength=mesh.vertex_count)
    ring = np.concatenate([side[:-1] for side in mesh.sides])
    wanted = np.full(ring.size, 2)
    wanted[np.cumsum([0, *[side.size - 1 for side in mesh.sides[:-1]]])] = 1
    if np.unique(ring).size != ring.size or np.any(quads_at[ring] != wanted):
        return False
    inner = np.ones(mesh.vertex_count, dtype=bool)
    inner[ring] = False
    if np.any(quads_at[inner] < 3) or np.any(quads_at[inner] > 5):
        return False
    tail, head = mesh.quads.ravel().astype(np.int64), np.roll(mesh.quads, -1, axis=1).ravel().astype(np.int64)
    directed = tail * mesh.vertex_count + head
    order = np.argsort(directed)
    if np.any(tail == head) or np.any(np.diff(directed[order]) == 0):
        return False
    back = head * mesh.vertex_count + tail
    place = np.minimum(np.searchsorted(directed[order], back), directed.size - 1)
    found = directed[order][place] == back
    if np.count_nonzero(~found) != ring.size:
        return False
    here = np.arange(directed.size)[found] // 4
    there = order[place[found]] // 4
    pairs = here * mesh.quads.shape[0] + there
    return bool(np.all(here != there) and np.unique(pairs).size == pairs.size)
