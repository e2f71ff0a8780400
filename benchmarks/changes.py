"""What a change of wishes costs on a sculpt that is open, beside the first plan and the first build in the same run.

    python -m benchmarks.changes --triangles 900000
    python -m benchmarks.changes --sculpt head.ply --leave-open "#141414"

Ratios compare machines, and a busy one with itself, better than seconds do. The processor's time counts all threads.
Without a sculpt the demo creature is made and written to a file first.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from loopwright import BuildOptions, BuildResult, OpenSculpt, Pin, open_sculpt
from loopwright.options import parse_budget, parse_color
from loopwright.wishes import FixedPoint, FlowLine, PolePin, SizeDab


@dataclass(frozen=True)
class Cost:
    """Seconds on the clock, and of processor time over all threads."""

    clock: float
    processor: float

    def over(self, other: Cost) -> str:
        """Return both as shares of another cost."""
        return f"{self.clock / other.clock:.2f} | {self.processor / other.processor:.2f}"


def measure(work: Callable[[], object]) -> Cost:
    """Return what some work costs."""
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return Cost(time.perf_counter() - clock, time.process_time() - processor)


def make_changes(options: BuildOptions, first: BuildResult) -> dict[str, BuildOptions]:
    """Return one change of each kind, found on the first mesh: its borders, its regions and places on it."""
    mesh = first.half or first.mesh
    border = max(first.layout.borders, key=lambda each: each.segments * each.times)
    reach = float(np.ptp(mesh.positions, axis=0).max())
    region = int(np.bincount(mesh.quad_region).argmax())
    middles = mesh.positions[mesh.quads[mesh.quad_region == region]].mean(axis=1)
    order = np.argsort(np.linalg.norm(middles - middles[len(middles) // 3], axis=1), kind="stable")
    places = [tuple(middles[order[k]].tolist()) for k in (0, len(order) // 60, len(order) // 30)]
    names = {each.color: f"region {k}" for k, each in enumerate(mesh.regions)}
    return {
        "a count": replace(options, pins=(Pin(*border.between, border.segments + 2),)),
        "a pole wish": replace(options, poles=(PolePin(mesh.regions[region].name, "none"),)),
        "a held place": replace(options, points=(FixedPoint(places[0]),)),
        "names": replace(options, region_names=names),
        "a flow line": replace(options, lines=(FlowLine(tuple(places)),)),
        "a size dab": replace(options, size_dabs=(SizeDab(places[0], 0.05 * reach, 0.008 * reach),)),
        "the budget": replace(options, budget=options.budget + 500),
        "no mirror": replace(options, mirror="none"),
    }


def show(path: Path, options: BuildOptions, repeats: int) -> None:
    """Measure the first plan and mesh of a file, then each change, and print a table."""
    held: list[OpenSculpt] = []
    opening = measure(lambda: held.append(open_sculpt(path)))
    sculpt = held[0]
    planning = measure(lambda: sculpt.plan(options))
    meshing = measure(lambda: sculpt.build(options))
    plan = Cost(opening.clock + planning.clock, opening.processor + planning.processor)
    whole = Cost(plan.clock + meshing.clock, plan.processor + meshing.processor)
    print("| from the file | clock, s | processor, s |\n|---|---|---|")
    for name, cost in (("first plan", plan), ("first mesh", whole)):
        print(f"| {name} | {cost.clock:.2f} | {cost.processor:.2f} |")
    print("\n| change | plan: clock, s | processor, s | of the first: clock | processor ", end="")
    print("| mesh: clock, s | processor, s | of the first: clock | processor |\n|---|---|---|---|---|---|---|---|---|")
    for name, changed in make_changes(options, sculpt.build(options)).items():
        plans, meshes = zip(*(_measure_change(sculpt, options, changed) for _ in range(repeats)), strict=True)
        parts = []
        for costs, first in ((plans, plan), (meshes, whole)):
            best = Cost(min(c.clock for c in costs), min(c.processor for c in costs))
            parts.append(f"{best.clock:.2f} | {best.processor:.2f} | {best.over(first)}")
        print(f"| {name} | {' | '.join(parts)} |", flush=True)


def _measure_change(sculpt: OpenSculpt, options: BuildOptions, changed: BuildOptions) -> tuple[Cost, Cost]:
    """Return what a change costs that is not kept from an earlier round: its plan, and its mesh without a plan before.

    The mesh's cost is that of the plan and of all after it.
    """
    sculpt.forget()
    sculpt.build(options)
    planned = measure(lambda: sculpt.plan(changed))
    made = measure(lambda: sculpt.build(changed))
    return planned, Cost(planned.clock + made.clock, planned.processor + made.processor)


def main() -> None:
    """Read the arguments and measure."""
    parser = argparse.ArgumentParser(description="What a change of wishes costs on an open sculpt.")
    parser.add_argument("--sculpt", type=Path, help="a painted sculpt; without it the demo creature is made")
    parser.add_argument("--triangles", type=int, default=900_000, help="of the demo creature")
    parser.add_argument("--budget", type=parse_budget, default=5000)
    parser.add_argument("--leave-open", action="append", default=[], metavar="COLOR")
    parser.add_argument("--repeats", type=int, default=2, help="of each change; the least is told")
    chosen = parser.parse_args()
    colors = tuple(parse_color(text) for text in chosen.leave_open)
    options = BuildOptions(budget=chosen.budget, leave_open=colors)
    if chosen.sculpt is not None:
        show(chosen.sculpt, options, chosen.repeats)
        return
    from loopwright.demo.make_creature import make_creature
    from loopwright.demo.paint_creature import DEMO_OPEN_COLOR
    from loopwright.demo.write_sculpt_ply import write_sculpt_ply

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "creature.ply"
        write_sculpt_ply(path, make_creature(triangle_count=chosen.triangles))
        show(path, replace(options, leave_open=(*colors, DEMO_OPEN_COLOR)), chosen.repeats)


if __name__ == "__main__":
    main()
