"""The options that build, plan and demo share, and how they become BuildOptions."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import get_args

from loopwright.check_wishes import check_pins, check_sizes_agree
from loopwright.cli.name_file import name_file, name_marks
from loopwright.errors import MarksError
from loopwright.marks.read_marks import read_marks
from loopwright.marks.use_marks import merge_pins, merge_sizes, use_marks
from loopwright.options import (
    LARGEST_BUDGET,
    RGB,
    SMALLEST_BUDGET,
    BuildOptions,
    Mirror,
    call_region,
    format_color,
    parse_budget,
    parse_color,
    parse_pin,
    parse_region_name,
    parse_size,
)

_DEFAULTS = BuildOptions()


def add_wish_arguments(parser: argparse.ArgumentParser, *, needs_marks: bool = False) -> None:
    """Add the wishes for a mesh to a command's parser; with ``needs_marks`` there has to be a marks file."""
    wishes = parser.add_argument_group("wishes")
    wishes.add_argument(
        "--marks",
        type=Path,
        required=needs_marks,
        metavar="FILE",
        help="read names, sizes, pins, flow lines and more from a marks file; the options here win over it",
    )
    wishes.add_argument(
        "--budget",
        type=parse_budget,
        metavar="N",
        help=f"faces of the whole mesh, {SMALLEST_BUDGET} to {LARGEST_BUDGET:,} (default {_DEFAULTS.budget})",
    )
    add_open_argument(wishes, "leave areas of this colour without faces")
    wishes.add_argument(
        "--size",
        action="append",
        default=[],
        metavar="REGION=LENGTH",
        help="edge length in a region, in the sculpt's unit; may be repeated",
    )
    wishes.add_argument(
        "--pin",
        action="append",
        default=[],
        metavar="A/B=N",
        help="N segments on the border between the regions A and B, or, with B opening, wherever A ends at an "
        "opening; may be repeated",
    )
    wishes.add_argument(
        "--name", action="append", default=[], metavar="COLOR=NAME", help="name the region of a colour; may be repeated"
    )
    wishes.add_argument(
        "--mirror",
        choices=get_args(Mirror),
        help=f"find the mirror plane, use none, or the one across an axis (default {_DEFAULTS.mirror})",
    )
    shape = wishes.add_mutually_exclusive_group()
    shape.add_argument(
        "--mirror-shape",
        dest="mirror_shape",
        action="store_true",
        default=None,
        help="make both halves equal (the default where the sculpt's are, to within 0.3 of a mesh edge)",
    )
    shape.add_argument(
        "--own-sides",
        dest="mirror_shape",
        action="store_false",
        help="mirror the topology only: each side keeps its own shape and paint",
    )
    wishes.add_argument("--no-fit", action="store_true", help="put the vertices, not the smooth limit, on the sculpt")


def add_open_argument(parser: argparse._ActionsContainer, what: str) -> None:
    """Add ``--leave-open``; its help begins with what it does in this command."""
    parser.add_argument(
        "--leave-open",
        action="append",
        default=[],
        metavar="COLOR",
        help=f'{what}, such as "#141414" or "20,20,20"; may be repeated',
    )


def read_open_colors(arguments: argparse.Namespace) -> tuple[RGB, ...]:
    """Return the colours that are left open, each once.

    Raises
    ------
    MarksError
        If one cannot be read.
    """
    return tuple(dict.fromkeys(parse_color(text) for text in arguments.leave_open))


def read_wishes(arguments: argparse.Namespace) -> BuildOptions:
    """Return the options that the parsed arguments ask for.

    Raises
    ------
    MarksError
        If a colour, size, pin, name or number cannot be read or is out of range.
    """
    options = BuildOptions()
    if arguments.marks is not None:
        with name_file(arguments.marks):
            options = use_marks(options, read_marks(arguments.marks))
    names = {**options.region_names, **_read_names(arguments.name)}
    pins = tuple(parse_pin(text) for text in arguments.pin)
    check_pins(pins, call=lambda region: call_region(region, names))
    sizes = tuple(parse_size(text) for text in arguments.size)
    check_sizes_agree(sizes, lambda region: call_region(region, names))
    with name_marks(arguments.marks, options):
        return replace(
            options,
            budget=options.budget if arguments.budget is None else arguments.budget,
            leave_open=read_open_colors(arguments) or options.leave_open,
            sizes=merge_sizes(options.sizes, dict(sizes), names),
            pins=merge_pins(options.pins, pins, names),
            mirror=arguments.mirror or options.mirror,
            mirror_shape=options.mirror_shape if arguments.mirror_shape is None else arguments.mirror_shape,
            fit_limit=not arguments.no_fit,
            region_names=names,
        )


def _read_names(texts: Iterable[str]) -> dict[RGB, str]:
    """Return the names by colour; two different ones for one colour are refused."""
    found: dict[RGB, str] = {}
    for color, name in map(parse_region_name, texts):
        if found.setdefault(color, name) != name:
            code = format_color(color)
            text = f"the name of {code} is given as {found[color]} and as {name}; keep one of the two"
            raise MarksError(text, places=[code])
    return found
