"""Weights of the program over segment counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class CountOptions:
    """Weights of the program.

    extra_pole : price of one pole beyond the planned ones.
    ring_poles : price of a ring that cannot be a stack of closed loops.
    sector : factor on ``extra_pole``, and on ``uneven`` and ``uneven_rows``, in a sector of a ring away from openings.
    uneven : price per segment that opposite sides differ, in a patch of many rows between them.
    uneven_rows : the same times the rows wished between them, where it is more so: poles need rows to end columns in.
    thin : price of a pole, or a strip, that is only one row away from a side.
    rim_segments : least number of segments round an opening.
    bare_rim : price of each segment that an opening lacks to that number.
    short_rim : price per segment that an opening lacks; well above what a segment more than wished costs.
    ring_rows : least number of rows of a ring at an opening; one that wishes for less than about 1.6 gets two.
    few_rows : price of each row that such a ring lacks, for each of its sides.
    oblong : price per face of a patch, for each of its corners (their mean), of how far two sides' counts, as shares
        of what they wish, are apart beyond ``least_oblong``.
    off_budget : price of each face more or less than the budget's tolerance allows.
    gap : relative gap at which a solve may stop.
    region_poles : factor on ``extra_pole`` by region index.
    nodes : branches that one solve may look at; the best solution by then is used.
    patience : branches after which it raises :class:`~loopwright.errors.PatienceError` instead, also where it but
        guesses; None for never.
    open_arcs : layouts of more arcs get counts rounded from the relaxed program's, which is much faster.
    """

    extra_pole: float = 4.0
    ring_poles: float = 80.0
    sector: float = 0.5
    uneven: float = 0.1
    uneven_rows: float = 1.5
    thin: float = 0.8
    rim_segments: int = 12
    bare_rim: float = 20.0
    short_rim: float = 8.0
    ring_rows: int = 3
    few_rows: float = 3.0
    off_budget: float = 2.0
    gap: float = 0.01
    oblong: float = 0.2
    least_oblong: float = 0.25
    nodes: int = 2000
    patience: int | None = None
    open_arcs: int = 60
    region_poles: Mapping[int, float] = field(default_factory=dict)
