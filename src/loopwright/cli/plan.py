"""``loopwright plan``: show the layout, the counts and the planned poles, and stop before filling."""

from __future__ import annotations

import argparse
from pathlib import Path

from loopwright.cli.check_paths import check_folder, check_outputs, check_sculpt_file
from loopwright.cli.console import Console
from loopwright.cli.name_file import name_marks
from loopwright.cli.read_wishes import add_wish_arguments, read_wishes
from loopwright.report.report_files import report_files

NAME = "plan"
HELP = "show the layout, the segment counts and the planned poles, without making the mesh"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("sculpt", type=Path, metavar="SCULPT", help="PLY, OBJ, STL, glTF, GLB or USD file")
    parser.add_argument("--report", type=Path, metavar="DIR", help="write a report with pictures into this folder")
    add_wish_arguments(parser)


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Plan, report; return the exit code."""
    options = read_wishes(arguments)
    check_sculpt_file(arguments.sculpt)
    if arguments.report is not None:
        check_folder(arguments.report)
        inputs = {"the sculpt": arguments.sculpt, "the marks file": arguments.marks}
        check_outputs(report_files(arguments.report), inputs)
    from loopwright.pipeline import plan
    from loopwright.report.summarize import summarize_plan

    with name_marks(arguments.marks, options):
        result = plan(arguments.sculpt, options=options, progress=console.progress)
    summary = summarize_plan(result)
    for line in summary.lines():
        console.say(line)
    outcome = summary.as_json()
    if arguments.report is not None:
        from loopwright.report.write_report import write_report

        page = write_report(arguments.report, result, progress=console.progress)
        console.say(f"report  {page}")
        outcome["report_file"] = str(page)
    console.give(outcome)
    return 0
