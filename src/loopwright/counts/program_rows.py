"""What the sides of patches, rings and openings ask of the program over segment counts."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from loopwright.counts.count_options import CountOptions
from loopwright.counts.measure_faces import patch_faces
from loopwright.layout.types import Layout, Patch
from loopwright.numerics.integer_program import IntegerProgram
from loopwright.types import IntArray

LEAST_UNIT = 2.0
"""The least target whose shares count: a side that wishes for less counts as wishing for that."""
_LEAST_LOOP = 3.0  # edges of a closed loop
_FLATTEST_ROW = 0.53  # of an edge: a ring at an opening is not divided into rows narrower than this, unless into two


def add_patch_rows(
    program: IntegerProgram,
    sides: list[list[int]],
    longest: list[float],
    wished: list[float],
    price: float,
    opt: CountOptions,
    *,
    unlike: float = 1.0,
) -> int:
    """The fill conditions of one patch.

    An even boundary always; and unless the binary ``loose`` is paid for (``price``;
    ``longest`` bounds what it makes up for):
    opposite sides equal (4 sides), or the spokes of one pole all at least 1.
    2 s_i = e_(i+1) + e_(i-1) + e_i - e_(i+2) - e_(i-2) for five sides,
    2 s_k = e_i + e_j - e_k for three (solved from e_i = s_(i-1) + s_(i+1)).
    ``wished`` are the sides' counts before any rounding, and ``unlike`` is a
    factor on what it costs that opposite sides differ.
    Returns the column ``loose``.
    """
    half = program.integer(0.0, 1.0, 1e5)
    program.add_terms(0.0, 0.0, *[(side, 1.0) for side in sides], ([half], -2.0))
    loose = program.integer(price, 0.0, 1.0)
    n = len(sides)
    for side in sides:
        single = program.real(opt.thin, 1.0)
        program.add_terms(2.0, np.inf, (side, 1.0), ([single], 1.0))
        # what no fill can do: a side of one edge but in a grid, and (to be safe) of two where poles are added
        least = 1.0 if n == 4 else 2.0
        program.add_terms(least, np.inf, (side, 1.0), ([loose], least - 3.0))
    if n == 4:
        for i in range(2):
            rows = max(0.5 * (wished[i - 1] + wished[i + 1]), 1.0)
            each = unlike * max(opt.uneven, opt.uneven_rows / rows)
            more, less = program.real(each), program.real(each)
            program.add_terms(0.0, 0.0, (sides[i], 1.0), (sides[i + 2], -1.0), ([more], -1.0), ([less], 1.0))
            program.add_terms(-np.inf, 0.0, ([more, less], 1.0), ([loose], -max(longest[i], longest[i + 2])))
        return loose
    for i in range(n):
        against = 0 if n == 3 else 2  # how many sides on those sides are that count against the spoke
        signs = [-1.0 if min((j - i) % n, (i - j) % n) == against else 1.0 for j in range(n)]
        tight = program.real(opt.thin, 2.0)
        missing = 4.0 + sum(length for length, sign in zip(longest, signs, strict=True) if sign < 0)
        program.add_terms(4.0, np.inf, *zip(sides, signs, strict=True), ([tight], 1.0), ([loose], missing))
    return loose


def add_ring_rows(
    program: IntegerProgram,
    layout: Layout,
    patch: Patch,
    sides: list[list[int]],
    wished: list[float],
    opt: CountOptions,
) -> None:
    """A ring at an opening, such as a lid or a lip, gets at least ``ring_rows``: it has to bend.

    One that is so thin that its quads would be much longer than wide gets fewer, but two.  ``wished``
    are the sides' counts before any rounding.
    """
    if not (patch.is_ring or patch.is_sector) or len(sides) != 4:
        return
    at_rim = sides_at_rim(layout, patch)
    for i in range(4):
        if at_rim[i - 1] or at_rim[(i + 1) % 4]:
            least = float(np.clip(np.floor(wished[i] / _FLATTEST_ROW), min(2, opt.ring_rows), opt.ring_rows))
            lack = program.real(opt.few_rows)
            program.add_terms(least, np.inf, (sides[i], 1.0), ([lack], 1.0))


def sides_at_rim(layout: Layout, patch: Patch) -> list[bool]:
    """Tell for each side of a patch whether some of it is the rim of an opening."""
    return [any(layout.arcs[a].kind == "rim" for a, _ in side) for side in patch.sides]


def add_square_rows(program: IntegerProgram, sides: list[list[int]], wished: list[float], opt: CountOptions) -> None:
    """Corner by corner, the two sides get about the same share of what each wishes: quads are long where they do not.

    A side counts as wishing for two segments at least, so that a short one does not make its neighbours finer.

    Parameters
    ----------
    wished : of each side, its count before any rounding.
    """
    price = opt.oblong * patch_faces(wished) / len(sides)
    unit = [max(each, LEAST_UNIT) for each in wished]
    for i, side in enumerate(sides):
        apart = program.real(price)
        shares = (side, 1.0 / unit[i]), (sides[i - 1], -1.0 / unit[i - 1])
        program.add_terms(-opt.least_oblong, np.inf, *shares, ([apart], 1.0))
        program.add_terms(-np.inf, opt.least_oblong, *shares, ([apart], -1.0))


def add_rim_rows(program: IntegerProgram, layout: Layout, arcs: IntArray, opt: CountOptions) -> None:
    """Openings get at least ``rim_segments``; half of it where the mirror plane cuts the opening."""
    for loop, is_half in rim_loops(layout):
        least = opt.rim_segments // 2 if is_half else opt.rim_segments
        lack = program.real(opt.short_rim)
        program.add_terms(least, np.inf, (arcs[loop].tolist(), 1.0), ([lack], 1.0))


def add_loop_rows(program: IntegerProgram, layout: Layout, arcs: IntArray) -> None:
    """Arcs that close a loop get at least three segments: two would be one edge twice.

    So do two arcs with the same ends. An arc from the mirror plane to it closes a loop with its image.
    """
    between: dict[tuple[int, int], list[int]] = {}
    for arc, column in zip(layout.arcs, arcs.tolist(), strict=True):
        first, last = sorted((int(arc.vertices[0]), int(arc.vertices[-1])))
        if first == last:
            program.add_terms(_LEAST_LOOP, np.inf, ([column], 1.0))
            continue
        between.setdefault((first, last), []).append(column)
        if arc.kind != "mirror" and layout.on_mirror[[first, last]].all():
            program.add_terms(_LEAST_LOOP, np.inf, ([column], 2.0))
    for columns in between.values():
        for pair in combinations(columns, 2):
            program.add_terms(_LEAST_LOOP, np.inf, (list(pair), 1.0))


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
