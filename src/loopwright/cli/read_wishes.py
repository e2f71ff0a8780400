"""The options that build, plan and demo share, and how they become BuildOptions."""

from __future__ import annotations

import argparse
from typing import get_args

from loopwright.options import BuildOptions, Mirror, parse_color, parse_pin, parse_region_name, parse_size

_DEFAULTS = BuildOptions()


def add_wish_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the wishes for a mesh to a command's parser."""
    wishes = parser.add_argument_group("wishes")
    wishes.add_argument(
        "--budget",
        type=int,
        default=_DEFAULTS.budget,
        metavar="N",
        help="faces of the whole mesh (default %(default)s)",
    )
    wishes.add_argument(
        "--leave-open",
        action="append",
        default=[],
        metavar="COLOR",
        help='leave areas of this colour without faces, such as "#141414" or "20,20,20"; may be repeated',
    )
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
        help="N segments on the border between the regions A and B; may be repeated",
    )
    wishes.add_argument(
        "--name", action="append", default=[], metavar="COLOR=NAME", help="name the region of a colour; may be repeated"
    )
    wishes.add_argument(
        "--mirror",
        choices=get_args(Mirror),
        default=_DEFAULTS.mirror,
        help="find the mirror plane, use none, or the one across an axis (default %(default)s)",
    )
    wishes.add_argument("--no-fit", action="store_true", help="put the vertices, not the smooth limit, on the sculpt")
    wishes.add_argument("--seed", type=int, default=_DEFAULTS.seed, metavar="N", help=argparse.SUPPRESS)


def read_wishes(arguments: argparse.Namespace) -> BuildOptions:
    """Return the options that the parsed arguments ask for.

    Raises
    ------
    MarksError
        If a colour, size, pin, name or number cannot be read or is out of range.
    """
    return BuildOptions(
        budget=arguments.budget,
        leave_open=tuple(dict.fromkeys(parse_color(text) for text in arguments.leave_open)),
        sizes=dict(parse_size(text) for text in arguments.size),
        pins=tuple(parse_pin(text) for text in arguments.pin),
        mirror=arguments.mirror,
        fit_limit=not arguments.no_fit,
        region_names=dict(parse_region_name(text) for text in arguments.name),
        seed=arguments.seed,
    )
