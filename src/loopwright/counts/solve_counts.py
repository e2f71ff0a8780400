"""Segment counts of all arcs from one integer program."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from loopwright.errors import InfeasibleError, InternalError
from loopwright.layout.types import Layout
from loopwright.numerics.integer_program import IntegerProgram
from loopwright.patterns.fill_patch import fill_patch, pole_count
from loopwright.types import FloatArray, IntArray


@dataclass(frozen=True)
class CountOptions:
    """Weights of the program.

    extra_pole : price of one pole beyond the planned ones.
    ring_poles : price of a ring that cannot be a stack of closed loops.
    uneven : price per segment that opposite sides differ.
    thin : price of a pole, or a strip, that is only one row away from a side.
    rim_segments : least number of segments round an opening.
    first_gap, gap : relative gap at which the first solve, which only sets the scale, and the later ones may stop.
    nodes : branches that one solve may look at; the best solution by then is used.
    """

    extra_pole: float = 1.5
    ring_poles: float = 30.0
    uneven: float = 0.1
    thin: float = 0.8
    rim_segments: int = 12
    first_gap: float = 0.1
    gap: float = 0.04
    nodes: int = 400


# (price per segment, width of the band as a share of the target): the derivative of t log(n/t)^2, band by band
_MOST = 2.5
_ABOVE = ((0.1, 0.1), (0.35, 0.2), (0.55, 0.3), (0.8, np.inf))
_BELOW = ((0.12, 0.1), (0.5, 0.15), (1.5, 0.2), (3.0, np.inf))


@dataclass(frozen=True)
class SumPin:
    """A wish of the artist: these arcs together have exactly ``count`` segments."""

    arcs: tuple[int, ...]
    count: int
    name: str


def arc_targets(layout: Layout, vertex_size: FloatArray) -> FloatArray:
    """Return (arcs,) the wished, not yet whole, number of segments: the integral of ds / size."""
    size = np.concatenate([vertex_size, np.full(len(layout.positions) - len(vertex_size), np.nan)])
    out = np.zeros(len(layout.arcs))
    for i, arc in enumerate(layout.arcs):
        step = np.linalg.norm(np.diff(arc.points, axis=0), axis=1)
        local = size[arc.vertices]
        known = np.isfinite(local)
        local = np.interp(np.arange(len(local)), np.flatnonzero(known), local[known]) if known.any() else local
        out[i] = float((step * 0.5 * (1 / local[:-1] + 1 / local[1:])).sum())
    return out


def solve_counts(
    layout: Layout,
    targets: FloatArray,
    *,
    pins: tuple[SumPin, ...] = (),
    face_goal: tuple[IntArray, float, float] | None = None,
    loose_poles: IntArray | None = None,
    options: CountOptions | None = None,
) -> IntArray:
    """Return (arcs,) segment counts, at least 1 each.

    Parameters
    ----------
    face_goal : (counts of an earlier solve, least, most number of faces): the
        face number, linear about those counts, is kept within the bounds.
    loose_poles : (patches,) poles beyond the planned one that a patch gets where its
        sides do not fit it; 2 each if not given.

    Raises
    ------
    InfeasibleError : the pins clash; the message names a smallest set of them.
    """
    opt = options or CountOptions()
    poles = np.full(len(layout.patches), 2) if loose_poles is None else loose_poles
    solution = _solve(layout, targets, pins, face_goal, poles, opt)
    if solution is not None:
        return solution
    if pins and _solve(layout, targets, (), face_goal, poles, opt) is not None:
        clash = _smallest_clash(layout, targets, pins, opt)
        names = ", ".join(f"{p.name}={p.count}" for p in clash)
        raise InfeasibleError(
            f"These pins cannot be met together: {names}. Change one of them by one, or remove one.",
            places=[p.name for p in clash],
        )
    raise InfeasibleError(
        "No set of segment counts fits this layout; a smaller edge length (a larger budget) frees it."
    )


def _smallest_clash(layout: Layout, targets: FloatArray, pins: tuple[SumPin, ...], opt: CountOptions) -> list[SumPin]:
    """Drop pins one by one while the rest still clash."""
    kept = list(pins)
    for pin in pins:
        rest = tuple(p for p in kept if p is not pin)
        if _solve(layout, targets, rest, None, np.full(len(layout.patches), 2), opt) is None:
            kept = list(rest)
    return kept


def _solve(
    layout: Layout,
    targets: FloatArray,
    pins: tuple[SumPin, ...],
    face_goal: tuple[IntArray, float, float] | None,
    loose_poles: IntArray,
    opt: CountOptions,
) -> IntArray | None:
    program = IntegerProgram()
    arcs = np.array([_arc_column(program, t) for t in targets])
    limits = np.ceil(_MOST * targets + 4)
    for patch, poles in zip(layout.patches, loose_poles.tolist(), strict=True):
        sides = [arcs[[a for a, _ in side]] for side in patch.sides]
        longest = [float(sum(limits[a] for a, _ in side)) for side in patch.sides]
        price = opt.ring_poles if patch.is_ring else opt.extra_pole * poles
        add_patch_rows(program, sides, longest, price, opt)
    _add_rim_rows(program, layout, arcs, opt)
    for pin in pins:
        program.add(arcs[list(pin.arcs)], np.ones(len(pin.arcs)), pin.count, pin.count)
    if face_goal is not None:
        counts, least, most = face_goal
        gradient, constant = linear_faces(layout, counts)
        short, over = program.real(3.0 / 20), program.real(3.0 / 20)
        program.add(np.concatenate([arcs, [short]]), np.append(gradient, 1.0), least - constant, np.inf)
        program.add(np.concatenate([arcs, [over]]), np.append(gradient, -1.0), -np.inf, most - constant)
    x = program.solve(nodes=opt.nodes, gap=opt.first_gap if face_goal is None else opt.gap)
    return None if x is None else np.rint(x[arcs]).astype(np.int32)


def _arc_column(program: IntegerProgram, target: float) -> int:
    """An arc's count; its price follows t log(n/t)^2 for target t, in slopes that keep it convex."""
    column = program.integer(0.0, 1.0, float(np.ceil(_MOST * target + 4)))
    unit = max(target, 2.0)
    above = [program.real(slope, width * unit) for slope, width in _ABOVE]
    below = [program.real(slope, width * unit) for slope, width in _BELOW]
    signs = np.array([1.0] + [-1.0] * len(above) + [1.0] * len(below))
    program.add(np.array([column, *above, *below]), signs, target, target)
    return column


def add_patch_rows(
    program: IntegerProgram, sides: list[IntArray], longest: list[float], price: float, opt: CountOptions
) -> None:
    """The fill conditions of one patch.

    An even boundary always; and unless the binary ``loose`` is paid for (``price``;
    ``longest`` bounds what it makes up for):
    opposite sides equal (4 sides), or the spokes of one pole all at least 1.
    2 s_i = e_(i+1) + e_(i-1) + e_i - e_(i+2) - e_(i-2) for five sides,
    2 s_k = e_i + e_j - e_k for three (solved from e_i = s_(i-1) + s_(i+1)).
    """
    every = np.concatenate(sides)
    half = program.integer(0.0, 1.0, 1e5)
    program.add(np.append(every, half), np.append(np.ones(len(every)), -2.0), 0.0, 0.0)
    loose = program.integer(price, 0.0, 1.0)
    n = len(sides)
    for side in sides:
        single = program.real(opt.thin, 1.0)
        program.add(np.append(side, single), np.ones(len(side) + 1), 2.0, np.inf)
        # what no fill can do: a side of one edge but in a grid, and (to be safe) of two where poles are added
        least = 1.0 if n == 4 else 2.0
        program.add(np.append(side, loose), np.append(np.ones(len(side)), least - 3.0), least, np.inf)
    if n == 4:
        for i in range(2):
            columns = np.concatenate([sides[i], sides[i + 2]])
            signs = np.concatenate([np.ones(len(sides[i])), -np.ones(len(sides[i + 2]))])
            more, less = program.real(opt.uneven), program.real(opt.uneven)
            program.add(np.append(columns, [more, less]), np.append(signs, [-1.0, 1.0]), 0.0, 0.0)
            program.add(np.array([more, less, loose]), np.array([1.0, 1.0, -max(longest[i], longest[i + 2])]), -np.inf, 0.0)
        return
    for i in range(n):
        columns, signs = [], []
        for j, side in enumerate(sides):
            far = min((j - i) % n, (i - j) % n)
            sign = (-1.0 if far == 0 else 1.0) if n == 3 else (-1.0 if far == 2 else 1.0)
            columns.append(side)
            signs.append(np.full(len(side), sign))
        tight = program.real(opt.thin, 2.0)
        missing = 4.0 + sum(longest[j] for j in range(n) if signs[j][0] < 0)
        every_column = np.concatenate([*columns, [tight, loose]])
        program.add(every_column, np.concatenate([*signs, [1.0, missing]]), 4.0, np.inf)


def _add_rim_rows(program: IntegerProgram, layout: Layout, arcs: IntArray, opt: CountOptions) -> None:
    """Openings get at least ``rim_segments``; half of it where the mirror plane cuts the opening."""
    for loop, is_half in rim_loops(layout):
        least = opt.rim_segments // 2 if is_half else opt.rim_segments
        lack = program.real(2.0)
        program.add(np.append(arcs[loop], lack), np.ones(len(loop) + 1), least, np.inf)


def rim_loops(layout: Layout) -> list[tuple[list[int], bool]]:
    """Return the openings as lists of rim arcs, and whether each is cut by the mirror plane."""
    around: dict[int, list[int]] = {}
    for i, arc in enumerate(layout.arcs):
        if arc.kind == "rim":
            around.setdefault(int(arc.vertices[0]), []).append(i)
            around.setdefault(int(arc.vertices[-1]), []).append(i)
    left = {i for i, a in enumerate(layout.arcs) if a.kind == "rim"}
    loops = []
    while left:
        stack, found = [min(left)], set()
        while stack:
            i = stack.pop()
            if i in found:
                continue
            found.add(i)
            arc = layout.arcs[i]
            stack.extend(around[int(arc.vertices[0])] + around[int(arc.vertices[-1])])
        left -= found
        ends = [int(v) for i in found for v in (layout.arcs[i].vertices[0], layout.arcs[i].vertices[-1])]
        loops.append((sorted(found), bool(layout.on_mirror[ends].any())))
    return loops


@lru_cache(maxsize=20_000)
def measure_fill(sides: tuple[int, ...]) -> tuple[float, int]:
    """Return the number of quads and of poles that a patch with these sides gets."""
    if is_simple(sides):
        return patch_faces(list(sides)), abs(4 - len(sides))
    try:
        fill = fill_patch(sides)
    except InfeasibleError:
        return patch_faces(list(sides)), 99
    return float(len(fill.quads)), pole_count(sides)


def is_simple(sides: tuple[int, ...]) -> bool:
    """Tell whether no pole, or the one planned, fills a patch with 3 to 5 sides."""
    n = len(sides)
    if n == 4:
        return sides[0] == sides[2] and sides[1] == sides[3]
    if sum(sides) % 2:
        return False
    if n == 3:
        return all(sum(sides) - 2 * e >= 2 for e in sides)
    return all(sides[(i + 1) % n] + sides[i - 1] + sides[i] - sides[(i + 2) % n] - sides[i - 2] >= 2 for i in range(n))


def patch_faces(side_counts: list[int]) -> float:
    """Return the number of quads of a patch: exact where one pole (or none) suffices, else a good guess."""
    e = np.array(side_counts, float)
    n = len(e)
    if n == 4:
        return float((e[0] + e[2]) * (e[1] + e[3]) / 4)
    if n == 3:
        s = (e.sum() - 2 * e) / 2
    else:
        s = np.array([e[(i + 1) % n] + e[i - 1] + e[i] - e[(i + 2) % n] - e[i - 2] for i in range(n)]) / 2
    s = np.maximum(s, 0.5)
    return float((s * np.roll(s, -1)).sum())


def side_counts(layout: Layout, counts: IntArray) -> list[list[int]]:
    """Return the segment counts of every patch's sides."""
    return [[int(sum(counts[a] for a, _ in side)) for side in patch.sides] for patch in layout.patches]


def linear_faces(layout: Layout, counts: IntArray) -> tuple[FloatArray, float]:
    """Return gradient and constant of the face number, linear about ``counts`` (by differences of one segment)."""
    gradient = np.zeros(len(counts))
    total = 0.0
    for patch, sides in zip(layout.patches, side_counts(layout, counts), strict=True):
        base = patch_faces(sides)
        total += base
        for k, side in enumerate(patch.sides):
            more = list(sides)
            more[k] += 1
            less = list(sides)
            less[k] -= 1
            slope = (patch_faces(more) - patch_faces(less)) / 2
            for a, _ in side:
                gradient[a] += slope
    return gradient, total - float(gradient @ counts)


def solve_for_budget(
    layout: Layout,
    targets: FloatArray,
    faces: float,
    *,
    pins: tuple[SumPin, ...] = (),
    tolerance: float = 0.01,
    rounds: int = 4,
    keep_scale: bool = False,
    options: CountOptions | None = None,
) -> tuple[IntArray, float]:
    """Return counts with close to ``faces`` quads, and the number by :func:`patch_faces`.

    Every round scales the targets by the square root of what is missing and
    bounds the face number, linear about the last counts; with ``keep_scale``
    (sizes that the artist asked for) the targets stay as they are.
    """
    opt = options or CountOptions()
    best: tuple[float, IntArray, float] | None = None
    goal: tuple[IntArray, float, float] | None = None
    loose = np.full(len(layout.patches), 2)
    scaled = targets
    for step in range(rounds):
        counts = solve_counts(layout, scaled, pins=pins, face_goal=goal, loose_poles=loose, options=opt)
        sides = side_counts(layout, counts)
        fills = [measure_fill(tuple(s)) for s in sides]
        total = sum(f for f, _ in fills)
        extra = np.array([p - abs(4 - len(s)) for (_, p), s in zip(fills, sides, strict=True)])
        off = abs(total - faces) / faces
        price = opt.extra_pole * float(extra.sum()) + 100.0 * max(0.0, off - tolerance)
        if best is None or price < best[0]:
            best = (price, counts, total)
        dearer = extra > loose
        if (off <= tolerance and not dearer.any()) or step == rounds - 1:
            break
        loose = np.maximum(loose, extra)
        if not keep_scale:
            scaled = scaled * float(np.clip(np.sqrt(faces / total), 0.5, 2.0)) ** 0.8
        goal = (counts, faces * (1 - tolerance / 2), faces * (1 + tolerance / 2))
    if best is None:
        raise InternalError("solve_for_budget needs at least one round.")
    return best[1], best[2]
