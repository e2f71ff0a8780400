"""``loopwright demo``: make the demo sculpt, build it, report, and say where to look."""

from __future__ import annotations

import argparse
from pathlib import Path

from loopwright.cli.check_paths import check_folder
from loopwright.cli.console import Console
from loopwright.options import BuildOptions

NAME = "demo"
HELP = "make a demo sculpt, build its mesh and write a report to look at"
FOLDER = Path("loopwright-demo")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "--folder", type=Path, default=FOLDER, metavar="DIR", help="where to write (default %(default)s)"
    )
    parser.add_argument("--budget", type=int, default=5000, metavar="N", help="faces of the mesh (default %(default)s)")


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Make, build, report; return the exit code."""
    folder: Path = arguments.folder
    check_folder(folder)
    BuildOptions(budget=arguments.budget)
    from loopwright.demo.make_creature import OPEN_COLORS, REGION_NAMES, make_creature
    from loopwright.demo.write_sculpt_ply import write_sculpt_ply
    from loopwright.handover.write_mesh import write_mesh
    from loopwright.pipeline import build
    from loopwright.report.summarize import summarize_build
    from loopwright.report.write_report import write_report

    folder.mkdir(parents=True, exist_ok=True)
    sculpt_file, mesh_file = folder / "creature.ply", folder / "creature.obj"
    console.progress("make the demo sculpt", 0.0)
    write_sculpt_ply(sculpt_file, make_creature())
    options = BuildOptions(budget=arguments.budget, leave_open=OPEN_COLORS, region_names=REGION_NAMES)
    result = build(sculpt_file, options=options, progress=console.progress)
    write_mesh(mesh_file, result.mesh)
    page = write_report(folder / "report", result, progress=console.progress)
    summary = summarize_build(result)
    for line in summary.lines():
        console.say(line)
    console.say()
    console.say(f"sculpt  {sculpt_file}")
    console.say(f"mesh    {mesh_file}")
    console.say(f"report  {page}   <- open this in a browser")
    files = {"sculpt_file": str(sculpt_file), "mesh_file": str(mesh_file), "report_file": str(page)}
    console.give({**summary.as_json(), **files})
    return 0
