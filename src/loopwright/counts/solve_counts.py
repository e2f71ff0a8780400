"""Segment counts of all arcs: which patches are loose, then whole numbers, until the budget is met."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from loopwright.counts.count_options import CountOptions
from loopwright.counts.count_program import CountProgram, FaceGoal, SumPin, build_program
from loopwright.counts.explain_clash import explain_clash
from loopwright.counts.measure_faces import measure_fills, patch_faces, side_sums
from loopwright.errors import ConvergenceError, InternalError, PatienceError
from loopwright.layout.measure_uneven import ring_width
from loopwright.layout.types import Layout, Patch
from loopwright.numerics.integer_program import RelaxedPrice
from loopwright.surface.half_edges import arc_length
from loopwright.surface.proxy import surface_area
from loopwright.types import FloatArray, IntArray

_TRIALS = 12  # patches that are tried before the most helpful ones are made loose
_SEAMS = ("cut", "mirror")
_OFF_BUDGET = 500.0  # price of solutions that miss the budget by its whole, beyond the tolerance
_GAIN = 1e-6  # smaller gains in price are none
_HARD = "The segment counts take more branches than they may."
_NEAR = 1.4  # the factor of the wished face number within which that of the relaxed program is worth a goal


def arc_targets(layout: Layout, vertex_size: FloatArray) -> FloatArray:
    """Return (arcs,) the wished, not yet whole, number of segments: the integral of ds / size.

    Sizes are known at the vertices of the region surface; between two of them
    on an arc they are linear, and an arc that has none takes those of the
    nearest ones.  How many loops a ring has is wished by its mean width,
    and not by how wide it is where it was cut or meets the mirror plane.
    """
    is_known = np.arange(len(layout.positions)) < len(vertex_size)
    tree: cKDTree | None = None
    out = np.zeros(len(layout.arcs))
    for i, arc in enumerate(layout.arcs):
        known = np.flatnonzero(is_known[arc.vertices])
        if len(known):
            local = np.interp(np.arange(len(arc.vertices)), known, vertex_size[arc.vertices[known]])
        else:
            tree = tree or cKDTree(layout.positions[: len(vertex_size)], balanced_tree=False)
            local = vertex_size[tree.query(arc.points)[1]]
        out[i] = arc_length(arc.points, 1 / local)[-1]
    for patch in layout.patches:
        for side, share in _ring_seams(layout, patch):
            out[side] *= share
    return np.round(out, 9)  # what comes of rounding numbers shall not choose between solutions as good


def _ring_seams(layout: Layout, patch: Patch) -> list[tuple[list[int], float]]:
    """Return the arcs of each seam of a ring, and how wide it is on the whole against their length."""
    if not patch.is_ring or len(patch.sides) != 4:
        return []
    sides = [sorted({a for a, _ in side}) for side in patch.sides]
    is_seam = [all(layout.arcs[a].kind in _SEAMS for a in side) for side in sides]
    for i in range(2):
        if is_seam[i] and is_seam[i + 2] and not (is_seam[i + 1] and is_seam[i - 1]):
            loops = (layout.positions[patch.origin[c]] for c in _chains(patch, (i + 1, (i + 3) % 4)))
            width = ring_width(surface_area(layout.positions[patch.origin], patch.triangles), *loops)
            seams = {tuple(sides[i]), tuple(sides[i + 2])}
            return [(list(seam), width / sum(layout.arcs[a].length for a in seam)) for seam in sorted(seams)]
    return []


def _chains(patch: Patch, sides: tuple[int, int]) -> list[IntArray]:
    """Return the local vertices along two of a patch's sides, from corner to corner."""
    loop = np.append(patch.boundary, patch.boundary[0])
    ends = (*patch.corners, len(patch.boundary))
    return [loop[ends[k] : ends[k + 1] + 1] for k in sides]


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
    bounds the face number, linear about the last counts, at first those of the
    relaxed program if they are near; with ``keep_scale`` (sizes that the artist asked for) the
    targets stay as they are.  Where that
    leads from too many faces to too few or back, half as much of the way is
    aimed at as before.  Patches whose fill has more poles than thought become
    dearer in the next round.

    Raises
    ------
    InfeasibleError : the pins clash; the message names a smallest set of them.
    ConvergenceError : no counts were found within ``options.nodes`` branches.
    PatienceError : see :func:`solve_whole`.
    """
    opt = options or CountOptions()
    best: tuple[float, IntArray, float] | None = None
    poles = np.full(len(layout.patches), 2)
    program = build_program(layout, targets, pins=pins, loose_poles=poles, options=opt)
    chosen, is_chosen = choose_loose(program, layout), True
    goal = _relaxed_goal(program, layout, chosen, faces, tolerance)
    scaled = targets if keep_scale or goal is None else _rescaled(targets, faces, goal.faces)
    before, step = 0.0, 1.0  # how many faces the last counts had too many, and which part of it is aimed at
    for _ in range(rounds):
        program = build_program(layout, scaled, pins=pins, goal=goal, loose_poles=poles, options=opt)
        if not is_chosen:
            chosen, is_chosen = choose_loose(program, layout, start=chosen), True
        is_guess = best is None and goal is not None
        counts = _try_whole(program, chosen, opt) if is_guess else solve_whole(program, chosen, opt)
        if counts is None and is_guess:  # targets scaled for the relaxed program's faces may leave pins no room
            scaled, goal = targets, None
            program = build_program(layout, scaled, pins=pins, loose_poles=poles, options=opt)
            counts = solve_whole(program, chosen, opt)
        if counts is None:
            if best is not None:
                break  # the pins fit, but not together with the scaled targets
            explain_clash(layout, targets, pins, opt)
        fills = measure_fills(layout, counts)
        total = float(sum(quads for quads, _ in fills))
        extra = np.array([p - abs(4 - len(patch.sides)) for (_, p), patch in zip(fills, layout.patches, strict=True)])
        off = abs(total - faces) / faces
        price = opt.extra_pole * float(extra.sum()) + _OFF_BUDGET * max(0.0, off - tolerance)
        if best is None or price < best[0]:
            best = (price, counts, total)
        if (extra > poles).any():
            poles = np.maximum(poles, extra)
            is_chosen = False
        elif off <= tolerance:
            break
        if not keep_scale:
            scaled = _rescaled(scaled, faces, total)
        if before * (total - faces) < 0.0:
            step *= 0.5
        before, aim = total - faces, total + step * (faces - total)
        goal = FaceGoal(counts, total, aim - faces * tolerance / 2, aim + faces * tolerance / 2)
    if best is None:
        raise InternalError("solve_for_budget needs at least one round.")
    return best[1], best[2]


def _try_whole(program: CountProgram, loose: frozenset[int], opt: CountOptions) -> IntArray | None:
    """Return what :func:`solve_whole` does; None too where it finds nothing in time."""
    try:
        return solve_whole(program, loose, opt)
    except ConvergenceError:
        return None


def _relaxed_goal(
    program: CountProgram, layout: Layout, loose: frozenset[int], faces: float, tolerance: float
) -> FaceGoal | None:
    """Bound the face number about the counts of the relaxed program, which has no goal; None where they are far off."""
    relaxed = program.program.price_relaxed(_fixed(program, loose))
    if relaxed is None:
        return None
    counts = relaxed.values[program.arcs]
    total = sum(patch_faces(sides) for sides in side_sums(layout, counts))
    if not faces / _NEAR < total < faces * _NEAR:
        return None
    return FaceGoal(counts, total, faces * (1 - tolerance / 2), faces * (1 + tolerance / 2))


def _rescaled(targets: FloatArray, faces: float, total: float) -> FloatArray:
    """Return targets for so many faces, most of the way from those that gave ``total``."""
    factor = float(np.clip(np.sqrt(faces / total), 0.5, 2.0)) ** 0.8
    scaled: FloatArray = factor * targets
    return scaled


def choose_loose(program: CountProgram, layout: Layout, *, start: frozenset[int] = frozenset()) -> frozenset[int]:
    """Choose the patches that may have poles beyond the planned one, from a first choice on.

    Which patches are loose is what makes the program hard; with that fixed it
    is close to a linear one.  So patches are made loose, and firm again where
    that turns out cheaper: each time the one that lowers the price of the
    relaxed program most, or it and all helpful ones that share no arc, where
    they lower it further together.  A patch whose change cannot pay, by the
    slope of the price, is not tried.
    """
    patches = range(len(layout.patches))

    def price(loose: frozenset[int]) -> RelaxedPrice | None:
        return program.program.price_relaxed(_fixed(program, loose))

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
        likely = sorted((i for i in patches if promise[i] < -_GAIN), key=lambda i: (promise[i], i))[:_TRIALS]
        tried = [(trial.price, i, trial) for i in likely if (trial := price(chosen ^ {i})) is not None]
        helpful = sorted((t for t in tried if t[0] < now.price - _GAIN), key=lambda t: t[:2])
        if not helpful:
            break
        alone, apart = helpful[0], _apart(layout, [i for _, i, _ in helpful])
        together = price(chosen ^ apart) if len(apart) > 1 else None
        if together is not None and together.price < alone[0]:
            now, chosen = together, chosen ^ apart
        else:
            now, chosen = alone[2], chosen ^ {alone[1]}
    return chosen


def _fixed(program: CountProgram, loose: frozenset[int]) -> dict[int, float]:
    """Return the value of each column that makes a patch loose."""
    return {int(c): float(i in loose) for i, c in enumerate(program.loose)}


def _apart(layout: Layout, patches: list[int]) -> frozenset[int]:
    """Return those patches that share no arc with one before them."""
    taken: set[int] = set()
    found = []
    for i in patches:
        arcs = {a for side in layout.patches[i].sides for a, _ in side}
        if not arcs & taken:
            found.append(i)
            taken |= arcs
    return frozenset(found)


def solve_whole(program: CountProgram, loose: frozenset[int], opt: CountOptions) -> IntArray | None:
    """Return (arcs,) whole counts with the given loose patches, else with any others; None if surely nothing does.

    In a large layout (``opt.open_arcs``) the counts are rounded from those of
    the relaxed program, each up or down, by a program of that alone: it is
    much smaller, and its solution is little dearer.  Where none of them fits,
    all counts are open, as in a small layout.

    Raises
    ------
    ConvergenceError : none were found within ``opt.nodes`` branches.
    PatienceError : it takes more than ``opt.patience`` branches.

    References
    ----------
    Berthold, "RENS: the optimal rounding", Mathematical Programming Computation 6, 2014,
    doi:10.1007/s12532-013-0060-9.
    """
    is_large = len(program.arcs) > opt.open_arcs
    relaxed = program.program.price_relaxed(_fixed(program, loose)) if is_large else None
    tries = [(opt.gap, program, _fixed(program, loose)), (0.1, program, {})]
    if relaxed is not None:
        rounding = program.rounding(relaxed.values[program.arcs])
        tries.insert(0, (opt.gap, rounding, _fixed(rounding, loose)))
    nodes = opt.nodes if opt.patience is None else min(opt.nodes, opt.patience)
    undecided: ConvergenceError | None = None
    for gap, tried, fixed in tries:
        try:
            solved = tried.program.solve(nodes=nodes, gap=gap, fixed=fixed)
        except ConvergenceError as error:
            if opt.patience is not None:
                raise PatienceError(_HARD) from error
            undecided = error
            continue
        if opt.patience is not None and solved is not None and not solved.is_settled:
            raise PatienceError(_HARD)
        undecided = None
        if solved is not None:
            return np.rint(solved.values[tried.arcs]).astype(np.int32)
    if undecided is not None:
        text = f"No segment counts were found within {opt.nodes} branches; fewer pins or a larger budget help."
        raise ConvergenceError(text) from undecided
    return None
