"""Build random painted sculpts by the hundreds, each under watch, and tell how they ended.

    python -m benchmarks.campaign --first 0 --count 500 --workers 2 --out campaign.tsv

Every case is built in a child process that is replaced if it hangs or dies.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import threading
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from queue import Empty, Queue
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from benchmarks.random_surfaces import Case

KINDS = ("valid", "explained", "astray", "invalid", "internal", "traceback", "hang", "died")


@dataclass(frozen=True)
class Ending:
    """How one case ended: its kind, seconds, and a line of detail."""

    seed: int
    kind: str
    seconds: float
    detail: str
    story: str

    def line(self) -> str:
        """Return the tab-separated line of the table."""
        return "\t".join([str(self.seed), self.kind, f"{self.seconds:.1f}", self.detail, self.story])


def run_case(seed: int, *, is_quick: bool = False) -> Ending:
    """Build the case of a seed in this process and classify its ending."""
    from benchmarks.random_surfaces import make_case

    return classify(make_case(seed, is_quick=is_quick))


def classify(case: Case) -> Ending:
    """Build a case in this process and classify its ending."""
    from benchmarks.check_result import check_result
    from loopwright.pipeline import build

    def judge() -> tuple[str, str]:
        faults = check_result(build(case.sculpt, options=case.options))
        return ("invalid", "; ".join(faults)) if faults else ("valid", "")

    return end_of(case.seed, case.story, judge)


def end_of(seed: int, story: str, judge: Callable[[], tuple[str, str]]) -> Ending:
    """Return how a case ends whose kind and detail ``judge`` tells, unless it raises."""
    from loopwright.errors import InternalError, LoopwrightError

    start = time.perf_counter()
    try:
        kind, detail = judge()
    except InternalError as error:
        kind, detail = "internal", f"{error} @ {_place(error)}"
    except LoopwrightError as error:
        kind, detail = "explained", f"{type(error).__name__}: {error}"
    except Exception as error:  # the very thing that is looked for
        kind, detail = "traceback", f"{type(error).__name__}: {error} @ {_place(error)}"
    return Ending(seed, kind, time.perf_counter() - start, " ".join(detail.split()), story)


def _place(error: BaseException) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    return " < ".join(f"{Path(f.filename).stem}:{f.lineno}" for f in frames[::-1][:3])


Runner: TypeAlias = Callable[[int], Ending]


def _serve(link: Connection, run: Runner) -> None:
    while True:
        seed = link.recv()
        if seed is None:
            return
        link.send(run(seed))


class Worker:
    """A child process that builds cases one by one and is replaced when it hangs or dies."""

    def __init__(self, timeout: float, run: Runner = run_case) -> None:
        self.timeout, self.runs = timeout, run
        self._start()

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self.link, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(theirs, self.runs), daemon=True)
        self.process.start()
        theirs.close()

    def run(self, seed: int) -> Ending:
        """Return how a case ended; a hang or a death of the child is an ending too."""
        start = time.perf_counter()
        self.link.send(seed)
        try:
            if self.link.poll(self.timeout):
                ending: Ending = self.link.recv()
                return ending
            kind = "hang"
        except (EOFError, OSError):
            kind = "died"
        self.stop(at_once=True)
        code = self.process.exitcode
        self._start()
        return Ending(seed, kind, time.perf_counter() - start, f"exit code {code}", "")

    def stop(self, *, at_once: bool = False) -> None:
        """End the child."""
        if at_once:
            self.process.kill()
        else:
            self.link.send(None)
        self.process.join()
        self.link.close()


def run_campaign(
    seeds: list[int],
    *,
    workers: int = 1,
    timeout: float = 120.0,
    out: Path | None = None,
    run: Runner = run_case,
) -> list[Ending]:
    """Run all seeds and return their endings in the order of the seeds.

    Parameters
    ----------
    out : gets a line as each case ends.
    run : runs the case of a seed; it has to be one that can be pickled.
    """
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    waiting: Queue[int] = Queue()
    for seed in seeds:
        waiting.put(seed)
    endings: dict[int, Ending] = {}
    lock = threading.Lock()

    def work() -> None:
        worker = Worker(timeout, run)
        while True:
            try:
                seed = waiting.get_nowait()
            except Empty:
                break
            ending = worker.run(seed)
            with lock:
                endings[seed] = ending
                if out:
                    with out.open("a", encoding="utf-8") as file:
                        file.write(ending.line() + "\n")
        worker.stop()

    threads = [threading.Thread(target=work) for _ in range(workers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return [endings[s] for s in seeds]


def tell(endings: list[Ending]) -> str:
    """Return the table of kinds and a line for every case that is not valid."""
    many = Counter(e.kind for e in endings)
    total = len(endings)
    lines = [f"{kind:10} {many[kind]:5} {100 * many[kind] / total:6.1f} %" for kind in KINDS]
    seconds = sorted(e.seconds for e in endings)
    lines.append(f"{total} cases; seconds: median {seconds[total // 2]:.1f}, most {seconds[-1]:.1f}")
    lines += [e.line() for e in endings if e.kind != "valid"]
    return "\n".join(lines)


def main() -> int:
    """Run from the command line; the exit code is 1 where a case crashed, hung or gave an invalid mesh."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--count", type=int, default=40, help="number of seeds")
    parser.add_argument("--seeds", type=int, nargs="*", help="these seeds instead")
    parser.add_argument("--workers", type=int, default=1, help="child processes at a time")
    parser.add_argument("--timeout", type=float, default=120.0, help="seconds after which a case counts as hung")
    parser.add_argument("--out", type=Path, help="file that gets a line per case as it ends")
    asked = parser.parse_args()
    seeds = asked.seeds or list(range(asked.first, asked.first + asked.count))
    endings = run_campaign(seeds, workers=asked.workers, timeout=asked.timeout, out=asked.out)
    print(tell(endings))
    return int(any(e.kind not in ("valid", "explained") for e in endings))


if __name__ == "__main__":
    sys.exit(main())
