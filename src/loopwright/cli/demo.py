"""``loopwright demo``: make the demo sculpt, build it, report, and say where to look."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.check_paths import check_folder
from loopwright.cli.console import Console
from loopwright.options import BuildOptions, parse_budget

if TYPE_CHECKING:
    from loopwright.types import Sculpt

NAME = "demo"
HELP = "make a demo sculpt, build its mesh and write a report to look at"
FOLDER = Path("loopwright-demo")
BUDGETS = {"creature": 5000, "body": 8000}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "--folder", type=Path, default=FOLDER, metavar="DIR", help="where to write (default %(default)s)"
    )
    parser.add_argument(
        "--which", choices=tuple(BUDGETS), default="creature", help="the sculpt to make (default %(default)s)"
    )
    budgets = ", ".join(f"{name} {faces:,}" for name, faces in BUDGETS.items())
    parser.add_argument("--budget", type=parse_budget, metavar="N", help=f"faces of the mesh (default: {budgets})")


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Make, build, report; return the exit code."""
    folder: Path = arguments.folder
    check_folder(folder)
    budget = BUDGETS[arguments.which] if arguments.budget is None else arguments.budget
    BuildOptions(budget=budget)
    from loopwright.demo.write_sculpt_ply import write_sculpt_ply
    from loopwright.handover.write_mesh import write_mesh
    from loopwright.pipeline import build
    from loopwright.report.summarize import summarize_build
    from loopwright.report.write_report import write_report

    sculpt, options = _make(arguments.which, budget, console)
    sculpt_file, mesh_file = folder / f"{sculpt.name}.ply", folder / f"{sculpt.name}.obj"
    write_sculpt_ply(sculpt_file, sculpt)
    marks_file = _write_marks(folder, sculpt, budget) if arguments.which == "creature" else None
    result = build(sculpt_file, options=options, progress=console.progress)
    write_mesh(mesh_file, result.mesh)
    page = write_report(folder / "report", result, progress=console.progress)
    summary = summarize_build(result)
    for line in summary.lines():
        console.say(line)
    console.say()
    console.say("Look here:")
    console.say(f"  report  {page.resolve()}   (open it in a browser)")
    console.say(f"  mesh    {mesh_file.resolve()}")
    console.say(f"  sculpt  {sculpt_file.resolve()}")
    files = {"sculpt_file": str(sculpt_file), "mesh_file": str(mesh_file), "report_file": str(page)}
    if marks_file is not None:
        console.say(f"  marks   {marks_file.resolve()}   (wishes to try: loopwright build SCULPT --marks MARKS -o OUT)")
        files["marks_file"] = str(marks_file)
    console.give({**summary.as_json(), **files})
    return 0


def _write_marks(folder: Path, sculpt: Sculpt, budget: int) -> Path:
    """Write an example of a marks file for this budget, which the demo's own mesh is made without."""
    from loopwright.demo import creature_marks
    from loopwright.marks.write_marks import write_marks

    return write_marks(folder / f"{sculpt.name}_marks.json", creature_marks(sculpt, budget=budget))


def _make(which: str, budget: int, console: Console) -> tuple[Sculpt, BuildOptions]:
    """Return the chosen sculpt and the wishes that fit it."""
    from loopwright import demo

    if which == "body":
        sculpt, regions = demo.make_body(progress=console.progress), demo.body_regions()
    else:
        sculpt, regions = demo.make_creature(progress=console.progress), demo.demo_regions()
    names = {region.color: region.name for region in regions}
    return sculpt, BuildOptions(budget=budget, leave_open=(regions[0].color,), region_names=names)
