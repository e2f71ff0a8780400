"""Time and peak memory of every stage, beside a yardstick from a general library in the same run.

    python -m benchmarks.stages --triangles 100000 1000000

The sculpt is the demo creature, made with as many triangles and written to a
file.  The yardstick reads the same file and finds the closest point on its
surface for every vertex, with lagrange alone; how many times as long a build
takes compares machines better than seconds do.  Every run has a process of its own.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import platform
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

SIZES = (100_000, 1_000_000)
Answer = TypeVar("Answer")


@dataclass(frozen=True)
class Cost:
    """Seconds on the clock, seconds of processor time over all threads, and peak memory in MB."""

    clock: float
    processor: float
    memory: float


@dataclass(frozen=True)
class Run:
    """What one size took: by stage, in all, and the yardstick."""

    triangles: int
    faces: int
    stages: dict[str, Cost]
    total: Cost
    yardstick: Cost


@dataclass
class Watch:
    """Peak memory and processor time by stage; where the system cannot reset the peak, it is that since the start."""

    peaks: dict[str, float] = field(default_factory=dict)
    processor: dict[str, float] = field(default_factory=dict)
    overall: float = 0.0
    stage: str = ""
    since: float = field(default_factory=time.process_time)

    def note(self, stage: str, done: float) -> None:
        """Take note of a stage's progress."""
        peak, now = peak_memory(), time.process_time()
        self.overall = max(self.overall, peak)
        if self.stage:
            self.processor[self.stage] = self.processor.get(self.stage, 0.0) + now - self.since
        self.since = now
        if self.stage:  # what comes between two stages counts for the first
            self.peaks[self.stage] = max(self.peaks.get(self.stage, 0.0), peak)
        if stage != self.stage:
            self.stage = stage
            reset_peak()


def peak_memory() -> float:
    """Return the peak resident memory of this process in MB."""
    try:
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return float(line.split()[1]) / 1024
    except OSError:
        pass
    if sys.platform == "win32":
        return float("nan")
    import resource

    unit = 2**20 if sys.platform == "darwin" else 2**10
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit


def reset_peak() -> None:
    """Let the peak start anew (Linux: proc(5), clear_refs)."""
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        pass


def run_yardstick(path: str) -> Cost:
    """Read the file and find the closest point for every vertex."""
    import lagrange
    import numpy as np

    caster: Any = lagrange.raycasting.RayCaster()
    start, used = time.perf_counter(), time.process_time()
    mesh = lagrange.io.load_mesh(path)
    caster.add_mesh(mesh)
    caster.commit_updates()
    hits = caster.closest_point(np.asarray(mesh.vertices, np.float32))
    cost = Cost(time.perf_counter() - start, time.process_time() - used, peak_memory())
    if len(hits.facet_index) != mesh.num_vertices:
        raise RuntimeError("the yardstick did not find every point")
    return cost


def run_build(path: str, budget: int) -> tuple[int, dict[str, Cost], Cost]:
    """Build from the file; return the number of faces, what each stage took, and what all took."""
    from loopwright.demo.paint_creature import DEMO_OPEN_COLOR
    from loopwright.options import BuildOptions
    from loopwright.pipeline import build

    watch = Watch()
    start, used = time.perf_counter(), time.process_time()
    result = build(path, options=BuildOptions(budget=budget, leave_open=(DEMO_OPEN_COLOR,)), progress=watch.note)
    clock, processor = time.perf_counter() - start, time.process_time() - used
    stages = {
        name: Cost(seconds, watch.processor.get(name, 0.0), watch.peaks.get(name, 0.0))
        for name, seconds in result.timings.items()
    }
    return len(result.mesh.quads), stages, Cost(clock, processor, max(watch.overall, peak_memory()))


def make_file(path: str, triangles: int) -> int:
    """Write the demo sculpt and return its number of triangles."""
    from loopwright.demo.make_creature import make_creature
    from loopwright.demo.write_sculpt_ply import write_sculpt_ply

    sculpt = make_creature(triangle_count=triangles)
    write_sculpt_ply(path, sculpt)
    return len(sculpt.triangles)


def apart(work: Callable[..., Answer], *words: object) -> Answer:
    """Return what ``work`` gives in a fresh process."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(work, *words).result()


def measure(triangles: int, budget: int) -> Run:
    """Make the sculpt's file, run the yardstick, build."""
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "creature.ply")
        count = apart(make_file, path, triangles)
        yardstick = apart(run_yardstick, path)
        faces, stages, total = apart(run_build, path, budget)
    return Run(count, faces, stages, total, yardstick)


def table(run: Run) -> str:
    """Return the figures of one run as a table in Markdown."""
    lines = [
        f"{run.triangles:,} triangles to {run.faces:,} quads",
        "",
        "| stage | clock, s | processor, s | peak, MB | times the yardstick's clock |",
        "|---|---|---|---|---|",
    ]
    rows = [*run.stages.items(), ("**whole build**", run.total), ("yardstick", run.yardstick)]
    for name, cost in rows:
        times = cost.clock / run.yardstick.clock
        lines.append(f"| {name} | {cost.clock:.2f} | {cost.processor:.2f} | {cost.memory:.0f} | {times:.1f} |")
    return "\n".join(lines)


def main() -> None:
    """Measure the sizes asked for and print the table."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--triangles", type=int, nargs="+", default=list(SIZES), help="sizes of the sculpt")
    words.add_argument("--budget", type=int, default=5000, help="faces of the mesh")
    asked = words.parse_args()
    load = f", load {os.getloadavg()[0]:.1f} at the start" if hasattr(os, "getloadavg") else ""
    print(f"Python {platform.python_version()}, {platform.system()}, {os.cpu_count()} processors{load}", flush=True)
    for triangles in asked.triangles:
        print("\n" + table(measure(triangles, asked.budget)), flush=True)


if __name__ == "__main__":
    main()
