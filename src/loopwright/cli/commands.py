"""The commands of the command line."""

from __future__ import annotations

import argparse

from loopwright import __version__
from loopwright.cli import build, carry, check, demo, edit, levels, lighten, plan, refit, rehearse, watch

COMMANDS = (build, plan, watch, edit, levels, lighten, refit, carry, rehearse, check, demo)
"""Modules with ``NAME``, ``HELP``, ``add_arguments(parser)`` and ``run(arguments, console) -> exit code``."""

_EPILOG = """exit codes: 0 done, 1 findings with check --strict, or flaws with build --strict, 2 wrong usage,
3 the file cannot be used, 4 marks that do not fit the sculpt, 5 wishes that clash, 6 a solver did not reach its goal,
7 internal fault, 130 stopped."""


def make_parser() -> argparse.ArgumentParser:
    """Return the parser of all commands."""
    parser = argparse.ArgumentParser(
        prog="loopwright",
        description="A painted sculpt in, an all-quad mesh with planned loops out.",
        epilog=_EPILOG,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"loopwright {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for command in COMMANDS:
        sub = commands.add_parser(command.NAME, help=command.HELP, description=command.HELP, allow_abbrev=False)
        command.add_arguments(sub)
        sub.add_argument("--quiet", action="store_true", help="say nothing but errors")
        sub.add_argument("--json", action="store_true", help="print the outcome as JSON on standard output")
        sub.set_defaults(run=command.run)
    return parser
