"""``loopwright check``: print what is wrong with a sculpt and what a build would repair."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.check_paths import check_sculpt_file
from loopwright.cli.console import Console
from loopwright.options import format_color
from loopwright.surface.repair_work import plural
from loopwright.types import Finding

if TYPE_CHECKING:
    from loopwright.marks.list_colors import ColorShare

NAME = "check"
HELP = "print the colours of a sculpt, what is wrong with it and what a build would repair"
_ORDINARY = ("hole", "no_paint")  # an open rim is how most busts end, and a sculpt need not be painted: no faults


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("sculpt", type=Path, metavar="SCULPT", help="PLY, OBJ, STL, glTF, GLB or USD file")
    parser.add_argument(
        "--strict", action="store_true", help="leave with exit code 1 if anything but open rims was found"
    )


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Check the sculpt; return the exit code."""
    check_sculpt_file(arguments.sculpt)
    from loopwright.marks.list_colors import list_colors
    from loopwright.marks.tell_unpainted import tell_one_color
    from loopwright.surface.check import check_sculpt
    from loopwright.surface.read import read_sculpt
    from loopwright.surface.repair import repair_sculpt

    sculpt = read_sculpt(arguments.sculpt, progress=console.progress)
    found = check_sculpt(sculpt, progress=console.progress)
    repaired, repairs = repair_sculpt(sculpt, progress=console.progress)
    left = check_sculpt(repaired, progress=console.progress)
    colors = list_colors(repaired)
    size = f"{plural(len(sculpt.triangles), 'triangle')}, {plural(len(sculpt.positions), 'vertex', 'vertices')}"
    console.say(f"{sculpt.name}: {size}, {'with' if sculpt.colors is not None else 'without'} vertex colours")
    _say_colors(console, colors)
    unpainted = tell_one_color([shown.color for shown in colors])
    _say_findings(console, "found, and what a build does", [*repairs, *unpainted], "found: nothing is wrong")
    told = {finding.text.split(";")[0].rstrip(".") for finding in repairs}
    fresh = [finding for finding in left if finding.text.rstrip(".") not in told]
    if fresh:
        _say_findings(console, "what stays after that", fresh, "")
    console.give(
        {
            "sculpt": sculpt.name,
            "triangles": len(sculpt.triangles),
            "vertices": len(sculpt.positions),
            "has_colors": sculpt.colors is not None,
            "colors": [
                {"color": format_color(shown.color), "share": shown.share, "pieces": shown.pieces} for shown in colors
            ],
            "found": [_as_json(finding) for finding in (*found, *unpainted)],
            "repairs": [_as_json(finding) for finding in repairs],
            "left": [_as_json(finding) for finding in left],
        }
    )
    return 1 if arguments.strict and any(finding.kind not in _ORDINARY for finding in found) else 0


def _say_colors(console: Console, colors: Sequence[ColorShare]) -> None:
    if not colors:
        return
    console.say("colours:")
    for shown in colors:
        share = f"{100 * shown.share:.2g} %" if shown.share < 0.1 else f"{100 * shown.share:.0f} %"
        console.say(f"  {format_color(shown.color):<24} {share:>7} of the area in {plural(shown.pieces, 'piece')}")


def _say_findings(console: Console, title: str, findings: Sequence[Finding], none: str) -> None:
    if not findings:
        console.say(none)
        return
    console.say(f"{title}:")
    for finding in findings:
        console.say(f"  {finding.kind:<24} {finding.text}")


def _as_json(finding: Finding) -> dict[str, object]:
    return {"kind": finding.kind, "text": finding.text, "count": finding.count}
