"""Segment counts of all arcs: which patches are loose, then whole numbers, until the budget is met."""

from __future__ import annotations

import numpy as np

from loopwright.counts.count_program import CountOptions, CountProgram, FaceGoal, SumPin, build_program
from loopwright.counts.explain_clash import explain_clash
from loopwright.counts.measure_faces import measure_fill, side_counts
from loopwright.errors import InternalError
from loopwright.layout.types import Layout
from loopwright.numerics.integer_program import RelaxedPrice
from loopwright.types import FloatArray, IntArray

_TRIALS = 12  # patches that are tried before the most helpful one is made loose


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


def solve_for_budget(
    layout: Layout,
    targets: FloatArray,
    faces: float,
    *,
    pins: tuple[SumPin, ...] = (),
    tolerance: float = 0.01,
    rounds: int = 8,
    keep_scale: bool = False,
    options: CountOptions | None = None,
) -> tuple[IntArray, float]:
    """Return (arcs,) segment counts with close to ``faces`` quads, and the number of quads.

    Every round scales the targets by the square root of what is missing and
    bounds the face number, linear about the last counts; with ``keep_scale``
    (sizes that the artist asked for) the targets stay as they are.  Patches
    whose fill has more poles than thought become dearer in the next round.

    Raises
    ------
    InfeasibleError : the pins clash; the message names a smallest set of them.
    """
    opt = options or CountOptions()
    best: tuple[float, IntArray, float] | None = None
    goal: FaceGoal | None = None
    poles = np.full(len(layout.patches), 2)
    scaled = targets
    chosen: frozenset[int] = frozenset()
    is_chosen = False
    for _ in range(rounds):
        program = build_program(layout, scaled, pins=pins, goal=goal, loose_poles=poles, options=opt)
        if not is_chosen:
            chosen, is_chosen = choose_loose(program, layout, start=chosen), True
        counts = solve_whole(program, chosen, opt)
        if counts is None:
            if best is not None:
                break  # the pins fit, but not together with the scaled targets
            explain_clash(layout, targets, pins, opt)
        sides = side_counts(layout, counts)
        fills = [measure_fill(tuple(s)) for s in sides]
        total = sum(f for f, _ in fills)
        extra = np.array([p - abs(4 - len(s)) for (_, p), s in zip(fills, sides, strict=True)])
        off = abs(total - faces) / faces
        price = opt.extra_pole * float(extra.sum()) + 300.0 * max(0.0, off - tolerance)
        if best is None or price < best[0]:
            best = (price, counts, total)
        if (extra > poles).any():
            poles = np.maximum(poles, extra)
            is_chosen = False
        elif off <= tolerance:
            break
        if not keep_scale:
            scaled = scaled * float(np.clip(np.sqrt(faces / total), 0.5, 2.0)) ** 0.8
        goal = FaceGoal(counts, total, faces * (1 - tolerance / 2), faces * (1 + tolerance / 2))
    if best is None:
        raise InternalError("solve_for_budget needs at least one round.")
    return best[1], best[2]


def choose_loose(program: CountProgram, layout: Layout, *, start: frozenset[int] = frozenset()) -> frozenset[int]:
    """Choose the patches that may have poles beyond the planned one, from a first choice on.

    Which patches are loose is what makes the program hard; with that fixed it
    is close to a linear one.  So patches are made loose one by one, each time
    the one that lowers the price of the relaxed program most, and made firm
    again where that turns out cheaper.  A patch whose change cannot pay, by
    the slope of the price, is not tried.
    """
    patches = range(len(layout.patches))

    def price(loose: frozenset[int]) -> RelaxedPrice | None:
        return program.program.price_relaxed({int(c): float(i in loose) for i, c in enumerate(program.loose)})

    chosen = start
    now = price(chosen)
    if now is None:
        # start from the patches that the program makes loose, if only in part, when it is free to
        free = program.program.price_relaxed({})
        if free is None:
            return frozenset(patches)
        chosen = frozenset(i for i in patches if free.values[program.loose[i]] > 1e-7)
        now = price(chosen)
    for _ in range(2 * len(layout.patches) + 2):
        if now is None:
            return frozenset(patches)
        promise = [float(now.slopes[program.loose[i]]) * (-1.0 if i in chosen else 1.0) for i in patches]
        best: tuple[RelaxedPrice, frozenset[int]] | None = None
        for i in sorted((i for i in patches if promise[i] < -1e-6), key=lambda i: (promise[i], i))[:_TRIALS]:
            if best is not None and now.price + promise[i] >= best[0].price:
                break
            trial = price(chosen ^ {i})
            if trial is not None and trial.price < (now if best is None else best[0]).price - 1e-6:
                best = trial, chosen ^ {i}
        if best is None:
            break
        now, chosen = best
    return chosen


def solve_whole(program: CountProgram, loose: frozenset[int], opt: CountOptions) -> IntArray | None:
    """Return (arcs,) whole counts with the given loose patches, else with any others; None if nothing does."""
    fixed = {int(c): float(i in loose) for i, c in enumerate(program.loose)}
    solved = program.program.solve(nodes=opt.nodes, gap=opt.gap, fixed=fixed)
    if solved is None:
        solved = program.program.solve(nodes=opt.nodes, gap=0.1)
    return None if solved is None else np.rint(solved.values[program.arcs]).astype(np.int32)
