"""``loopwright check``: print what is wrong with a sculpt and what a build would repair."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from loopwright.cli.check_paths import check_sculpt_file
from loopwright.cli.console import Console
from loopwright.types import Finding

NAME = "check"
HELP = "print what is wrong with a sculpt and what a build would repair"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("sculpt", type=Path, metavar="SCULPT", help="PLY, OBJ, STL, glTF, GLB or USD file")
    parser.add_argument("--strict", action="store_true", help="leave with exit code 1 if anything was found")


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Check the sculpt; return the exit code."""
    check_sculpt_file(arguments.sculpt)
    from loopwright.surface.check import check_sculpt
    from loopwright.surface.read import read_sculpt
    from loopwright.surface.repair import repair_sculpt

    sculpt = read_sculpt(arguments.sculpt, progress=console.progress)
    found = check_sculpt(sculpt, progress=console.progress)
    repaired, repairs = repair_sculpt(sculpt, progress=console.progress)
    left = check_sculpt(repaired, progress=console.progress)
    colors = "with vertex colours" if sculpt.colors is not None else "without vertex colours"
    console.say(f"{sculpt.name}: {len(sculpt.triangles):,} triangles, {len(sculpt.positions):,} vertices, {colors}")
    _say_findings(console, "found", found, "nothing is wrong")
    if repairs:
        _say_findings(console, "a build does", repairs, "")
        _say_findings(console, "what stays", left, "nothing")
    console.give(
        {
            "sculpt": sculpt.name,
            "triangles": len(sculpt.triangles),
            "vertices": len(sculpt.positions),
            "has_colors": sculpt.colors is not None,
            "found": [_as_json(finding) for finding in found],
            "repairs": [_as_json(finding) for finding in repairs],
            "left": [_as_json(finding) for finding in left],
        }
    )
    return 1 if arguments.strict and found else 0


def _say_findings(console: Console, title: str, findings: Sequence[Finding], none: str) -> None:
    if not findings:
        console.say(f"{title}: {none}")
        return
    console.say(f"{title}:")
    for finding in findings:
        console.say(f"  {finding.kind:<24} {finding.text}")


def _as_json(finding: Finding) -> dict[str, object]:
    return {"kind": finding.kind, "text": finding.text, "count": finding.count}
