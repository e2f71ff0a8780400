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
from collections.abc import Callable, Sequence
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


Change = tuple[BuildOptions, BuildOptions]
"""The wishes before and after."""


def measure(work: Callable[[], object]) -> Cost:
    """Return what some work costs."""
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return Cost(time.perf_counter() - clock, time.process_time() - processor)


def make_changes(options: BuildOptions, first: BuildResult) -> dict[str, Change]:
    """Return one change of each kind, found on the first mesh: its borders, its regions and places on it."""
    mesh = first.half or first.mesh
    border = max(first.layout.borders, key=lambda each: each.segments * each.times)
    reach = float(np.ptp(mesh.positions, axis=0).max())
    region = int(np.bincount(mesh.quad_region).argmax())
    middles = mesh.positions[mesh.quads[mesh.quad_region == region]].mean(axis=1)
    order = np.argsort(np.linalg.norm(middles - middles[len(middles) // 3], axis=1), kind="stable")
    parts = (0, 1 / 60, 1 / 30, 1 / 12, 1 / 8)  # of the way out
    places = [tuple(middles[order[int(len(order) * part)]].tolist()) for part in parts]
    lines = (FlowLine(tuple(places[:3]), name="first"), FlowLine(tuple(places[3:]), name="second"))
    names = {each.color: f"region {k}" for k, each in enumerate(mesh.regions)}
    changes = {
        "a count": replace(options, pins=(Pin(*border.between, border.segments + 2),)),
        "a pole wish": replace(options, poles=(PolePin(mesh.regions[region].name, "none"),)),
        "a held place": replace(options, points=(FixedPoint(places[0]),)),
        "names": replace(options, region_names=names),
        "a flow line": replace(options, lines=lines[:1]),
        "a size dab": replace(options, size_dabs=(SizeDab(places[0], 0.05 * reach, 0.008 * reach),)),
        "the budget": replace(options, budget=options.budget + 500),
        "no mirror": replace(options, mirror="none"),
    }
    second = {"a second flow line": (changes["a flow line"], replace(options, lines=lines))}
    return {name: (options, changed) for name, changed in changes.items()} | second


def show(path: Path, options: BuildOptions, repeats: int, only: list[str]) -> None:
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
    print("| mesh, after the plan: clock, s | processor, s | plan and mesh, of the first: clock | processor |")
    print("|---" * 9 + "|")
    for name, change in make_changes(options, sculpt.build(options)).items():
        if only and name not in only:
            continue
        plans, meshes = zip(*(_measure_change(sculpt, *change) for _ in range(repeats)), strict=True)
        planned, made = _least(plans), _least(meshes)
        both = Cost(planned.clock + made.clock, planned.processor + made.processor)
        parts = [f"{cost.clock:.2f} | {cost.processor:.2f}" for cost in (planned, made)]
        print(f"| {name} | {parts[0]} | {planned.over(plan)} | {parts[1]} | {both.over(whole)} |", flush=True)


def _least(costs: Sequence[Cost]) -> Cost:
    return Cost(min(cost.clock for cost in costs), min(cost.processor for cost in costs))


def _measure_change(sculpt: OpenSculpt, before: BuildOptions, after: BuildOptions) -> tuple[Cost, Cost]:
    """Return what a change costs that is not kept from an earlier round: its plan, and then its mesh."""
    sculpt.forget()
    sculpt.build(before)
    planned = measure(lambda: sculpt.plan(after))
    return planned, measure(lambda: sculpt.build(after))


def main() -> None:
    """Read the arguments and measure."""
    parser = argparse.ArgumentParser(description="What a change of wishes costs on an open sculpt.")
    parser.add_argument("--sculpt", type=Path, help="a painted sculpt; without it the demo creature is made")
    parser.add_argument("--triangles", type=int, default=900_000, help="of the demo creature")
    parser.add_argument("--budget", type=parse_budget, default=5000)
    parser.add_argument("--leave-open", action="append", default=[], metavar="COLOR")
    parser.add_argument("--repeats", type=int, default=2, help="of each change; the least is told")
    parser.add_argument("--only", action="append", default=[], metavar="CHANGE", help="such as 'a flow line'")
    chosen = parser.parse_args()
    colors = tuple(parse_color(text) for text in chosen.leave_open)
    options = BuildOptions(budget=chosen.budget, leave_open=colors)
    if chosen.sculpt is not None:
        show(chosen.sculpt, options, chosen.repeats, chosen.only)
        return
    from loopwright.demo.make_creature import make_creature
    from loopwright.demo.paint_creature import DEMO_OPEN_COLOR
    from loopwright.demo.write_sculpt_ply import write_sculpt_ply

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "creature.ply"
        write_sculpt_ply(path, make_creature(triangle_count=chosen.triangles))
        show(path, replace(options, leave_open=(*colors, DEMO_OPEN_COLOR)), chosen.repeats, chosen.only)


if __name__ == "__main__":
    main()
