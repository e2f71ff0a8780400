"""``loopwright watch``: keep a sculpt open and make its mesh again whenever the marks file changes."""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.build import check_files, hand_over
from loopwright.cli.console import Console
from loopwright.cli.name_file import name_marks
from loopwright.cli.read_wishes import add_wish_arguments, read_wishes
from loopwright.cli.watch_file import FileWatch
from loopwright.errors import Cancelled, LoopwrightError, UsageError

if TYPE_CHECKING:
    from loopwright.session import OpenSculpt

NAME = "watch"
HELP = "keep a sculpt open, and make its mesh again whenever its marks file changes"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("sculpt", type=Path, metavar="SCULPT", help="PLY, OBJ, STL, glTF, GLB or USD file")
    parser.add_argument(
        "-o", "--output", type=Path, required=True, metavar="OUT", help="mesh to write each time: .obj, .ply or .glb"
    )
    parser.add_argument("--report", type=Path, metavar="DIR", help="write a report into this folder each time")
    parser.add_argument(
        "--builds", type=_read_number, metavar="N", help="stop after N meshes (without it: when Ctrl-C is pressed)"
    )
    add_wish_arguments(parser, needs_marks=True)


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Open the sculpt, then build after each change until enough meshes are made; return the exit code."""
    check_files(arguments)
    from loopwright.session import open_sculpt

    sculpt = open_sculpt(arguments.sculpt, progress=console.progress)
    watch = FileWatch(arguments.marks)
    made = 0
    while arguments.builds is None or made < arguments.builds:
        watch.wait()
        made += _build(sculpt, arguments, console)
        if made != arguments.builds:
            console.say(f"watch   waiting for a change of {arguments.marks}")
        console.flush()
    return 0


def _build(sculpt: OpenSculpt, arguments: argparse.Namespace, console: Console) -> bool:
    """Make and write the mesh that the marks now ask for; where that fails say why, and whether it was made."""
    start = time.perf_counter()
    try:
        options = read_wishes(arguments)
        with name_marks(arguments.marks, options):
            result = sculpt.build(options, progress=console.progress)
        hand_over(result, arguments, console)
    except Cancelled:
        raise
    except LoopwrightError as error:
        console.fail(str(error), error.exit_code, places=error.places)
        console.say(f"watch   {arguments.output} stays as it was")
        return False
    seconds = time.perf_counter() - start
    console.say(f"watch   done in {seconds:.1f} s")
    return True


def _read_number(text: str) -> int:
    if not text.strip().isdecimal() or int(text) < 1:
        raise UsageError(
            f'--builds: "{text}" is not a number of meshes; write it in plain digits, at least 1', places=[text]
        )
    return int(text)
