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
    from loopwright.demo import DEMO_OPEN_COLOR, demo_regions, make_creature, write_sculpt_ply
    from loopwright.handover.write_mesh import write_mesh
    from loopwright.pipeline import build
    from loopwright.report.summarize import summarize_build
    from loopwright.report.write_report import write_report

    sculpt = make_creature(progress=console.progress)
    folder.mkdir(parents=True, exist_ok=True)
    sculpt_file, mesh_file = folder / f"{sculpt.name}.ply", folder / f"{sculpt.name}.obj"
    write_sculpt_ply(sculpt_file, sculpt)
    names = {region.color: region.name for region in demo_regions()}
    options = BuildOptions(budget=arguments.budget, leave_open=(DEMO_OPEN_COLOR,), region_names=names)
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
    console.give({**summary.as_json(), **files})
    return 0
