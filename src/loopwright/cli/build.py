"""``loopwright build``: a painted sculpt in, an all-quad mesh and a report out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.check_paths import check_folder, check_outputs, check_sculpt_file
from loopwright.cli.console import Console
from loopwright.cli.name_file import name_marks
from loopwright.cli.read_wishes import add_wish_arguments, read_wishes
from loopwright.handover.write_mesh import check_mesh_path, write_mesh
from loopwright.report.report_files import report_files

if TYPE_CHECKING:
    from loopwright.results import BuildResult

NAME = "build"
HELP = "make an all-quad mesh from a painted sculpt"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("sculpt", type=Path, metavar="SCULPT", help="PLY, OBJ, STL, glTF, GLB or USD file")
    parser.add_argument(
        "-o", "--output", type=Path, required=True, metavar="OUT", help="mesh to write: .obj, .ply or .glb"
    )
    parser.add_argument("--report", type=Path, metavar="DIR", help="write a report with pictures into this folder")
    parser.add_argument(
        "--strict",
        action="store_true",
        help="leave with exit code 1 if a pin, line, point or pole wish is not kept, or a quad is folded",
    )
    add_wish_arguments(parser)


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Build, write, report; return the exit code."""
    options = read_wishes(arguments)
    check_files(arguments)
    from loopwright.pipeline import build

    with name_marks(arguments.marks, options):
        result = build(arguments.sculpt, options=options, progress=console.progress)
    flaws = hand_over(result, arguments, console)
    if not arguments.strict or not flaws:
        return 0
    return console.complain(f"not as wished, though the mesh is written: {'; '.join(flaws)}", 1)


def check_files(arguments: argparse.Namespace) -> None:
    """Raise InputError unless the sculpt can be read and all outputs can be written."""
    check_sculpt_file(arguments.sculpt)
    check_mesh_path(arguments.output)
    outputs = [arguments.output]
    if arguments.report is not None:
        check_folder(arguments.report)
        outputs += report_files(arguments.report)
    check_outputs(outputs, {"the sculpt": arguments.sculpt, "the marks file": arguments.marks})


def hand_over(result: BuildResult, arguments: argparse.Namespace, console: Console) -> list[str]:
    """Write the mesh, and the report if one is wished for, and tell what came out; return its flaws."""
    from loopwright.report.summarize import summarize_build

    write_mesh(arguments.output, result.mesh)
    summary = summarize_build(result)
    for line in summary.lines():
        console.say(line)
    console.say(f"mesh    {arguments.output}")
    flaws = summary.flaws()
    outcome = {**summary.as_json(), "flaws": flaws, "mesh_file": str(arguments.output)}
    if arguments.report is not None:
        from loopwright.report.write_report import write_report

        page = write_report(arguments.report, result, progress=console.progress)
        console.say(f"report  {page}")
        outcome["report_file"] = str(page)
    console.give(outcome)
    return flaws
